"""The trend that a horizon may rest on: the latest straight stretch of a course, told from noise and from steps.

A horizon that is wrong once is not believed again, so a trend counts only when it is many times its own
uncertainty. The noise is read from the course itself (second differences from minute to minute, which no trend
and no single kink moves). The stretch begins where the course last bent: two lines that meet are fitted by least
squares for every place of the bend (Hudson 1966, J. Am. Stat. Assoc. 61:1097-1129), and while they fit far
better than one line, only what is after the bend is looked at further. So neither the flat minutes before a fall
nor the rise before a plateau is taken for the trend. A step, as after a dose or a wiped probe, is none either:
the differences from point to point must be those of a line.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, sqrt
from typing import Final

from controller.core.water.horizon import Trend
from controller.core.water.trace import Point, Trace, find_noise, list_points

POINTS_LEAST: Final = 10
"""Points from which the noise can be told."""

SHORTEST: Final = 5
"""Points of the shortest stretch, four minutes."""

SIDE_LEAST: Final = 3
"""Points on either side of a bend: with fewer, one reading is a line of its own."""

CERTAIN: Final = 6.0
"""Standard errors that a slope must be off zero. In 20 houses over 30 days a healthy day is looked at nearly
10^7 times; noise reaches 6 in 10^9 (normal distribution)."""

YOUNG: Final = 12.0
"""From few differences the noise is poorly known: with n of them it takes `CERTAIN (1 + 12 / n)` (our choice)."""

BENT: Final = 12.0
"""Sum of squares, in variances of the noise, that a bend must save. By noise alone the best of all places saves
more in one straight course of a hundred (computed: 10.5 at the 99 % point for 46 points)."""

FLATTER: Final = 2.5
"""Standard errors of the newest third's own slope by which it may be flatter than the stretch."""

SAME_WAY: Final = 1.0 / 3.0
"""A course that bends and moves on the same way, at first at least this share as fast, is one movement."""

STEP: Final = 5.0
"""Standard deviations of a difference beyond which it is a step."""

SPIKE: Final = 5.0
"""Standard deviations from the median of itself and its neighbours beyond which a reading is wild."""

SAME_SLOPE_GAP_MIN: Final = 3.0
"""Points farther apart than this are not compared for a step. [min]"""


@dataclass(frozen=True, slots=True)
class _Line:
    """A least-squares line: slope [unit/min], value at the last point, what is left over, and its spread in time.

    `bend_min` and `before_per_min` tell of the bend it begins with: when, and how steep it was before.
    """

    slope_per_min: float
    value: float
    left: float
    spread: float
    bend_min: float | None = None
    before_per_min: float = 0.0


def find_course(
    trace: Trace, *, noise_floor: float, shortest: int = SHORTEST, lag_min: float = 0.0
) -> Trend | None:
    """Fit the latest straight stretch of a course.

    Parameters
    ----------
    trace
        What is remembered of the reading.
    noise_floor
        The least noise to reckon with: resolution and lag of the sensor [unit], above 0.
    shortest
        Points that a movement must have lasted to count, at least 5.
    lag_min
        Time in which the probe follows a step to 63 %, 0 or above [min]. The line is that of the water itself,
        which is ahead of a probe of first order by slope x lag.

    Returns
    -------
    trend
        The line, with an interval of six standard errors or more; `certain` only where that leaves out zero. None
        where there are too few points or the latest stretch is no line.
    """
    points = list_points(trace)
    if len(points) < max(POINTS_LEAST, shortest):
        return None
    own, seen = find_noise(trace)
    noise = max(own, noise_floor)
    stretch: list[Point] = _without_spikes(points, SPIKE * noise)
    line, moved = _fit_line(stretch, lag_min), len(stretch)
    while (bent := _find_bend(stretch, lag_min)) and _fit_line(stretch).left - bent.left > BENT * noise**2:
        assert bent.bend_min is not None, "a bend has its time"
        before = len(stretch)
        stretch = [point for point in stretch if point[0] >= bent.bend_min]
        line = bent
        if bent.before_per_min * bent.slope_per_min < SAME_WAY * bent.slope_per_min**2:
            moved = len(stretch)
        else:
            moved = max(moved, before)
    if moved < shortest or len(stretch) < SHORTEST or _steps(stretch, line.slope_per_min, noise):
        return None
    if _flattens(stretch, line.slope_per_min, noise):
        return None
    error_per_h = 60.0 * noise / sqrt(_fit_line(stretch).spread)
    slope_per_h = 60.0 * line.slope_per_min
    reach = CERTAIN * (1.0 + YOUNG / max(seen, 1)) * error_per_h
    return Trend(
        slope_per_h,
        slope_per_h - reach,
        slope_per_h + reach,
        line.value,
        len(stretch),
        error_per_h=error_per_h,
    )


