"""Dissolved oxygen at saturation, and how full of it the water is.

Sources. Saturation at one atmosphere of moist air: Benson & Krause 1984, Limnol. Oceanogr. 29:620-632, for
0 to 40 C, 0 to 40 g/kg salinity and 0.5 to 1.1 atm. Pressure: the same authors' correction for water vapour
and second virial coefficient, as in Standard Methods 4500-O (from memory). Elevation: ICAO standard
atmosphere, Doc 7488 (from memory); a barometer is better.

A percentage without pressure is wrong on a hill: 5.0 mg/L at 28 C is 63.9 % at sea level, 72.4 % at 1000 m.
"""

from __future__ import annotations

from functools import lru_cache
from math import exp
from typing import Final

from controller.core.ranges import Range

TEMPERATURE_C: Final = Range("water temperature", 0.0, 40.0, "C")
SALINITY_G_KG: Final = Range("salinity", 0.0, 40.0, "g/kg")
PRESSURE_HPA: Final = Range("air pressure", 506.625, 1114.575, "hPa")
ELEVATION_M: Final = Range("elevation", -500.0, 5_000.0, "m")
# 25 mg/L: above it water would be three times saturated; a tank on pure oxygen stays below (our choice).
OXYGEN_MG_L: Final = Range("dissolved oxygen", 0.0, 25.0, "mg/L")
OXYGEN_PERCENT: Final = Range("oxygen saturation", 0.0, 300.0, "%")

SOURCE: Final = "Benson & Krause 1984, Limnol. Oceanogr. 29:620-632"

ATMOSPHERE_HPA: Final = 1013.25
KELVIN: Final = 273.15


def find_pressure_hpa(*, elevation_m: float) -> float:
    """Compute the usual air pressure at an elevation [hPa].

    Parameters
    ----------
    elevation_m
        Height above mean sea level, positive upwards. [m] -500 to 5000.
    """
    height = ELEVATION_M.check(elevation_m)
    return float(ATMOSPHERE_HPA * (1.0 - 2.25577e-5 * height) ** 5.25588)


def find_elevation_m(*, pressure_hpa: float) -> float:
    """Compute the elevation at which a pressure is the usual one [m]: the inverse of `find_pressure_hpa`.

    Parameters
    ----------
    pressure_hpa
        Air pressure at the site, not reduced to sea level. [hPa] 506.6 to 1114.6.
    """
    share = PRESSURE_HPA.check(pressure_hpa) / ATMOSPHERE_HPA
    return float((1.0 - share ** (1.0 / 5.25588)) / 2.25577e-5)


def find_saturation_mg_l(
    *, temperature_c: float, pressure_hpa: float = ATMOSPHERE_HPA, salinity_g_kg: float = 0.0
) -> float:
    """Compute the oxygen that water holds in balance with moist air [mg/L].

    Parameters
    ----------
    temperature_c
        Water temperature. [C] 0 to 40.
    pressure_hpa
        Air pressure at the site, not reduced to sea level. [hPa] 506.6 to 1114.6 (0.5 to 1.1 atm).
    salinity_g_kg
        Salinity. [g/kg] 0 to 40.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    return _find_saturation_mg_l(temperature_c, pressure_hpa, salinity_g_kg)


@lru_cache(maxsize=64)
def _find_saturation_mg_l(temperature_c: float, pressure_hpa: float, salinity_g_kg: float) -> float:
    """Compute it; a tank's thermometer shows the same few steps for hours."""
    t_c = TEMPERATURE_C.check(temperature_c)
    t_k = t_c + KELVIN
    salinity = SALINITY_G_KG.check(salinity_g_kg)
    atm = PRESSURE_HPA.check(pressure_hpa) / ATMOSPHERE_HPA
    fresh = exp(
        -139.34411 + 1.575701e5 / t_k - 6.642308e7 / t_k**2 + 1.243800e10 / t_k**3 - 8.621949e11 / t_k**4
    )
    salted = fresh * exp(-salinity * (0.017674 - 10.754 / t_k + 2140.7 / t_k**2))
    vapour = exp(11.8571 - 3840.70 / t_k - 216961.0 / t_k**2)
    theta = 0.000975 - 1.426e-5 * t_c + 6.436e-8 * t_c**2
    return salted * (atm - vapour) * (1.0 - theta * atm) / ((1.0 - vapour) * (1.0 - theta))


def find_percent(
    *,
    oxygen_mg_l: float,
    temperature_c: float,
    pressure_hpa: float = ATMOSPHERE_HPA,
    salinity_g_kg: float = 0.0,
) -> float:
    """Compute how full of oxygen the water is. [%] 100 is in balance with the air.

    Parameters
    ----------
    oxygen_mg_l
        Dissolved oxygen. [mg/L] 0 to 25.
    temperature_c, pressure_hpa, salinity_g_kg
        As for `find_saturation_mg_l`.

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """
    full = find_saturation_mg_l(
        temperature_c=temperature_c, pressure_hpa=pressure_hpa, salinity_g_kg=salinity_g_kg
    )
    return 100.0 * OXYGEN_MG_L.check(oxygen_mg_l) / full


def find_oxygen_mg_l(
    *, percent: float, temperature_c: float, pressure_hpa: float = ATMOSPHERE_HPA, salinity_g_kg: float = 0.0
) -> float:
    """Compute the oxygen at a given percentage of saturation. [mg/L] The inverse of `find_percent`.

    Raises
    ------
    OutOfRange
        For a number outside its range, and where the result would leave 0 to 25 mg/L.
    """
    full = find_saturation_mg_l(
        temperature_c=temperature_c, pressure_hpa=pressure_hpa, salinity_g_kg=salinity_g_kg
    )
    return OXYGEN_MG_L.check(OXYGEN_PERCENT.check(percent) * full / 100.0)
