"""Where a reading can be without any entry of the alarm list having something to say about it.

A reading that stays in its calm leaves every condition on it as it was judged last, so it need not be judged
again: what time alone does to an alarm is done by its deadline. That is most readings of most days.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from math import inf
from typing import Final, NamedTuple

from controller.core.plan.alarm import AlarmEntry, Kind
from controller.core.signals.sense import Sense
from controller.core.vocabulary import Trust

EDGE_SHARE: Final = 1e-9
"""The calm ends this share of the limit before it, so that no rounding lets a reading lie in both."""


class Calm(NamedTuple):
    """A closed range of values [kept unit]; it is empty where `low` is above `high`."""

    low: float
    high: float


EVERYWHERE: Final = Calm(-inf, inf)
"""The calm of a reading that no entry compares with anything."""

NOWHERE: Final = Calm(inf, -inf)
"""The calm of a reading that must be judged every time."""


def find_calms(entries: Iterable[AlarmEntry]) -> Mapping[str, Calm]:
    """Find the calm of every sensor that entries name."""
    calms: dict[str, Calm] = {}
    for entry in entries:
        if entry.sensor:
            calms[entry.sensor] = narrow(calms.get(entry.sensor, EVERYWHERE), entry)
    return calms


def narrow(calm: Calm, entry: AlarmEntry) -> Calm:
    """Return the part of a calm in which the entry's condition is surely over.

    Whether a reading is missing or doubtful does not hang on its value. What compares rates, or days with days,
    leaves no calm.
    """
    match entry.kind:
        case Kind.MISSING | Kind.DOUBTFUL:
            return calm
        case Kind.SWITCH:
            if entry.alarm_when == "on":
                return Calm(calm.low, min(calm.high, 0.49))
            return Calm(max(calm.low, 0.51), calm.high)
        case Kind.HIGH | Kind.LOW if entry.limit is not None:
            edge = EDGE_SHARE * max(1.0, abs(entry.limit))
            if entry.kind is Kind.HIGH:
                return Calm(calm.low, min(calm.high, entry.limit - entry.deadband - edge))
            return Calm(max(calm.low, entry.limit + entry.deadband + edge), calm.high)
        case _:
            return NOWHERE


def is_calm(calm: Calm, before: Sense, after: Sense) -> bool:
    """Tell whether a reading was and is good and in its calm, so that no condition on it can have changed."""
    if before.trust is not Trust.GOOD or after.trust is not Trust.GOOD:
        return False
    low, high = calm
    was, now = before.value, after.value
    return was is not None and now is not None and low <= was <= high and low <= now <= high