def _without_spikes(points: Sequence[Point], most: float) -> list[Point]:
    """Put the median of three in the place of a value that is far from it, so that one wild reading is none."""
    inner = [
        (here[0], middle if abs(here[1] - middle) > most else here[1])
        for before, here, after in zip(points, points[1:], points[2:], strict=False)
        for middle in (sorted((before[1], here[1], after[1]))[1],)
    ]
    return [points[0], *inner, points[-1]]


def _fit_line(points: Sequence[Point], lag_min: float = 0.0) -> _Line:
    """Fit one line by least squares; its value is that of the water, ahead of the probe."""
    count = len(points)
    middle = sum(at for at, _ in points) / count
    mean = sum(value for _, value in points) / count
    spread = sum((at - middle) ** 2 for at, _ in points)
    both = sum((at - middle) * (value - mean) for at, value in points)
    slope = both / spread
    left = sum((value - mean) ** 2 for _, value in points) - slope * both
    return _Line(slope, mean + slope * (points[-1][0] - middle + lag_min), left, spread)


def _find_bend(points: Sequence[Point], lag_min: float) -> _Line | None:
    """Fit two lines that meet, for every third place of the bend and then near the best one."""
    first, last = 2 * SIDE_LEAST, 2 * (len(points) - SIDE_LEAST)
    if last <= first:
        return None
    sums = _sum_up(points, lag_min)
    tried: dict[int, _Line] = {}
    for places in (range(first, last, 3), range(-2, 3)):
        around = 0 if places.start >= 0 else min(tried, key=lambda place: tried[place].left)
        for place in (around + step for step in places):
            if place not in tried and first <= place < last:
                # Between two points, or at a point itself, which then is the last before the bend.
                tried[place] = _fit_bend(sums, place)
    return min(tried.values(), key=lambda line: line.left)


@dataclass(frozen=True, slots=True)
class _Sums:
    """Sums over a course from which the fit for any place of the bend follows at once.

    Times are from the first point [min], values above the first. `before[i]` is summed over the first i points:
    number, t, t t, y, t y. `after[i]` is summed over all but these, with s the time since the first of them and
    w = exp(-s / lag): w, s w, w w, y w.
    """

    times: tuple[float, ...]
    origin_min: float
    base: float
    squares: float
    lag_min: float
    before: tuple[tuple[float, float, float, float, float], ...]
    after: tuple[tuple[float, float, float, float], ...]


def _sum_up(points: Sequence[Point], lag_min: float) -> _Sums:
    origin, base = points[0]
    times = tuple(at - origin for at, _ in points)
    values = [value - base for _, value in points]
    number = t_sum = tt_sum = y_sum = ty_sum = 0.0
    before = [(0.0, 0.0, 0.0, 0.0, 0.0)]
    for t, y in zip(times, values, strict=True):
        number, t_sum, tt_sum, y_sum, ty_sum = (
            number + 1.0,
            t_sum + t,
            tt_sum + t * t,
            y_sum + y,
            ty_sum + t * y,
        )
        before.append((number, t_sum, tt_sum, y_sum, ty_sum))
    after = [(0.0, 0.0, 0.0, 0.0)] * (len(times) + 1)
    if lag_min > 0.0:
        w_sum = sw_sum = ww_sum = yw_sum = 0.0
        for place in range(len(times) - 1, -1, -1):
            step = times[min(place + 1, len(times) - 1)] - times[place]
            fades = exp(-step / lag_min)
            sw_sum = fades * (sw_sum + step * w_sum)
            w_sum, ww_sum = 1.0 + fades * w_sum, 1.0 + fades * fades * ww_sum
            yw_sum = values[place] + fades * yw_sum
            after[place] = (w_sum, sw_sum, ww_sum, yw_sum)
    return _Sums(times, origin, base, sum(y * y for y in values), lag_min, tuple(before), tuple(after))


