"""What others do: a plain threshold, and hysteresis with delays, both tuned on the very year they are scored on.

Both draw in the day above a light and at night while it is cold, and know the minute before, not the present.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from simulators.bench.costs import total_cost

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from simulators.bench.climate import Minutes
    from simulators.bench.costs import Costs

    Flags = NDArray[np.bool_]

SHADE_ABOVE_W_M2: Final = (450.0, 550.0, 650.0, 750.0, 850.0)
DARK_BELOW_W_M2: Final = (0.5, 10.0, 30.0, 60.0, 100.0)
COLDER_K: Final = (2.0, 5.0)


class Figures(NamedTuple):
    """The figures of a rule.

    Attributes
    ----------
    shade_above_w_m2, open_below_w_m2 : float
        Light above which it draws, and below which it opens again. [W/m2]
    dark_below_w_m2 : float
        Light below which it draws against cold. [W/m2]
    colder_k : float
        How much colder than the day's set-point the outside must be for that. [K]
    shade_percent : float
        How far it is drawn for shade. [%]
    delay_min : int
        How long each must last. [min]
    """

    shade_above_w_m2: float
    open_below_w_m2: float
    dark_below_w_m2: float
    colder_k: float
    shade_percent: float = 100.0
    delay_min: int = 0


def follow(figures: Figures, costs: Costs, weather: Minutes) -> NDArray[np.float64]:
    """Follow the rule through the minutes; its positions [%]."""
    light = np.concatenate(([0.0], weather.light_w_m2[:-1]))
    outside = np.concatenate((weather.outside_c[:1], weather.outside_c[:-1]))
    delay = max(1, figures.delay_min)
    shade = _latch(
        _has_lasted(light > figures.shade_above_w_m2, delay),
        _has_lasted(light < figures.open_below_w_m2, delay),
    )
    cold = (costs.day_c - outside > figures.colder_k) & (light < figures.dark_below_w_m2)
    hold = _latch(_has_lasted(cold, delay), _has_lasted(~cold, delay))
    return np.where(shade, figures.shade_percent, np.where(hold, 100.0, 0.0))


def _has_lasted(so: Flags, minutes: int) -> Flags:
    """Whether something has been so for this many minutes, the present one included."""
    index = np.arange(len(so))
    last_not = np.maximum.accumulate(np.where(so, -1, index))
    lasted: Flags = index - last_not >= minutes
    return lasted


def _latch(on: Flags, off: Flags) -> Flags:
    """Keep the last that was said, off at first."""
    index = np.arange(len(on))
    last = np.maximum.accumulate(np.where(on | off, index, 0))
    kept: Flags = on[last]
    return kept


def tune_threshold(costs: Costs, weather: Minutes) -> Figures:
    """Find the plain threshold that costs least on this year: one light to draw at and to open at."""
    tries = (
        Figures(shade, shade, dark, colder)
        for shade, dark, colder in product((*SHADE_ABOVE_W_M2, 1000.0, 2000.0), DARK_BELOW_W_M2, COLDER_K)
    )
    return min(tries, key=lambda figures: total_cost(costs, weather, follow(figures, costs, weather)))


def tune_hysteresis(costs: Costs, weather: Minutes) -> Figures:
    """Find the two lights, the shade and the delay that cost least on this year, in two rounds."""
    dark = tune_threshold(costs, weather)
    tries = (
        Figures(above, band * above, dark.dark_below_w_m2, dark.colder_k, shade, delay)
        for above, band, shade, delay in product(
            (*SHADE_ABOVE_W_M2, 2000.0), (0.7, 0.85), (75.0, 100.0), (5, 10, 20)
        )
    )
    best = min(tries, key=lambda figures: total_cost(costs, weather, follow(figures, costs, weather)))
    again = (best._replace(dark_below_w_m2=light) for light in DARK_BELOW_W_M2)
    return min(again, key=lambda figures: total_cost(costs, weather, follow(figures, costs, weather)))
