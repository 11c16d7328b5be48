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
    """A closed range of values [kept unit] and one of rates [1/min]; it is empty where `low` is above `high`."""

    low: float
    high: float
    slowest: float = -inf
    quickest: float = inf


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

    Whether a reading is missing or doubtful does not hang on its value. What compares days with days leaves no
    calm.
    """
    low, high, slowest, quickest = calm
    match entry.kind:
        case Kind.MISSING | Kind.DOUBTFUL:
            return calm
        case Kind.SWITCH if entry.alarm_when == "on":
            return calm._replace(high=min(high, 0.49))
        case Kind.SWITCH:
            return calm._replace(low=max(low, 0.51))
        case Kind.HIGH if entry.limit is not None:
            return calm._replace(high=min(high, _before(entry.limit, entry.deadband)))
        case Kind.LOW if entry.limit is not None:
            return calm._replace(low=max(low, _past(entry.limit, entry.deadband)))
        case Kind.RATE if entry.limit is not None and entry.limit > 0.0:
            return calm._replace(quickest=min(quickest, _before(entry.limit, entry.deadband)))
        case Kind.RATE if entry.limit is not None:
            return calm._replace(slowest=max(slowest, _past(entry.limit, entry.deadband)))
        case _:
            return NOWHERE


def _before(limit: float, deadband: float) -> float:
    return limit - deadband - EDGE_SHARE * max(1.0, abs(limit))


def _past(limit: float, deadband: float) -> float:
    return limit + deadband + EDGE_SHARE * max(1.0, abs(limit))


def is_calm(calm: Calm, before: Sense, after: Sense) -> bool:
    """Tell whether a reading was and is good and in its calm, so that no condition on it can have changed."""
    if before.trust is not Trust.GOOD or after.trust is not Trust.GOOD:
        return False
    low, high, slowest, quickest = calm
    was, now = before.value, after.value
    if was is None or now is None or not (low <= was <= high and low <= now <= high):
        return False
    return slowest <= before.rate_per_min <= quickest and slowest <= after.rate_per_min <= quickest
