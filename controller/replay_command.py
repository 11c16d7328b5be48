"""`duskbell replay`: a recording in, positions and reasons out."""

from __future__ import annotations

import argparse
import csv
import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from controller.core.alarms.lifecycle import Trigger
from controller.core.plan.plan import Plan
from controller.core.sky.almanac import Almanac
from controller.core.units import DAY_MS, UtcMs
from controller.edges.almanac import AlmanacFailed, almanac_cached
from controller.recording import RecordingUnreadable, read_rows, survey
from controller.recording_rows import Tally
from controller.replay import ANSWER_AFTER_MIN, Outcome, Position, Replay, limit_to
from controller.replay_compare import compare_calls, describe_comparison, write_comparison
from controller.settings.load import read_or_tell

TABLE_DAYS_MOST: Final = 367
"""Days of sun reckoned at once; a longer recording gets its tables one after another. [days]"""


def add_replay(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "replay",
        help="run the rules over a recording and write what the curtains would have done",
        description="Run the same rules over a recording. Readings: CSV, time,<sensor>,... or time,sensor,value.",
    )
    parser.add_argument("--settings", required=True, type=Path, metavar="FILE", help="the settings file")
    parser.add_argument("--readings", required=True, type=Path, metavar="IN.csv", help="the recording")
    parser.add_argument("--positions", type=Path, metavar="OUT.csv", help="where the moves go")
    parser.add_argument(
        "--reasons", type=Path, metavar="WHY.csv",
        help="write every change of rule too, moved or not; duskbell why --positions reads it as well",
    )  # fmt: skip
    parser.add_argument(
        "--against",
        type=Path,
        metavar="OLD",
        help="tell which calls these other settings would have made instead",
    )
    parser.add_argument(
        "--answer-after-min", type=float, default=ANSWER_AFTER_MIN, metavar="MIN",
        help="how long the imagined person needs to answer a call [min] (default %(default)s)",
    )  # fmt: skip
    parser.add_argument("--cache", type=Path, metavar="FOLDER", help="keep tables of the sun here")
    parser.add_argument("--json", action="store_true", help="print the result for machines")
    parser.set_defaults(run=run_replay)


def run_replay(args: argparse.Namespace) -> int:
    """Carry the command out: 0 good, 1 no good row or no output, 2 settings or usage."""
    plan = read_or_tell(args.settings)
    if plan is None:
        return 2
    if args.positions is None and args.against is None and args.reasons is None:
        print(
            "duskbell replay: --positions OUT.csv, --reasons WHY.csv or --against OLD is needed",
            file=sys.stderr,
        )
        return 2
    other = None if args.against is None else read_or_tell(args.against)
    if args.against is not None and other is None:
        return 2
    tally, before = Tally(), None
    try:
        outcome = replay_file(
            plan, args.readings, tally, answer_after_min=args.answer_after_min, cache_dir=args.cache
        )
        if other is not None:
            before = replay_file(
                other, args.readings, Tally(), answer_after_min=args.answer_after_min, cache_dir=args.cache
            )
        if args.positions is not None:
            write_positions(args.positions, outcome.positions, ZoneInfo(plan.site.time_zone))
        if args.reasons is not None:
            write_reasons(args.reasons, outcome, ZoneInfo(plan.site.time_zone))
    except (RecordingUnreadable, AlmanacFailed, OSError) as error:
        print(f"duskbell replay: {error}", file=sys.stderr)
        return 1
    for line in tally.named:
        print(line, file=sys.stderr)
    if tally.refused > len(tally.named):
        print(f"and {tally.refused - len(tally.named)} further rows", file=sys.stderr)
    comparison = None if before is None else compare_calls(before.called, outcome.called)
    if args.json:
        document = _document(tally, outcome)
        if comparison is not None:
            document["comparison"] = describe_comparison(comparison)
        print(json.dumps(document, sort_keys=True))
    else:
        _print_words(tally, outcome, args.positions)
        if comparison is not None:
            print(write_comparison(comparison, ZoneInfo(plan.site.time_zone)))
    return 0 if tally.read else 1


def replay_file(
    plan: Plan,
    path: Path,
    tally: Tally,
    *,
    answer_after_min: float = ANSWER_AFTER_MIN,
    cache_dir: Path | None = None,
) -> Outcome:
    """Replay one file and return what it showed.

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
    return Outcome() if replay is None else replay.outcome


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


def write_positions(path: Path, positions: list[Position], zone: ZoneInfo) -> None:
    """Write the positions file: time,curtain,drawn_percent,rule,reason, a row a change."""
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["time", "curtain", "drawn_percent", "rule", "reason"])
        for row in positions:
            at = datetime.fromtimestamp(row.utc_ms / 1000, tz=UTC).astimezone(zone)
            writer.writerow(
                [
                    at.isoformat(timespec="seconds"),
                    row.curtain,
                    f"{row.drawn_percent:g}",
                    row.rule,
                    row.reason,
                ]
            )


def write_reasons(path: Path, outcome: Outcome, zone: ZoneInfo) -> None:
    """Write every decision with its rule and reason, a row each."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["time", "curtain", "rule", "reason"])
        for utc_ms, curtain, rule, text in outcome.decisions:
            at = datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(zone)
            writer.writerow([at.isoformat(timespec="seconds"), curtain, rule, text])


def _document(tally: Tally, outcome: Outcome) -> dict[str, object]:
    """Return the result for machines."""
    return {
        "rows_read": tally.read,
        "rows_refused": tally.refused,
        "moves": outcome.moves,
        "motor_starts": outcome.starts,
        "calls": outcome.calls,
        "messages": outcome.messages,
        "alarms": sum(1 for _, _, text in outcome.alarms if text.startswith(Trigger.RAISE.value)),
    }


def _print_words(tally: Tally, outcome: Outcome, path: Path | None) -> None:
    """Print the result for people."""
    print(f"{tally.read} rows read, {tally.refused} refused")
    for name, moves in outcome.moves.items():
        where = "" if path is None else f", written with their reasons to {path}"
        starts = outcome.starts.get(name, 0)
        parts = "" if starts == moves else f" in {starts} starts of the motor"
        print(f"curtain {name}: {moves} moves{parts}{where}")
    print(f"calls: {outcome.calls} alarms would have called somebody, with {outcome.messages} messages")
    if outcome.calls:
        print(
            "  (nobody answers in a recording: an imagined person is taken to answer, see --answer-after-min)"
        )
    for utc_ms, name, text in outcome.alarms[-10:]:
        at = datetime.fromtimestamp(utc_ms / 1000, tz=UTC)
        print(f"  {at:%Y-%m-%d %H:%M}Z {name}: {text}")
