"""Carbon dioxide, alkalinity and pH: any two give the third.

Sources. First and second dissociation of carbonic acid: Plummer & Busenberg 1982, Geochim. Cosmochim. Acta
46:1011-1040, for 0 to 90 C. Ion product of water: Harned & Owen 1958, as in Stumm & Morgan, Aquatic Chemistry
(from memory). Activities are taken as 1, as in dilute water: at 50 mg/L alkalinity this reads carbon dioxide
5 % high, at 200 mg/L up to 10 % (computed with PHREEQC), which errs on the fish's side.

Alkalinity is in mg/L as calcium carbonate and is taken as bicarbonate, carbonate and hydroxide alone. Carbon
dioxide is the dissolved gas, in mg/L as CO2.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import log10
from typing import Final

from controller.core.ranges import Range
from controller.core.units import CARBONATE_G_EQ

PH: Final = Range("pH", 4.5, 10.0, "")
TEMPERATURE_C: Final = Range("water temperature", 0.0, 50.0, "C")
ALKALINITY_MG_L: Final = Range("alkalinity", 0.1, 1_000.0, "mg/L")
CARBON_DIOXIDE_MG_L: Final = Range("carbon dioxide", 1e-9, 200_000.0, "mg/L")
CARBON_MMOL_L: Final = Range("total inorganic carbon", 0.0, 5_000.0, "mmol/L")

SOURCE: Final = "Plummer & Busenberg 1982, Geochim. Cosmochim. Acta 46:1011-1040, dilute water"

KELVIN: Final = 273.15
CARBON_DIOXIDE_G_MOL: Final = 44.0095

# Halving 5.5 pH units 60 times leaves less than 1e-17: below what a float can tell apart.
_HALVINGS: Final = 60


@dataclass(frozen=True, slots=True)
class Constants:
    """Dissociation constants at one temperature, as negative logarithms.

    Attributes
    ----------
    pk1, pk2
        First and second dissociation of carbonic acid.
    pkw
        Ion product of water.
    """

    pk1: float
    pk2: float
    pkw: float


@dataclass(frozen=True, slots=True)
class PhChange:
    """A change of pH split into what carbon dioxide did and what alkalinity did.

    Attributes
    ----------
    by_carbon_dioxide
        Part due to carbon dioxide; negative when it built up. [pH]
    by_alkalinity
        Part due to alkalinity; negative when it was used up. [pH]
    carbon_dioxide_ratio
        Carbon dioxide after, over before. [1]
    """

    by_carbon_dioxide: float
    by_alkalinity: float
    carbon_dioxide_ratio: float


def find_constants(*, temperature_c: float) -> Constants:
    """Compute the dissociation constants.

    Parameters
    ----------
    temperature_c
        Water temperature [C], 0 to 50.
    """
    return _find_constants(TEMPERATURE_C.check(temperature_c))


@lru_cache(maxsize=64)
def _find_constants(temperature_c: float) -> Constants:
    """Compute them; a tank's thermometer shows the same few steps for hours."""
    t_k = temperature_c + KELVIN
    log_t = log10(t_k)
    pk1 = 356.3094 + 0.06091964 * t_k - 21834.37 / t_k - 126.8339 * log_t + 1684915.0 / t_k**2
    pk2 = 107.8871 + 0.03252849 * t_k - 5151.79 / t_k - 38.92561 * log_t + 563713.9 / t_k**2
    pkw = 4470.99 / t_k - 6.0875 + 0.01706 * t_k
    return Constants(pk1, pk2, pkw)


def find_co2_mg_l(*, ph: float, alkalinity_mg_l: float, temperature_c: float) -> float:
    """Compute dissolved carbon dioxide [mg/L].

    Parameters
    ----------
    ph
        pH of the water, 4.5 to 10.
    alkalinity_mg_l
        Alkalinity as calcium carbonate [mg/L], 0.1 to 1000.
    temperature_c
        Water temperature [C], 0 to 50.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above, and where hydroxide alone would exceed the alkalinity (a high
        pH with next to no alkalinity: one of the two is mistaken).
    """
    constants = find_constants(temperature_c=temperature_c)
    alkalinity_eq = _equivalents(alkalinity_mg_l)
    hydrogen = 10.0 ** -PH.check(ph)
    return _carbon_dioxide(hydrogen, alkalinity_eq, constants) * CARBON_DIOXIDE_G_MOL * 1e3


def find_ph(*, carbon_dioxide_mg_l: float, alkalinity_mg_l: float, temperature_c: float) -> float:
    """Compute the pH that goes with a carbon dioxide and an alkalinity.

    Raises
    ------
    OutOfRange
        For a number outside its range, and where the pH would leave 4.5 to 10.
    """
    constants = find_constants(temperature_c=temperature_c)
    alkalinity_eq = _equivalents(alkalinity_mg_l)
    wanted = CARBON_DIOXIDE_MG_L.check(carbon_dioxide_mg_l) * 1e-3 / CARBON_DIOXIDE_G_MOL

    def lies_higher(hydrogen: float) -> bool:
        # Carbon dioxide falls as pH rises, so too much of it means the pH lies higher.
        return _carbon_dioxide_or_none(hydrogen, alkalinity_eq, constants) > wanted

    return _search_ph(lies_higher, "carbon dioxide and alkalinity give a pH beyond these ends")


