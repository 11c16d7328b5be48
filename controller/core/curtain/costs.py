"""What a minute with the curtain at a position costs: harm, light lost, heat. Pure sums, nothing remembered.

    cost = harm x photons above the ceiling + worth x photons below it that the curtain took + price x heat

at the canopy, which has the outside light times what cover and curtain let through, linear in the drawn share
(Vanthoor 2011, thesis, Wageningen, ch. 8). Heat is what the set-point asks for and the sun does not give:
`max(0, U (set-point - outside) - share x sun below the curtain)`. U falls with the drawn share as the saving
does: 53.6 % drawn tight, 42.1 % at 97, 35.3 % at 95, 6.8 % at 50 (the same chapter, solved for 18 K and 4 m/s),
so that for heat a curtain is either drawn or it is hardly there.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Final, NamedTuple

from controller.core.plan.curtain import Curtain
from controller.core.plan.economics import Economics
from controller.core.units import UMOL_PER_JOULE_GLOBAL

POSITIONS: Final = (0.0, 25.0, 50.0, 75.0, 100.0)
"""Positions that are weighed against each other; finer ones gained nothing in the benchmark. [%]"""

DAY_ABOVE_W_M2: Final = 1.0
"""Where the sun is not known, it is day while the light is above this (our choice). [W/m2]"""

WARM_ENOUGH_K: Final = 4.0
"""Above the set-point by this, no heat is wanted: a usual dead zone between heating and venting (our choice). [K]"""

_DRAWN: Final = (0.0, 0.50, 0.80, 0.90, 0.95, 0.97, 0.98, 0.99, 0.995, 1.0)
_SAVED: Final = (0.0, 6.8, 16.0, 24.9, 35.3, 42.1, 46.3, 50.6, 52.4, 53.6)

_KILO_MINUTES: Final = 60_000.0
_MOL: Final = 60.0 / 1e6


class Scales(NamedTuple):
    """The prices and the house, reckoned once for some positions. Per m2 of floor, per minute.

    `through` and `u_w_m2_k` have one entry a position; `umol_per_w` turns outside light [W/m2] into light at an
    open canopy [umol/m2/s]; `sun_per_w` into the sun that replaces heating there [W/m2].
    """

    positions: tuple[float, ...]
    through: tuple[float, ...]
    u_w_m2_k: tuple[float, ...]
    umol_per_w: float
    sun_per_w: float
    ceiling: float
    harm: float
    worth: float
    heat: float
    day_c: float
    night_c: float


def saving_left(drawn_percent: float) -> float:
    """Return the share of a drawn curtain's heat saving that is left at a position, 0 to 1."""
    drawn = min(max(drawn_percent / 100.0, 0.0), 1.0)
    for at in range(1, len(_DRAWN)):
        if drawn <= _DRAWN[at]:
            low, high = _DRAWN[at - 1], _DRAWN[at]
            saved = _SAVED[at - 1] + (_SAVED[at] - _SAVED[at - 1]) * (drawn - low) / (high - low)
            return saved / _SAVED[-1]
    return 1.0


@lru_cache(maxsize=64)
def make_scales(
    curtain: Curtain,
    economics: Economics,
    positions: tuple[float, ...] = POSITIONS,
    *,
    worth_share: float = 1.0,
) -> Scales:
    """Make the scales of a curtain for some positions; `worth_share` is what light keeps of its worth."""
    saved = economics.open_u_w_m2_k - economics.drawn_u_w_m2_k
    return Scales(
        positions,
        tuple(1.0 - at / 100.0 * (1.0 - curtain.transmission) for at in positions),
        tuple(economics.open_u_w_m2_k - saved * saving_left(at) for at in positions),
        UMOL_PER_JOULE_GLOBAL * curtain.cover_transmission,
        economics.sun_heat_share * curtain.cover_transmission,
        economics.light_ceiling_umol_m2_s,
        economics.light_harm_per_mol * _MOL,
        economics.light_worth_per_mol * worth_share * _MOL,
        economics.heat_price_per_kwh / _KILO_MINUTES,
        economics.day_set_point_c,
        economics.night_set_point_c,
    )


def count_minute(
    scales: Scales, light_w_m2: float, *, outside_c: float | None, is_day: bool, heat_is_wanted: bool = True
) -> list[float]:
    """Count what a minute costs at each position of the scales [per m2 of floor].

    Parameters
    ----------
    scales
        Prices, house and positions.
    light_w_m2
        Global radiation outside, at least 0. [W/m2]
    outside_c
        Air outside; None leaves heat out of the account. [C]
    is_day
        Which set-point holds.
    heat_is_wanted
        False leaves heat out: the house is warm enough.
    """
    free = light_w_m2 * scales.umol_per_w
    ceiling, harm, worth = scales.ceiling, scales.harm, scales.worth
    useful = min(ceiling, free)
    costs = [
        harm * (canopy - ceiling) if (canopy := free * through) > ceiling else worth * (useful - canopy)
        for through in scales.through
    ]
    if outside_c is None or not heat_is_wanted:
        return costs
    colder = (scales.day_c if is_day else scales.night_c) - outside_c
    if colder <= 0.0:
        return costs
    sun, heat = light_w_m2 * scales.sun_per_w, scales.heat
    return [
        cost + heat * lost if (lost := u * colder - sun * through) > 0.0 else cost
        for cost, u, through in zip(costs, scales.u_w_m2_k, scales.through, strict=True)
    ]


def find_break_even_w_m2(scales: Scales, *, colder_k: float) -> float:
    """Return the outside light below which it pays to be drawn rather than open, by these scales [W/m2].

    Heat saved `dU dT price` against light lost `umol_per_w (1 - curtain) worth`; the sun that replaces heating is
    left out and light is below the ceiling. Infinite where light is worth nothing.

    Parameters
    ----------
    scales
        With the open position first and the drawn one last.
    colder_k
        How much colder it is outside than the set-point. [K]
    """
    saved = (scales.u_w_m2_k[0] - scales.u_w_m2_k[-1]) * max(colder_k, 0.0) * scales.heat
    lost = scales.umol_per_w * (scales.through[0] - scales.through[-1]) * scales.worth
    if lost > 0.0:
        return saved / lost
    return float("inf") if saved > 0.0 else 0.0
