"""The trend that a horizon may rest on: the latest straight stretch of a course, told from noise and from steps.

A horizon that is wrong once is not believed again, so a trend counts only when it is many times its own
uncertainty. The noise is read from the course itself (second differences from minute to minute, which no trend
and no single kink moves), the slope is the median of pairs (`horizon.fit_trend`), and a step, as after a dose or a
wiped probe, is no trend: the differences from point to point must be those of a line.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import sqrt
from typing import Final

from controller.core.water.horizon import Sample, Trend, fit_trend
from controller.core.water.trace import Point, Trace, find_noise, list_points

POINTS_LEAST: Final = 10
"""Points from which the noise can be told."""

SHORTEST: Final = 5
LENGTHS: Final = (30, 20, 14, 10)
"""Points of the shortest stretch, four minutes, and of the longer ones that are preferred while they agree. Five
minutes after a fall has begun the first of its minutes still hangs in the probe."""

CERTAIN: Final = 6.0
"""Standard errors that a slope must be off zero. In 20 houses over 30 days a healthy day is looked at nearly
10^7 times; noise reaches 6 in 10^9 (normal distribution)."""

YOUNG: Final = 12.0
"""From few differences the noise is poorly known: with n of them it takes `CERTAIN (1 + 12 / n)` (our choice)."""

AGREE: Final = 2.0
"""Standard errors of the short slope within which a longer stretch is the same line."""

STEP: Final = 5.0
"""Standard deviations of a difference beyond which it is a step."""

SAME_SLOPE_GAP_MIN: Final = 3.0
"""Points farther apart than this are not compared for a step. [min]"""


def find_course(trace: Trace, *, noise_floor: float, shortest: int = SHORTEST) -> Trend | None:
    """Fit the latest straight stretch of a course.

    Parameters
    ----------
    trace
        What is remembered of the reading.
    noise_floor
        The least noise to reckon with: resolution and lag of the sensor [unit], above 0.
    shortest
        Points of the shortest stretch that counts, at least 5.

    Returns
    -------
    trend
        The line, with an interval of six standard errors or more; `certain` only where that leaves out zero. None
        where there are too few points or the latest stretch is no line.
    """
    points = list_points(trace)
    if len(points) < max(POINTS_LEAST, shortest):
        return None
    smooth = _without_spikes(points)
    own, seen = find_noise(trace)
    noise = max(own, noise_floor)
    certain = CERTAIN * (1.0 + YOUNG / max(seen, 1))
    short = _fit(smooth[-shortest:], noise, certain)
    if short is None:
        return None
    trend, error = short
    for length in LENGTHS:
        if not shortest < length <= len(smooth):
            continue
        longer = _fit(smooth[-length:], noise, certain)
        if longer is not None and abs(longer[0].slope_per_h - trend.slope_per_h) <= AGREE * error:
            return longer[0]
    return trend


def _without_spikes(points: Sequence[Point]) -> list[Point]:
    """Put the median of three in the place of each value, so that one wild reading is none."""
    inner = [
        (here[0], sorted((before[1], here[1], after[1]))[1])
        for before, here, after in zip(points, points[1:], points[2:], strict=False)
    ]
    return [points[0], *inner, points[-1]]


def _fit(points: Sequence[Point], noise: float, certain: float) -> tuple[Trend, float] | None:
    """Fit one stretch; return the line and the standard error of its slope [unit/h], None for no line."""
    trend = fit_trend([Sample(at, value) for at, value in points])
    slope_per_min = trend.slope_per_h / 60.0
    for (before, low), (after, high) in pairwise(points):
        took = after - before
        if took <= SAME_SLOPE_GAP_MIN and abs(high - low - slope_per_min * took) > STEP * noise * sqrt(2.0):
            return None
    middle = sum(at for at, _ in points) / len(points)
    error = 60.0 * noise / sqrt(sum((at - middle) ** 2 for at, _ in points))
    return (
        Trend(
            trend.slope_per_h,
            min(trend.low_per_h, trend.slope_per_h - certain * error),
            max(trend.high_per_h, trend.slope_per_h + certain * error),
            trend.value,
            trend.samples,
        ),
        error,
    )
