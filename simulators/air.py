"""Water vapour in air, as the simulated world reckons it."""

from math import exp

VAPOUR_GAS_J_KG_K = 461.5  # specific gas constant of water vapour


def saturation_pa(air_c: float) -> float:
    """Saturation vapour pressure over water [Pa].

    Magnus form with the coefficients of Alduchov and Eskridge 1996, J. Appl. Meteorol. 35:601-609; within
    0.3 % of the psychrometric tables between 0 and 40 C.

    Parameters
    ----------
    air_c : float
        Temperature, -40 to 60. [C]
    """
    return 610.94 * exp(17.625 * air_c / (243.04 + air_c))


def vapour_kg_m3(vapour_pa: float, air_c: float) -> float:
    """Vapour density of a vapour pressure [kg/m3], by the ideal gas law.

    Parameters
    ----------
    vapour_pa : float
        Vapour pressure, at least 0. [Pa]
    air_c : float
        Temperature. [C]
    """
    return vapour_pa / (VAPOUR_GAS_J_KG_K * (air_c + 273.15))
