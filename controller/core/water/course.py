"""The trend that a horizon may rest on: the latest straight stretch of a course, told from noise and from steps.

A horizon that is wrong once is not believed again, so a trend counts only when it is many times its own
uncertainty. The noise is read from the course itself (median of second differences, which no trend and no
single kink moves), the slope is the median of pairs (`horizon.fit_trend`), and a step, as after a dose or a
wiped probe, is no trend: the differences from point to point must be those of a line.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import sqrt
from statistics import median
from typing import Final

from controller.core.water.horizon import Sample, Trend, fit_trend
from controller.core.water.trace import Point

POINTS_LEAST: Final = 10
"""Points from which the noise can be told."""

SHORTEST: Final = 6
LENGTHS: Final = (30, 20, 14, 10)
"""Points of the shortest stretch, five minutes, and of the longer ones that are preferred while they agree."""

CERTAIN: Final = 6.0
"""Standard errors that a slope must be off zero. In 20 houses over 30 days a healthy day is looked at nearly
10^7 times; noise reaches 6 in 10^9 (normal distribution)."""

AGREE: Final = 2.0
"""Standard errors of the short slope within which a longer stretch is the same line."""

STEP: Final = 5.0
"""Standard deviations of a difference beyond which it is a step."""

SAME_SLOPE_GAP_MIN: Final = 3.0
"""Points farther apart than this are not compared for a step. [min]"""


def find_noise(values: Sequence[float], *, floor: float) -> float:
    """Compute the standard deviation of the noise about a smooth course, at least `floor` [unit].

    Median absolute second difference; for normal noise s that is 0.6745 s sqrt(6).
    """
    seconds = [abs(a - 2.0 * b + c) for a, b, c in zip(values, values[1:], values[2:], strict=False)]
    return max(floor, median(seconds) / (0.6745 * sqrt(6.0))) if seconds else floor


def find_course(points: Sequence[Point], *, noise_floor: float, shortest: int = SHORTEST) -> Trend | None:
    """Fit the latest straight stretch of a course.

    Parameters
    ----------
    points
        Time [min] and value [unit], in order of time, about one a minute.
    noise_floor
        The least noise to reckon with: resolution and lag of the sensor [unit], above 0.
    shortest
        Points of the shortest stretch that counts, at least 6.

    Returns
    -------
    trend
        The line, with an interval of six standard errors; `certain` only where that leaves out zero. None
        where there are too few points or the latest stretch is no line.
    """
    if len(points) < max(POINTS_LEAST, shortest):
        return None
    smooth = _without_spikes(points)
    noise = find_noise([value for _, value in points], floor=noise_floor)
    short = _fit(smooth[-shortest:], noise)
    if short is None:
        return None
    trend, error = short
    for length in LENGTHS:
        if not shortest < length <= len(smooth):
            continue
        longer = _fit(smooth[-length:], noise)
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


def _fit(points: Sequence[Point], noise: float) -> tuple[Trend, float] | None:
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
            min(trend.low_per_h, trend.slope_per_h - CERTAIN * error),
            max(trend.high_per_h, trend.slope_per_h + CERTAIN * error),
            trend.value,
            trend.samples,
        ),
        error,
    )
