"""Two replays of one recording side by side: which calls vanish with new settings, and which come later or earlier."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from controller.core.plan.alarm import Response
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS, UtcMs
from controller.replay import Called

SAME_CALL_MS: Final = 6 * HOUR_MS
"""Calls of one alarm further apart than this are two calls and not one that has moved (our choice). [ms]"""

SAME_TIME_MS: Final = 30 * SECOND_MS
"""A smaller shift is none that anybody would notice. [ms]"""

NAMED_MOST: Final = 10
"""Calls of one alarm named one by one; further ones are counted."""


@dataclass(frozen=True, slots=True)
class Moved:
    """A call that comes at another time, positive `by_min` later."""

    alarm: str
    old_utc_ms: UtcMs
    new_utc_ms: UtcMs
    by_min: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """What the new settings would have changed. Every old call is in exactly one of `vanished`, `moved`, `same`."""

    old_calls: int
    new_calls: int
    vanished: tuple[Called, ...]
    added: tuple[Called, ...]
    moved: tuple[Moved, ...]
    same: int


def compare_calls(old: Sequence[Called], new: Sequence[Called]) -> Comparison:
    """Pair the calls of both replays, alarm by alarm, in order of time."""
    vanished: list[Called] = []
    added: list[Called] = []
    moved: list[Moved] = []
    same = 0
    for name in dict.fromkeys(call.alarm for call in (*old, *new)):
        before = [call for call in old if call.alarm == name]
        after = [call for call in new if call.alarm == name]
        pairs = _pair(before, after)
        for first, second in pairs:
            if second is None:
                vanished.extend([first] if first is not None else [])
            elif first is None:
                added.append(second)
            elif abs(second.called_utc_ms - first.called_utc_ms) < SAME_TIME_MS:
                same += 1
            else:
                by_min = (second.called_utc_ms - first.called_utc_ms) / MINUTE_MS
                moved.append(Moved(name, first.called_utc_ms, second.called_utc_ms, by_min))
    return Comparison(
        old_calls=len(old),
        new_calls=len(new),
        vanished=tuple(sorted(vanished, key=_time)),
        added=tuple(sorted(added, key=_time)),
        moved=tuple(sorted(moved, key=lambda call: call.old_utc_ms)),
        same=same,
    )


def _time(call: Called) -> UtcMs:
    return call.called_utc_ms


def _pair(old: list[Called], new: list[Called]) -> list[tuple[Called | None, Called | None]]:
    """Pair calls so that as many as can be are pairs and these are near; the order of time is kept.

    The longest chain of pairs with the smallest shifts, as in comparing two texts line by line.
    """
    rows, columns = len(old), len(new)
    # best[i][j]: pairs made, and the sum of their shifts with its sign turned, of the calls from i and j on.
    best = [[(0, 0)] * (columns + 1) for _ in range(rows + 1)]
    for i in range(rows - 1, -1, -1):
        for j in range(columns - 1, -1, -1):
            choice = max(best[i + 1][j], best[i][j + 1])
            shift = abs(new[j].called_utc_ms - old[i].called_utc_ms)
            if shift <= SAME_CALL_MS:
                pairs, shifts = best[i + 1][j + 1]
                choice = max(choice, (pairs + 1, shifts - shift))
            best[i][j] = choice
    made: list[tuple[Called | None, Called | None]] = []
    i = j = 0
    while i < rows or j < columns:
        if i < rows and best[i][j] == best[i + 1][j]:
            made.append((old[i], None))
            i += 1
        elif j < columns and best[i][j] == best[i][j + 1]:
            made.append((None, new[j]))
            j += 1
        else:
            made.append((old[i], new[j]))
            i, j = i + 1, j + 1
    return made


def describe_comparison(comparison: Comparison) -> dict[str, Any]:
    """Return the comparison for machines."""
    document = asdict(comparison)
    for word in ("vanished", "added"):
        document[word] = [{**call, "response": call["response"].value} for call in document[word]]
    return document


def write_comparison(comparison: Comparison, zone: ZoneInfo) -> str:
    """Write the comparison in plain words."""
    totals = (
        f"With the old settings {comparison.old_calls} alarms would have called somebody, with the new ones "
        f"{comparison.new_calls}."
    )
    lines = [totals, f"As before: {comparison.same}."]
    lines += _write_calls("would have vanished", comparison.vanished, zone)
    lines += _write_calls("would have come besides", comparison.added, zone)
    for call in comparison.moved[:NAMED_MOST]:
        word = "later" if call.by_min > 0 else "earlier"
        lines.append(
            f"{call.alarm}: the call of {write_when(call.old_utc_ms, zone)} would have come "
            f"{abs(call.by_min):.0f} min {word}."
        )
    if len(comparison.moved) > NAMED_MOST:
        lines.append(
            f"and {len(comparison.moved) - NAMED_MOST} further calls would have come at another time."
        )
    lost = sum(call.response is Response.EMERGENCY for call in comparison.vanished)
    if lost:
        are = "is an emergency" if lost == 1 else "are emergencies"
        lines.append(f"Look closely: {lost} of the calls that vanish {are}.")
    return "\n".join(lines)


def _write_calls(words: str, calls: Sequence[Called], zone: ZoneInfo) -> list[str]:
    """Write one line an alarm."""
    lines = []
    for name in dict.fromkeys(call.alarm for call in calls):
        times = [write_when(call.called_utc_ms, zone) for call in calls if call.alarm == name]
        more = f" and {len(times) - NAMED_MOST} more" if len(times) > NAMED_MOST else ""
        count = "1 call" if len(times) == 1 else f"{len(times)} calls"
        lines.append(f"{name}: {count} {words}: {', '.join(times[:NAMED_MOST])}{more}.")
    return lines


def write_when(utc_ms: UtcMs, zone: ZoneInfo) -> str:
    """Write an instant in the site's local time."""
    return f"{datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(zone):%a %d %b %H:%M}"
