"""Minutes until harm: from what the fish breathe, and from what the sensor shows.

Two independent answers to one question. The physical worst case assumes that aeration has stopped and needs
only the site's own figures; the trend needs only the readings. Whichever is sooner counts, and it is said
which.

Oxygen without aeration falls by `R = demand x fish / volume + what the water itself uses`, so `t = 60 (A -
B) / R`. With gas exchange through the surface at `k` [1/h] it tends to `Cs - R / k` instead, and may never
reach the limit. The default is k = 0: nothing promised by the surface.

Trend: slope as the median of the slopes of all pairs (Theil 1950; Sen 1968, J. Am. Stat. Assoc.
63:1379-1389), its interval from the variance of Kendall's S (Sen 1968). A spike moves a median little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from math import log1p, sqrt
from statistics import NormalDist, median
from typing import Final

from controller.core.ranges import Range
from controller.core.water.oxygen import OXYGEN_MG_L

FISH_KG_M3: Final = Range("fish per volume", 0.0, 200.0, "kg/m3")
DEMAND_MG_KG_H: Final = Range("oxygen demand", 1.0, 2_000.0, "mg/kg/h")
WATER_DEMAND_MG_L_H: Final = Range("oxygen use of the water", 0.0, 50.0, "mg/L/h")
EXCHANGE_PER_H: Final = Range("gas exchange", 0.0, 20.0, "1/h")
SAMPLES: Final = Range("number of samples", 3, 256, "")
TIME_MIN: Final = Range("time of a sample", -1e9, 1e9, "min")
VALUE: Final = Range("sampled value", -1e6, 1e6, "")
CONFIDENCE: Final = Range("confidence", 0.5, 0.999, "")

SOURCE: Final = "oxygen balance of a well-mixed volume without aeration"

# Below 1e-6 of a unit an hour a slope is rounding, and a limit lies more than a century off.
_LEVEL_PER_H: Final = 1e-6
# An exchange that takes 100 000 years is none, and dividing by it would leave the range of a float.
_SLOW_PER_H: Final = 1e-9


class Basis(Enum):
    """Which of the two answers a horizon rests on."""

    WORST_CASE = "aeration lost"
    TREND = "measured trend"


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading in a trend.

    Attributes
    ----------
    at_min
        When, on any axis that runs forward [min].
    value
        What was read [unit of the quantity].
    """

    at_min: float
    value: float


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through readings that outliers hardly move.

    Attributes
    ----------
    slope_per_h
        Median slope [unit/h]; negative when falling.
    low_per_h, high_per_h
        Ends of the slope's confidence interval [unit/h].
    value
        The line's value at the last reading [unit].
    samples
        Number of readings used.
    error_per_h
        Standard error of the slope [unit/h]; 0 where only the interval is known.
    """

    slope_per_h: float
    low_per_h: float
    high_per_h: float
    value: float
    samples: int
    error_per_h: float = 0.0

    @property
    def certain(self) -> bool:
        """True when the interval leaves out zero: the value does move, and the way the slope says."""
        return self.low_per_h > 0.0 or self.high_per_h < 0.0


@dataclass(frozen=True, slots=True)
class TimeLeft:
    """When a trend reaches a limit.

    Attributes
    ----------
    minutes
        By the median slope [min]; None when it does not lead there.
    soonest_minutes, latest_minutes
        By the steeper and the flatter end of the slope's interval [min]; None likewise.
    """

    minutes: float | None
    soonest_minutes: float | None
    latest_minutes: float | None


@dataclass(frozen=True, slots=True)
class Horizon:
    """The time left and what says so.

    Attributes
    ----------
    minutes
        Minutes until the limit, 0 when it is passed [min].
    basis
        Which answer was the sooner.
    """

    minutes: float
    basis: Basis


@dataclass(frozen=True, slots=True)
class Draw:
    """What takes oxygen out of the water, and what the surface gives back.

    Attributes
    ----------
    fish_kg_m3
        Fish per volume of the water they share [kg/m3], 0 to 200.
    demand_mg_kg_h
        Oxygen that a kilogram of fish uses [mg/kg/h], 1 to 2000.
    water_mg_l_h
        Oxygen that filter and wastes use [mg/L/h], 0 to 50.
    exchange_per_h
        Gas exchange through the surface [1/h], 0 to 20; 0 promises nothing.
    saturation_mg_l
        Oxygen in balance with the air [mg/L]; counts only with an exchange.
    """

    fish_kg_m3: float
    demand_mg_kg_h: float
    water_mg_l_h: float = 0.0
    exchange_per_h: float = 0.0
    saturation_mg_l: float = 0.0


def find_use_mg_l_h(draw: Draw) -> float:
    """Compute the oxygen used per volume and hour [mg/L/h].

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """
    fish = FISH_KG_M3.check(draw.fish_kg_m3) * DEMAND_MG_KG_H.check(draw.demand_mg_kg_h) * 1e-3
    return fish + WATER_DEMAND_MG_L_H.check(draw.water_mg_l_h)


def find_minutes(draw: Draw, *, oxygen_mg_l: float, limit_mg_l: float) -> float | None:
    """Compute the minutes in which oxygen falls to a limit with aeration lost [min].

    Parameters
    ----------
    draw
        What uses oxygen and what the surface gives.
    oxygen_mg_l
        Oxygen now [mg/L], 0 to 25.
    limit_mg_l
        Oxygen at which harm begins [mg/L], 0 to 25.

    Returns
    -------
    minutes
        0 when the limit is reached already; None when it is never reached.

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """
    now, limit = OXYGEN_MG_L.check(oxygen_mg_l), OXYGEN_MG_L.check(limit_mg_l)
    use = find_use_mg_l_h(draw)
    k = EXCHANGE_PER_H.check(draw.exchange_per_h)
    full = OXYGEN_MG_L.check(draw.saturation_mg_l)
    if now <= limit:
        return 0.0
    if k < _SLOW_PER_H:
        return 60.0 * (now - limit) / use if use > _LEVEL_PER_H else None
    end = full - use / k
    if end >= limit:
        return None
    return 60.0 / k * log1p((now - limit) / (limit - end))


def fit_trend(samples: Sequence[Sample], *, confidence: float = 0.95) -> Trend:
    """Fit the median slope and its interval through readings.

    Parameters
    ----------
    samples
        3 to 256 readings at two or more different times. More would cost a small board too much: every pair
        is looked at.
    confidence
        Share of cases in which the interval holds the true slope [0..1], 0.5 to 0.999.

    Raises
    ------
    OutOfRange
        For too few, too many, or non-finite readings, and when all stand at one time.
    """
    SAMPLES.check(len(samples))
    for sample in samples:
        TIME_MIN.check(sample.at_min)
        VALUE.check(sample.value)
    ordered = sorted(samples, key=lambda sample: sample.at_min)
    points = [(sample.at_min, sample.value) for sample in ordered]
    slopes = [
        60.0 * (value - before) / (at - since)
        for index, (since, before) in enumerate(points)
        for at, value in points[index + 1 :]
        if at > since
    ]
    slopes.sort()
    if not slopes:
        raise SAMPLES.refuse(1, "all readings stand at one time")
    slope = median(slopes)
    spread = NormalDist().inv_cdf((1.0 + CONFIDENCE.check(confidence)) / 2.0) * _kendall_deviation(ordered)
    low_rank = max(round((len(slopes) - spread) / 2.0) - 1, 0)
    high_rank = min(round((len(slopes) + spread) / 2.0), len(slopes) - 1)
    line_at_zero = median(sample.value for sample in ordered) - slope / 60.0 * median(
        sample.at_min for sample in ordered
    )
    return Trend(
        slope,
        slopes[low_rank],
        slopes[high_rank],
        line_at_zero + slope / 60.0 * ordered[-1].at_min,
        len(ordered),
    )


def find_time_left(trend: Trend, *, limit: float, falling: bool) -> TimeLeft:
    """Compute when a trend reaches a limit.

    Parameters
    ----------
    trend
        The line through the readings.
    limit
        Value at which harm begins [unit of the quantity].
    falling
        True for a low limit (oxygen), False for a high one (ammonia).

    Raises
    ------
    OutOfRange
        For a limit that is not a finite number.
    """
    way = -1.0 if falling else 1.0
    distance = way * (VALUE.check(limit) - trend.value)

    def reach(slope_per_h: float) -> float | None:
        if distance <= 0.0:
            return 0.0
        speed = way * slope_per_h
        return 60.0 * distance / speed if speed > _LEVEL_PER_H else None

    steep, flat = sorted((trend.low_per_h, trend.high_per_h), key=lambda slope: way * slope, reverse=True)
    return TimeLeft(reach(trend.slope_per_h), reach(steep), reach(flat))


def choose_sooner(
    *, worst_case_minutes: float | None, trend: Trend | None, limit: float, falling: bool
) -> Horizon | None:
    """Take the sooner of the physical worst case and the measured trend, and say which it was.

    A trend counts only when it is certain to move (its interval leaves out zero), or when it is past the
    limit.

    Parameters
    ----------
    worst_case_minutes
        From `find_minutes` [min]; None when it is never reached or not known.
    trend
        From `fit_trend`; None when there are no readings to go by.
    limit, falling
        As for `find_time_left`.
    """
    by_trend: float | None = None
    if trend is not None:
        left = find_time_left(trend, limit=limit, falling=falling).minutes
        by_trend = left if trend.certain or left == 0.0 else None
    if by_trend is not None and (worst_case_minutes is None or by_trend < worst_case_minutes):
        return Horizon(by_trend, Basis.TREND)
    if worst_case_minutes is not None:
        return Horizon(worst_case_minutes, Basis.WORST_CASE)
    return None


def _kendall_deviation(ordered: Sequence[Sample]) -> float:
    """Compute the standard deviation of Kendall's S, ties in time and value taken off (Sen 1968)."""

    def weight(n: int) -> float:
        return n * (n - 1) * (2 * n + 5) / 18.0

    variance = weight(len(ordered))
    for values in ([s.at_min for s in ordered], [s.value for s in ordered]):
        variance -= sum(weight(values.count(value)) for value in set(values))
    return sqrt(max(variance, 0.0))
