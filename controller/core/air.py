"""Moisture of the air: dew point, vapour pressure deficit, humidity deficit.

Magnus form with the constants of Alduchov & Eskridge 1996, J. Appl. Meteorol. 35:601-609, over liquid water:
`es = 610.94 exp(17.625 t / (243.04 + t))` Pa, for -40 to 50 C. Between 5 and 30 C the dew point agrees with
ASHRAE's equations within 0.02 C. Below 0 C it is a dew point still, and no frost point.
"""

from __future__ import annotations

from math import exp, log
from typing import Final

from controller.core.ranges import Range

AIR_C: Final = Range("air temperature", -40.0, 50.0, "C")
SURFACE_C: Final = Range("surface temperature", -40.0, 80.0, "C")
HUMIDITY_PERCENT: Final = Range("relative humidity", 1.0, 100.0, "%")
DEW_POINT_C: Final = Range("dew point", -40.0, 50.0, "C")

SOURCE: Final = "Magnus form, Alduchov & Eskridge 1996, J. Appl. Meteorol. 35:601-609"

A: Final = 17.625
B_C: Final = 243.04
C_PA: Final = 610.94
KELVIN: Final = 273.15
VAPOUR_J_KG_K: Final = 461.52
"""Gas constant of water vapour [J/kg/K]: 8.31446 / 0.0180153."""


def find_saturation_pa(*, temperature_c: float) -> float:
    """Compute the vapour pressure of saturated air [Pa].

    Parameters
    ----------
    temperature_c
        Air temperature [C], -40 to 50.

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """
    t = AIR_C.check(temperature_c)
    return C_PA * exp(A * t / (B_C + t))


def find_dew_point_c(*, temperature_c: float, humidity_percent: float) -> float:
    """Compute the temperature at which the air's vapour begins to settle [C].

    Parameters
    ----------
    temperature_c
        Air temperature [C], -40 to 50.
    humidity_percent
        Relative humidity over water [%], 1 to 100.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above, and for a dew point below -40 C, where the formula ends.
    """
    t = AIR_C.check(temperature_c)
    gamma = log(HUMIDITY_PERCENT.check(humidity_percent) / 100.0) + A * t / (B_C + t)
    # Saturated air at the very ends may come back a rounding error outside them.
    return DEW_POINT_C.check(round(B_C * gamma / (A - gamma), 9))


def find_vapour_deficit_kpa(*, temperature_c: float, humidity_percent: float) -> float:
    """Compute how far the air is from saturation, as pressure [kPa]."""
    full = find_saturation_pa(temperature_c=temperature_c)
    return full * (1.0 - HUMIDITY_PERCENT.check(humidity_percent) / 100.0) / 1000.0


def find_humidity_deficit_g_m3(*, temperature_c: float, humidity_percent: float) -> float:
    """Compute how much more vapour the air could hold [g/m3]."""
    deficit_kpa = find_vapour_deficit_kpa(temperature_c=temperature_c, humidity_percent=humidity_percent)
    return deficit_kpa * 1e6 / (VAPOUR_J_KG_K * (temperature_c + KELVIN))


def find_dew_margin_c(*, surface_c: float, temperature_c: float, humidity_percent: float) -> float:
    """Compute how far a surface is above the dew point [C]; 0 or less means it gets wet."""
    dew_c = find_dew_point_c(temperature_c=temperature_c, humidity_percent=humidity_percent)
    return SURFACE_C.check(surface_c) - dew_c
