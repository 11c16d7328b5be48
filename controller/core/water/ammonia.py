"""Un-ionised ammonia in fresh water, and the two ways of weighing nitrogen.

Only the un-ionised part (NH3) harms fish at everyday levels; a test kit measures the total (NH3 + NH4+).

Source of the equilibrium: Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32:2379-2383,
`pKa = 0.09018 + 2729.92 / T`, for 0 to 50 C and zero salinity. (A printed 2727.92 in circulation is a slip.)
Salts lower the un-ionised part by 2 to 15 % at 0.5 to 2 mS/cm, so this formula errs on the fish's side.

Every concentration here is *as nitrogen* unless its name ends otherwise: 1 mg/L as N is 1.216 mg/L as NH3.
"""

from __future__ import annotations

from enum import Enum
from typing import Final

from controller.core.ranges import Range

PH: Final = Range("pH", 3.0, 11.0, "")
TEMPERATURE_C: Final = Range("water temperature", 0.0, 50.0, "C")
TOTAL_AMMONIA_MG_L: Final = Range("total ammonia", 0.0, 200.0, "mg/L")
UNIONISED_MG_L: Final = Range("un-ionised ammonia", 0.0, 200.0, "mg/L")
MASS_MG_L: Final = Range("concentration", 0.0, 100_000.0, "mg/L")

SOURCE: Final = "Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32:2379-2383"

KELVIN: Final = 273.15
NITROGEN_G_MOL: Final = 14.0067


class Species(Enum):
    """What a nitrogen concentration may be weighed as; the value is the molar mass [g/mol]."""

    AMMONIA = 17.0305
    AMMONIUM = 18.0385
    NITRITE = 46.0055
    NITRATE = 62.0049


def dissociation_exponent(*, temperature_c: float) -> float:
    """Compute the pKa of ammonium (Emerson et al. 1975).

    Parameters
    ----------
    temperature_c
        Water temperature. [C] 0 to 50.
    """
    t_k = TEMPERATURE_C.check(temperature_c) + KELVIN
    return 0.09018 + 2729.92 / t_k


def unionised_fraction(*, ph: float, temperature_c: float) -> float:
    """Compute the share of total ammonia that is un-ionised [0..1].

    Parameters
    ----------
    ph
        pH of the water. 3 to 11.
    temperature_c
        Water temperature. [C] 0 to 50.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    pka = dissociation_exponent(temperature_c=temperature_c)
    return float(1.0 / (10.0 ** (pka - PH.check(ph)) + 1.0))


def find_unionised_mg_l(*, total_ammonia_mg_l: float, ph: float, temperature_c: float) -> float:
    """Compute un-ionised ammonia as nitrogen [mg/L].

    Parameters
    ----------
    total_ammonia_mg_l
        Total ammonia as nitrogen. [mg/L] 0 to 200.
    ph
        pH of the water. 3 to 11.
    temperature_c
        Water temperature. [C] 0 to 50.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    total = TOTAL_AMMONIA_MG_L.check(total_ammonia_mg_l)
    return total * unionised_fraction(ph=ph, temperature_c=temperature_c)


def find_total_mg_l(*, unionised_mg_l: float, ph: float, temperature_c: float) -> float:
    """Compute the total ammonia that holds a given un-ionised part [mg/L as N].

    The inverse of `find_unionised_mg_l`: "how much may the kit show before the limit is reached?"

    Raises
    ------
    OutOfRange
        For a number outside its range, and where the total would leave the range of a test kit (200 mg/L).
    """
    part = UNIONISED_MG_L.check(unionised_mg_l)
    return TOTAL_AMMONIA_MG_L.check(part / unionised_fraction(ph=ph, temperature_c=temperature_c))


def to_nitrogen_mg_l(species: Species, *, mg_l: float) -> float:
    """Restate a concentration of `species` [mg/L] as nitrogen [mg/L].

    Molar masses: IUPAC standard atomic weights (N 14.0067, H 1.00794, O 15.9994).
    """
    return MASS_MG_L.check(mg_l) * NITROGEN_G_MOL / species.value


def from_nitrogen_mg_l(species: Species, *, nitrogen_mg_l: float) -> float:
    """Restate a concentration as nitrogen [mg/L] as a concentration of `species` [mg/L]."""
    return MASS_MG_L.check(nitrogen_mg_l) * species.value / NITROGEN_G_MOL
