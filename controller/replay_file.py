"""A recording from its file into a replay, with the sun reckoned for its span."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from controller.core.plan.plan import Plan
from controller.core.sky.almanac import Almanac
from controller.core.units import DAY_MS, UtcMs
from controller.edges.almanac import almanac_cached
from controller.recording import read_rows, survey
from controller.recording_rows import Tally
from controller.replay import ANSWER_AFTER_MIN, Outcome, Replay, limit_to

TABLE_DAYS_MOST: Final = 367
"""Days of sun reckoned at once; a longer recording gets its tables one after another. [days]"""


def replay_file(
    plan: Plan,
    path: Path,
    tally: Tally,
    *,
    answer_after_min: float = ANSWER_AFTER_MIN,
    cache_dir: Path | None = None,
) -> Outcome:
    """Replay one file and return what it showed; raises what `replay_until` raises."""
    replay = replay_until(plan, path, tally, answer_after_min=answer_after_min, cache_dir=cache_dir)
    return Outcome() if replay is None else replay.outcome


def replay_until(
    plan: Plan,
    path: Path,
    tally: Tally,
    *,
    answer_after_min: float = ANSWER_AFTER_MIN,
    cache_dir: Path | None = None,
    until_utc_ms: UtcMs | None = None,
) -> Replay | None:
    """Replay one file to its end, or to an instant; None if it has no row up to there.

    Raises
    ------
    RecordingUnreadable
        The file cannot be used at all.
    AlmanacFailed
        The sun could not be reckoned.
    """
    everything = {sensor.name: sensor for sensor in plan.sensor}
    span = survey(path, everything)
    for name in span.strangers:
        tally.named.append(f"{path}:1: the settings know no sensor {name!r}; the column is left out")
    plan = limit_to(plan, span.sensors)
    sensors = {name: everything[name] for name in span.sensors}
    end_ms = 0
    replay: Replay | None = None
    for utc_ms, samples in read_rows(path, sensors, tally):
        if until_utc_ms is not None and utc_ms > until_utc_ms:
            break
        if replay is None:
            # The first row that is good: the file's first may be a slip of many years.
            end_ms = _make_end(utc_ms, max(span.last_utc_ms, utc_ms))
            almanac = _table(plan, utc_ms, end_ms, cache_dir)
            replay = Replay(plan, almanac=almanac, start_utc_ms=utc_ms, answer_after_min=answer_after_min)
        elif utc_ms >= end_ms:
            replay.pass_to(utc_ms)
            end_ms = _make_end(utc_ms, max(span.last_utc_ms, utc_ms))
            replay.new_almanac(_table(plan, utc_ms, end_ms, cache_dir), utc_ms)
        replay.take(utc_ms, samples)
    if replay is not None and until_utc_ms is not None:
        replay.pass_to(until_utc_ms)
    return replay


def _make_end(first_utc_ms: UtcMs, last_utc_ms: UtcMs) -> UtcMs:
    """Return the end of the table that begins at `first_utc_ms`: past the recording, or as far as one goes."""
    days = min((last_utc_ms - first_utc_ms) // DAY_MS + 2, TABLE_DAYS_MOST)
    return first_utc_ms - first_utc_ms % DAY_MS + days * DAY_MS


def _table(plan: Plan, first_utc_ms: UtcMs, end_utc_ms: UtcMs, cache_dir: Path | None) -> Almanac:
    """Have the sun reckoned from the day before `first_utc_ms` to `end_utc_ms`."""
    start = first_utc_ms - first_utc_ms % DAY_MS - DAY_MS
    return almanac_cached(
        latitude_deg=plan.site.latitude_deg,
        longitude_deg=plan.site.longitude_deg,
        elevation_m=plan.site.elevation_m,
        start_utc_ms=start,
        days=(end_utc_ms - start) // DAY_MS,
        cache_dir=cache_dir,
    )
