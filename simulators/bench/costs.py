"""What a minute with the curtain at a position costs: light in excess, light lost, heat, and moves.

All per square metre of floor and in one currency. The cost of a minute is

    harm x photons above the ceiling + worth x photons below the ceiling that the curtain took + price x heat

at the canopy, which sees the outside light times the cover's and the curtain's transmission. Heat is
`max(0, U(c) (set-point - outside) - share x sun below the curtain)`, with

    U(c) = U_open - (U_open - U_drawn) x effect(c)

and effect(c) the share of a tight curtain's saving that is left when it is drawn to c: Vanthoor 2011 (thesis,
Wageningen, chapter 8), solved for 18 C inside, 0 C outside and 4 m/s, saves 53.6 % drawn, 42.1 % at 97 %,
35.3 % at 95 % and 6.8 % at 50 %. A gap destroys it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from simulators.bench.climate import Minutes

UMOL_PER_JOULE: Final = 0.45 * 4.57
"""Photons of daylight per joule (Jacovides et al. 2003; Thimijan and Heins 1983). [umol/J]"""

DAY_ABOVE_W_M2: Final = 1.0
"""It is day for the set-point while the outside light is above this (our choice). [W/m2]"""

DRAWN_SHARE: Final = (0.0, 0.50, 0.80, 0.90, 0.95, 0.97, 0.98, 0.99, 0.995, 1.0)
SAVING_PERCENT: Final = (0.0, 6.8, 16.0, 24.9, 35.3, 42.1, 46.3, 50.6, 52.4, 53.6)
"""Heat saved by the drawn share of the curtain; see above. [%]"""


@dataclass(frozen=True, slots=True)
class Costs:
    """The prices and the house. Every figure may be another in another house.

    Attributes
    ----------
    ceiling_umol_m2_s : float
        Light at the canopy above which it harms: our choice, between the 200 to 300 that is best for lettuce
        (Horticulturae 2020, 6(1):7) and the half of full sun, about 1000, at which most crops of high light
        are near their most (Runkle 2008).
    harm_per_mol : float
        Cost of light above the ceiling; our choice, three times the worth of useful light. [per mol]
    worth_per_mol : float
        Worth of light below the ceiling: 1.00 a kilogram of tomato, a kilogram from 42 MJ of light inside
        (common practice), 2.0565 umol/J: 86.4 mol, so 0.0116. [per mol]
    heat_per_kwh : float
        Price of heat, gas at a boiler; our choice. [per kWh]
    move : float
        Cost of one start of the motor; our choice: 0.05 for the wear of a drive on 100 m2.
    day_c, night_c : float
        Heating set-points: 18 and 16, leafy crops and tomato; our choice. [C]
    u_open, u_drawn : float
        Heat lost by the floor area: 142.7 W/m2 at 18 K open (Vanthoor 2011) is 7.93, less 39.4 % for a film
        curtain at 4 m/s (Mihara and Hayashi 1979, J. Agric. Meteorol. 35:13-19) 4.80. [W/m2/K]
    sun_share : float
        Share of the sun below the curtain that replaces heating; 1 less the 45 % that evaporates water and a
        fifth that the floor takes; our choice. [1]
    cover_share, curtain_share : float
        Share of light that the cover and the drawn curtain let through. [1]
    """

    ceiling_umol_m2_s: float = 650.0
    harm_per_mol: float = 0.035
    worth_per_mol: float = 0.0116
    heat_per_kwh: float = 0.067
    move: float = 0.0005
    day_c: float = 18.0
    night_c: float = 16.0
    u_open: float = 7.93
    u_drawn: float = 4.80
    sun_share: float = 0.4
    cover_share: float = 0.65
    curtain_share: float = 0.60


def heat_effect(drawn_percent: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of a drawn curtain's heat saving that is left at a position [1], 0 to 1."""
    return np.interp(drawn_percent / 100.0, DRAWN_SHARE, np.array(SAVING_PERCENT) / SAVING_PERCENT[-1])


def count_minutes(
    costs: Costs, weather: Minutes, drawn_percent: NDArray[np.float64]
) -> dict[str, NDArray[np.float64]]:
    """Cost of each minute by its kinds, without moves [per m2].

    Parameters
    ----------
    costs : Costs
        Prices and house.
    weather : Minutes
        The minutes.
    drawn_percent : numpy.ndarray
        Position in each minute, or one position as an array of one. [%]
    """
    light, outside = weather.light_w_m2, weather.outside_c
    through = 1.0 - drawn_percent / 100.0 * (1.0 - costs.curtain_share)
    without = light * UMOL_PER_JOULE * costs.cover_share
    canopy = without * through
    mol = 60.0 / 1e6
    ceiling = costs.ceiling_umol_m2_s
    set_point = np.where(light > DAY_ABOVE_W_M2, costs.day_c, costs.night_c)
    u = costs.u_open - (costs.u_open - costs.u_drawn) * heat_effect(drawn_percent)
    sun = costs.sun_share * light * costs.cover_share * through
    heat = np.maximum(0.0, u * np.maximum(0.0, set_point - outside) - sun)
    return {
        "excess": costs.harm_per_mol * np.maximum(0.0, canopy - ceiling) * mol,
        "lost": costs.worth_per_mol * (np.minimum(without, ceiling) - np.minimum(canopy, ceiling)) * mol,
        "heat": costs.heat_per_kwh * heat / 60_000.0,
    }


def cost_of_positions(costs: Costs, weather: Minutes, positions: tuple[float, ...]) -> NDArray[np.float64]:
    """Cost of each minute (rows) at each position (columns), without moves [per m2]."""
    columns = [sum(count_minutes(costs, weather, np.array([p])).values()) for p in positions]
    return np.stack(columns, axis=1)


def count_moves(drawn_percent: NDArray[np.float64]) -> int:
    """Count the starts of the motor; the year begins with the curtain open."""
    return int(np.count_nonzero(np.diff(drawn_percent, prepend=0.0)))


def total_cost(costs: Costs, weather: Minutes, drawn_percent: NDArray[np.float64]) -> float:
    """Cost of the whole span with its moves [per m2]."""
    minutes = sum(float(part.sum()) for part in count_minutes(costs, weather, drawn_percent).values())
    return minutes + costs.move * count_moves(drawn_percent)