def find_alkalinity_mg_l(*, ph: float, carbon_dioxide_mg_l: float, temperature_c: float) -> float:
    """Compute the alkalinity that goes with a pH and a carbon dioxide [mg/L as calcium carbonate].

    Raises
    ------
    OutOfRange
        For a number outside its range, and where the alkalinity would leave 0.1 to 1000 mg/L.
    """
    constants = find_constants(temperature_c=temperature_c)
    hydrogen = 10.0 ** -PH.check(ph)
    gas = CARBON_DIOXIDE_MG_L.check(carbon_dioxide_mg_l) * 1e-3 / CARBON_DIOXIDE_G_MOL
    return ALKALINITY_MG_L.check(_alkalinity_eq(hydrogen, gas, constants) * CARBONATE_G_EQ * 1e3)


def find_carbon_mmol_l(*, ph: float, alkalinity_mg_l: float, temperature_c: float) -> float:
    """Compute total inorganic carbon: dissolved gas, bicarbonate and carbonate [mmol/L].

    It stays as it is while nothing but a hydroxide is added, which is how a dose of base is reckoned.
    """
    constants = find_constants(temperature_c=temperature_c)
    alkalinity_eq = _equivalents(alkalinity_mg_l)
    hydrogen = 10.0 ** -PH.check(ph)
    gas = _carbon_dioxide(hydrogen, alkalinity_eq, constants)
    return 1e3 * gas * _carbon_per_gas(hydrogen, constants)


def find_ph_from_carbon(*, carbon_mmol_l: float, alkalinity_mg_l: float, temperature_c: float) -> float:
    """Compute the pH that goes with a total inorganic carbon and an alkalinity.

    Raises
    ------
    OutOfRange
        For a number outside its range, and where the pH would leave 4.5 to 10.
    """
    constants = find_constants(temperature_c=temperature_c)
    alkalinity_eq = _equivalents(alkalinity_mg_l)
    carbon = CARBON_MMOL_L.check(carbon_mmol_l) * 1e-3

    def lies_higher(hydrogen: float) -> bool:
        # Alkalinity rises with pH at a given carbon.
        gas = carbon / _carbon_per_gas(hydrogen, constants)
        return _alkalinity_eq(hydrogen, gas, constants) < alkalinity_eq

    return _search_ph(lies_higher, "carbon and alkalinity give a pH beyond these ends")


def split_ph_change(
    *, ph_before: float, ph_after: float, alkalinity_before_mg_l: float, alkalinity_after_mg_l: float
) -> PhChange:
    """Say how much of a change of pH is carbon dioxide and how much is alkalinity.

    Bicarbonate water follows `pH = pK1 + log(bicarbonate / carbon dioxide)`, so the two parts add up. A fall
    of 0.3 at the same alkalinity is carbon dioxide doubled: lost aeration, and no call for base.

    Parameters
    ----------
    ph_before, ph_after
        pH, 4.5 to 8.3: above that carbonate counts and the split no longer adds up.
    alkalinity_before_mg_l, alkalinity_after_mg_l
        Alkalinity as calcium carbonate [mg/L], 0.1 to 1000.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    allowed = PH.narrow(high=8.3)
    change = allowed.check(ph_after) - allowed.check(ph_before)
    by_alkalinity = log10(
        ALKALINITY_MG_L.check(alkalinity_after_mg_l) / ALKALINITY_MG_L.check(alkalinity_before_mg_l)
    )
    by_gas = change - by_alkalinity
    return PhChange(by_gas, by_alkalinity, 10.0**-by_gas)


def _equivalents(alkalinity_mg_l: float) -> float:
    return ALKALINITY_MG_L.check(alkalinity_mg_l) * 1e-3 / CARBONATE_G_EQ


def _carbon_per_gas(hydrogen: float, constants: Constants) -> float:
    k1 = 10.0**-constants.pk1
    return float(1.0 + k1 / hydrogen + k1 * 10.0**-constants.pk2 / hydrogen**2)


def _carbon_dioxide(hydrogen: float, alkalinity_eq: float, constants: Constants) -> float:
    gas = _carbon_dioxide_or_none(hydrogen, alkalinity_eq, constants)
    if gas <= 0.0:
        raise PH.refuse(-log10(hydrogen), "too high for so little alkalinity; check both")
    return gas


def _carbon_dioxide_or_none(hydrogen: float, alkalinity_eq: float, constants: Constants) -> float:
    """Compute the dissolved gas [mol/L]; zero or less where hydroxide alone exceeds the alkalinity."""
    carbonate_alkalinity = alkalinity_eq - 10.0**-constants.pkw / hydrogen + hydrogen
    bicarbonate = carbonate_alkalinity / (1.0 + 2.0 * 10.0**-constants.pk2 / hydrogen)
    return float(bicarbonate * hydrogen * 10.0**constants.pk1)


def _alkalinity_eq(hydrogen: float, gas: float, constants: Constants) -> float:
    """Compute the alkalinity of a dissolved gas [mol/L] at a hydrogen ion [mol/L] in balance [eq/L]."""
    bicarbonate = gas * 10.0**-constants.pk1 / hydrogen
    carbonate = bicarbonate * 10.0**-constants.pk2 / hydrogen
    return float(bicarbonate + 2.0 * carbonate + 10.0**-constants.pkw / hydrogen - hydrogen)


def _search_ph(lies_higher: Callable[[float], bool], why: str) -> float:
    """Find the pH by halving; `lies_higher` tells of a hydrogen ion [mol/L] whether the pH lies above its own."""
    low, high = PH.low, PH.high
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if lies_higher(10.0**-middle):
            low = middle
        else:
            high = middle
    return _inside(low, why)


def _inside(ph: float, why: str) -> float:
    # The search ends on the rim when the answer lies beyond it.
    rim = 1e-9
    if PH.low + rim < ph < PH.high - rim:
        return ph
    raise PH.refuse(ph, why)