def _fit_bend(sums: _Sums, place: int) -> _Line:
    """Fit `y = a + b p + d q` by least squares: q is the time since the bend as the probe shows it, p the rest.

    A probe of first order that has followed a line shows a bend as `q = u - L (1 - exp(-u / L))`, u the time since.
    `place` is twice the place of the last point before the bend, plus one where it lies half way to the next.
    """
    early, late = place // 2, (place + 1) // 2
    bend = (sums.times[early] + sums.times[late]) / 2.0
    split = early + 1
    n1, t1, tt1, y1, ty1 = sums.before[split]
    count, t_all, tt_all, sum_y, ty_all = sums.before[-1]
    n2, t2, tt2, y2, ty2 = count - n1, t_all - t1, tt_all - tt1, sum_y - y1, ty_all - ty1
    # After the bend: u, its square, and what the probe's lag takes off, r = L (1 - exp(-u / L)).
    u, uu, uy = t2 - n2 * bend, tt2 - 2.0 * bend * t2 + n2 * bend * bend, ty2 - bend * y2
    r = rr = ru = ry = 0.0
    if sums.lag_min > 0.0:
        lag, since = sums.lag_min, sums.times[split] - bend
        fades = exp(-since / lag)
        w, sw, ww, yw = sums.after[split]
        r, ry = lag * (n2 - fades * w), lag * (y2 - fades * yw)
        rr = lag * lag * (n2 - 2.0 * fades * w + fades * fades * ww)
        ru = lag * (u - fades * (sw + since * w))
    sum_p, sum_q = t1 - n1 * bend + r, u - r
    pp = tt1 - 2.0 * bend * t1 + n1 * bend * bend + rr - sum_p * sum_p / count
    qq = uu - 2.0 * ru + rr - sum_q * sum_q / count
    pq = ru - rr - sum_p * sum_q / count
    py = ty1 - bend * y1 + ry - sum_p * sum_y / count
    qy = uy - ry - sum_q * sum_y / count
    yy = sums.squares - sum_y * sum_y / count
    whole = pp * qq - pq * pq
    before, after = (py * qq - qy * pq) / whole, (qy * pp - py * pq) / whole
    level = sums.base + (sum_y - before * sum_p - after * sum_q) / count
    value = level + after * (sums.times[-1] - bend)
    return _Line(after, value, yy - before * py - after * qy, qq, sums.origin_min + bend, before)


def _steps(points: Sequence[Point], slope_per_min: float, noise: float) -> bool:
    """Tell whether two neighbouring points differ by more than the line and the noise explain."""
    return any(
        took <= SAME_SLOPE_GAP_MIN and abs(high - low - slope_per_min * took) > STEP * noise * sqrt(2.0)
        for (before, low), (after, high) in pairwise(points)
        for took in (after - before,)
    )


def _flattens(points: Sequence[Point], slope_per_min: float, noise: float) -> bool:
    """Tell whether the newest third is flatter than the whole, beyond its own uncertainty."""
    count = len(points) // 3
    if count < SIDE_LEAST:
        return False
    newest = _fit_line(points[-count:])
    way = 1.0 if slope_per_min > 0.0 else -1.0
    return way * (slope_per_min - newest.slope_per_min) > FLATTER * noise / sqrt(newest.spread)
