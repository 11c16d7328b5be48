"""Daylight in three units, its sum over a day, and the light at which a drawn curtain stops paying.

Conversions hold for sun and sky, within about 10 % (Thimijan & Heins 1983; Jacovides et al. 2003; see
`controller.core.units`). Under lamps they err by 25 to 50 %.

Break-even, exact for the prices given: heat saved by the curtain is worth the light it costs at
`I* = dU (Ti - To) p_heat / (tau_cover (1 - tau_curtain) p_light)`. Below I* outside, it pays to stay drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import pi
from typing import Final

from controller.core.ranges import Range
from controller.core.units import LUX_PER_UMOL, UMOL_PER_JOULE_GLOBAL

# Brief flashes beside clouds passed 1800 W/m2 (Yordanov et al. 2013, IEEE J. Photovolt. 3:271): not refused.
GLOBAL_W_M2: Final = Range("global radiation", 0.0, 2_000.0, "W/m2")
LUX: Final = Range("illuminance", 0.0, 2_000.0 * LUX_PER_UMOL * UMOL_PER_JOULE_GLOBAL, "lx")
PPFD_UMOL_M2_S: Final = Range("photon flux", 0.0, 2_000.0 * UMOL_PER_JOULE_GLOBAL, "umol/m2/s")
HOURS: Final = Range("hours of light", 0.0, 24.0, "h")
ENERGY_MJ_M2: Final = Range("day's global radiation", 0.0, 60.0, "MJ/m2")
HEAT_SAVED_W_M2_K: Final = Range("heat saved", 0.0, 20.0, "W/m2/K")
AIR_C: Final = Range("air temperature", -60.0, 60.0, "C")
COVER_SHARE: Final = Range("light through the cover", 0.05, 1.0, "")
CURTAIN_SHARE: Final = Range("light through the curtain", 0.0, 0.99, "")
PRICE_PER_KWH: Final = Range("price", 1e-4, 100.0, "per kWh")

SOURCE: Final = (
    "Thimijan & Heins 1983, HortScience 18(6):818-822; Jacovides et al. 2003, Theor. Appl. Climatol."
)
BREAK_EVEN_SOURCE: Final = "worth of heat saved equals worth of light lost, by the prices given"


@dataclass(frozen=True, slots=True)
class Curtain:
    """What a drawn curtain saves and costs.

    Attributes
    ----------
    heat_saved_w_m2_k
        Heat saved per floor area and kelvin of difference [W/m2/K], 0 to 20.
    cover_share
        Share of outside light that passes the cover, 0.05 to 1.
    curtain_share
        Share of that light that passes the drawn curtain, 0 to 0.99.
    """

    heat_saved_w_m2_k: float
    cover_share: float
    curtain_share: float


@dataclass(frozen=True, slots=True)
class Prices:
    """What heat and inside light are worth, in one currency.

    Attributes
    ----------
    heat_per_kwh
        Price of heat [per kWh], above 0.
    light_per_kwh
        Worth of global radiation inside [per kWh], above 0.
    """

    heat_per_kwh: float
    light_per_kwh: float


def convert_lux_to_ppfd(*, lux: float) -> float:
    """Convert illuminance [lx] to photon flux [umol/m2/s]."""
    return LUX.check(lux) / LUX_PER_UMOL


def convert_ppfd_to_lux(*, ppfd_umol_m2_s: float) -> float:
    """Convert photon flux [umol/m2/s] to illuminance [lx]."""
    return PPFD_UMOL_M2_S.check(ppfd_umol_m2_s) * LUX_PER_UMOL


def convert_global_to_ppfd(*, global_w_m2: float) -> float:
    """Convert global radiation [W/m2] to photon flux [umol/m2/s]."""
    return GLOBAL_W_M2.check(global_w_m2) * UMOL_PER_JOULE_GLOBAL


def convert_ppfd_to_global(*, ppfd_umol_m2_s: float) -> float:
    """Convert photon flux [umol/m2/s] to global radiation [W/m2]."""
    return PPFD_UMOL_M2_S.check(ppfd_umol_m2_s) / UMOL_PER_JOULE_GLOBAL


def convert_lux_to_global(*, lux: float) -> float:
    """Convert illuminance [lx] to global radiation [W/m2]."""
    return LUX.check(lux) / (LUX_PER_UMOL * UMOL_PER_JOULE_GLOBAL)


def convert_global_to_lux(*, global_w_m2: float) -> float:
    """Convert global radiation [W/m2] to illuminance [lx]."""
    return GLOBAL_W_M2.check(global_w_m2) * UMOL_PER_JOULE_GLOBAL * LUX_PER_UMOL


def sum_steady_mol_m2(*, ppfd_umol_m2_s: float, hours: float) -> float:
    """Compute the light sum of steady light [mol/m2].

    Parameters
    ----------
    ppfd_umol_m2_s
        Photon flux [umol/m2/s], 0 to 4113.
    hours
        How long it lasts [h], 0 to 24.
    """
    return PPFD_UMOL_M2_S.check(ppfd_umol_m2_s) * 3600.0 * HOURS.check(hours) / 1e6


def sum_clear_day_mol_m2(*, noon_ppfd_umol_m2_s: float, day_length_h: float) -> float:
    """Compute the light sum of a day that rises and falls as half a sine [mol/m2]."""
    return sum_steady_mol_m2(ppfd_umol_m2_s=noon_ppfd_umol_m2_s, hours=day_length_h) * 2.0 / pi


def sum_energy_mol_m2(*, global_mj_m2: float) -> float:
    """Convert a day's global radiation [MJ/m2] to its light sum [mol/m2]."""
    return ENERGY_MJ_M2.check(global_mj_m2) * UMOL_PER_JOULE_GLOBAL


def find_break_even_w_m2(curtain: Curtain, prices: Prices, *, inside_c: float, outside_c: float) -> float:
    """Compute the outside light below which a drawn curtain pays [W/m2 of global radiation].

    Parameters
    ----------
    curtain, prices
        What is saved, lost, and what each is worth.
    inside_c, outside_c
        Air temperatures [C], -60 to 60.

    Returns
    -------
    light
        0 when it is no warmer inside than outside: there is no heat to save.

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """
    difference = max(AIR_C.check(inside_c) - AIR_C.check(outside_c), 0.0)
    saved = HEAT_SAVED_W_M2_K.check(curtain.heat_saved_w_m2_k) * PRICE_PER_KWH.check(prices.heat_per_kwh)
    lost_share = COVER_SHARE.check(curtain.cover_share) * (1.0 - CURTAIN_SHARE.check(curtain.curtain_share))
    return saved * difference / (lost_share * PRICE_PER_KWH.check(prices.light_per_kwh))
