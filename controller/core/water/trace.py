"""The recent course of one reading: at most a point a minute for 45 minutes, and one in ten for hours.

Readings within a minute are averaged, so that a sensor that speaks often is the less noisy for it.
"""

from __future__ import annotations

from math import pi, sqrt
from typing import Final, NamedTuple, TypeAlias

from controller.core.units import MINUTE_MS, HouseMs

Point: TypeAlias = tuple[float, float]
"""When, on the house axis [min], and the value [kept unit]."""

FINE_MOST: Final = 45
COARSE_MOST: Final = 30
COARSE_EVERY_MIN: Final = 10
"""Three quarters of an hour by the minute and five hours by ten minutes: 75 points hold what a judgement needs."""

GAP_MIN: Final = 10
"""Nobody knows what happened in a silence this long: what was before it is no part of the course. [min]"""


SECOND_WITHIN_MIN: Final = 4.0
"""Three points farther apart than this tell nothing of the noise. [min]"""

NOISE_OVER: Final = 120
"""Points over which the noise is averaged: two hours, so that it is known to a tenth."""

NOISE_CLIP: Final = 4.0
"""A second difference counts at most so many times the mean: a kink or a spike is no noise."""


class Trace(NamedTuple):
    """What is remembered.

    `minute`, `at_sum`, `value_sum` and `taken` gather the minute that is not over yet. `rough` is the mean size
    of second differences from minute to minute [kept unit], and `seen` the number of them.
    """

    fine: tuple[Point, ...] = ()
    coarse: tuple[Point, ...] = ()
    minute: int = -1
    at_sum: float = 0.0
    value_sum: float = 0.0
    taken: int = 0
    rough: float = 0.0
    seen: int = 0


EMPTY: Final = Trace()


def follow(trace: Trace, *, at_ms: HouseMs, value: float) -> Trace:
    """Add a reading that can be trusted.

    Parameters
    ----------
    trace
        The course so far.
    at_ms
        House time of the reading, not before that of the last [ms].
    value
        The reading [kept unit].
    """
    minute = at_ms // MINUTE_MS
    fine, coarse, before, at_sum, value_sum, taken, rough, seen = trace
    at_min = at_ms / MINUTE_MS
    if minute == before:
        return Trace(fine, coarse, minute, at_sum + at_min, value_sum + value, taken + 1, rough, seen)
    if taken:
        point = (at_sum / taken, value_sum / taken)
        if len(fine) > 1:
            at, first = fine[-2]
            if point[0] - at <= SECOND_WITHIN_MIN:
                second = abs(first - 2.0 * fine[-1][1] + point[1])
                if seen > 3 and rough > 0.0 and second > NOISE_CLIP * rough:
                    second = NOISE_CLIP * rough
                seen += 1
                rough += (second - rough) / (min(NOISE_OVER, seen))
        fine = fine[1 - FINE_MOST :] + (point,)  # noqa: RUF005 - twice as quick, and done for every reading
        if not coarse or point[0] - coarse[-1][0] >= COARSE_EVERY_MIN - 0.5:
            coarse = (*coarse[1 - COARSE_MOST :], point)
    if minute - before > GAP_MIN:
        fine = ()
        if minute - before > 6 * GAP_MIN:
            coarse = ()
    return Trace(fine, coarse, minute, at_min, value, 1, rough, seen)


def find_noise(trace: Trace) -> tuple[float, int]:
    """Compute the standard deviation of the noise of one point [kept unit], and how many differences it is from.

    For normal noise s a second difference has the deviation s sqrt(6), and the mean size of that is sqrt(2 / pi)
    of it.
    """
    return trace.rough / (sqrt(2.0 / pi) * sqrt(6.0)), trace.seen


def list_points(trace: Trace) -> tuple[Point, ...]:
    """List the points of the last three quarters of an hour, the minute that is not over among them."""
    if not trace.taken:
        return trace.fine
    return (*trace.fine, (trace.at_sum / trace.taken, trace.value_sum / trace.taken))


def list_long(trace: Trace) -> tuple[Point, ...]:
    """List the points of the last hours: by ten minutes, and by the minute where that is remembered."""
    fine = list_points(trace)
    if not fine:
        return trace.coarse
    return (*(point for point in trace.coarse if point[0] < fine[0][0]), *fine)


def find_change(trace: Trace, *, span_min: float) -> tuple[float, float] | None:
    """Compute how far a reading has moved within a span up to now.

    Both ends are the median of three points, so that one bad reading is no change.

    Returns
    -------
    change
        Change [kept unit] and the time it took [min]; None where fewer than six points or less than a quarter
        of the span are remembered.
    """
    points = list_long(trace)
    if not points:
        return None
    begin = points[-1][0] - span_min
    points = tuple(point for point in points if point[0] >= begin - 1.0)
    if len(points) < 6:
        return None
    first, last = points[:3], points[-3:]
    took = last[1][0] - first[1][0]
    if took < span_min / 4:
        return None
    return _middle(last) - _middle(first), took


def find_steepest(trace: Trace, *, within_min: float) -> float:
    """Compute the most that a reading has risen within a span anywhere in its course [kept unit], 0 or more.

    Each value is the median of itself and its neighbours, so that one bad reading is no rise.
    """
    points = list_long(trace)
    smooth = [(three[1][0], _middle(three)) for three in zip(points, points[1:], points[2:], strict=False)]
    return max(
        (
            value - low
            for at, value in smooth
            for low in (min(was for then, was in smooth if at - within_min <= then <= at),)
        ),
        default=0.0,
    )


def _middle(three: tuple[Point, ...]) -> float:
    return sorted(value for _, value in three)[1]
