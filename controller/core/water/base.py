"""Raising alkalinity: how many grams, in how many doses, and what the rise of pH does to ammonia.

Duskbell never doses. It reckons for a person, who goes by the label, the local rules and a fresh measurement.

Grams follow from equivalents (molar masses of the IUPAC standard atomic weights). The rise of pH right after
a dose follows from total inorganic carbon, which a hydroxide leaves as it was and a carbonate adds to
(`controller.core.water.carbonate`). A dose may raise pH by 0.2 at most: our choice, as pH 6.8 to 7.4
multiplies un-ionised ammonia by 3.9.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from math import ceil, log10
from typing import Final

from controller.core.ranges import OutOfRange, Range
from controller.core.water import ammonia, carbonate

RAISE_MG_L: Final = Range("rise of alkalinity", 0.1, 500.0, "mg/L")
VOLUME_L: Final = Range("water volume", 1.0, 10_000_000.0, "L")
ASSAY_PERCENT: Final = Range("assay", 10.0, 100.0, "%")
PH: Final = carbonate.PH.narrow(high=9.0)

RISE_PER_DOSE_PH: Final = 0.2
# More parts than anyone would measure out: such a rise is no single job (our choice).
DOSES_MAX: Final = 100
_HALVINGS: Final = 60

SOURCE: Final = "equivalent masses from IUPAC standard atomic weights"

SAFETY: Final = (
    "Wear goggles and gloves.",
    "In a bucket outside the tank, add the chemical to water, never water to the chemical.",
    "Follow the label, the safety data sheet and local rules.",
    "Measure pH and total ammonia before each dose; pour slowly, away from fish.",
    "Duskbell never doses: a person decides and does it.",
)


@dataclass(frozen=True, slots=True)
class Traits:
    """What a base is made of.

    Attributes
    ----------
    formula
        Chemical formula, as on a label.
    g_per_eq
        Mass per equivalent of alkalinity [g/eq].
    carbon_mol_per_eq
        Inorganic carbon brought along [mol/eq].
    names
        Further names under which it is sold, in small letters.
    caution
        What is particular about it; empty if nothing is.
    """

    formula: str
    g_per_eq: float
    carbon_mol_per_eq: float
    names: tuple[str, ...] = ()
    caution: str = ""


class Chemical(Enum):
    """A base that people raise alkalinity with; the value is its systematic name."""

    POTASSIUM_HYDROXIDE = "potassium hydroxide"
    CALCIUM_HYDROXIDE = "calcium hydroxide"
    CALCIUM_OXIDE = "calcium oxide"
    POTASSIUM_CARBONATE = "potassium carbonate"
    POTASSIUM_BICARBONATE = "potassium bicarbonate"
    SODIUM_BICARBONATE = "sodium bicarbonate"
    SODIUM_CARBONATE = "sodium carbonate"
    CALCIUM_CARBONATE = "calcium carbonate"


_SODIUM: Final = "Sodium builds up in a loop with plants and harms them."
_CAUSTIC: Final = "Caustic: burns skin and eyes, and heats as it dissolves."

TRAITS: Final[dict[Chemical, Traits]] = {
    Chemical.POTASSIUM_HYDROXIDE: Traits("KOH", 56.1056, 0.0, ("caustic potash",), _CAUSTIC),
    Chemical.CALCIUM_HYDROXIDE: Traits("Ca(OH)2", 37.0464, 0.0, ("hydrated lime", "slaked lime"), _CAUSTIC),
    Chemical.CALCIUM_OXIDE: Traits(
        "CaO", 28.0387, 0.0, ("quicklime", "burnt lime"), "Caustic: it may boil and spit as it slakes."
    ),
    Chemical.POTASSIUM_CARBONATE: Traits("K2CO3", 69.1027, 0.5, ("potash",)),
    Chemical.POTASSIUM_BICARBONATE: Traits("KHCO3", 100.1151, 1.0, ("potassium hydrogen carbonate",)),
    Chemical.SODIUM_BICARBONATE: Traits(
        "NaHCO3", 84.0066, 1.0, ("sodium hydrogen carbonate", "baking soda"), _SODIUM
    ),
    Chemical.SODIUM_CARBONATE: Traits("Na2CO3", 52.9942, 0.5, ("soda ash", "washing soda"), _SODIUM),
    Chemical.CALCIUM_CARBONATE: Traits(
        "CaCO3", 50.0435, 0.5, ("limestone", "aragonite"), "Slow, and next to inert above pH 7.2."
    ),
}

assert set(TRAITS) == set(Chemical), "every base has its traits"


@dataclass(frozen=True, slots=True)
class Water:
    """The water before anything is added.

    Attributes
    ----------
    ph
        pH, 4.5 to 9.
    alkalinity_mg_l
        Alkalinity as calcium carbonate [mg/L], 0.1 to 1000.
    temperature_c
        Temperature [C], 0 to 50.
    """

    ph: float
    alkalinity_mg_l: float
    temperature_c: float


@dataclass(frozen=True, slots=True)
class DosePlan:
    """A dose split so that no part raises pH by more than 0.2.

    It holds if pH has come back before the next part: carbon dioxide from the fish undoes the first rise
    within hours. A rise that has not gone back means a smaller dose, reckoned anew.

    Attributes
    ----------
    doses
        Number of equal parts.
    grams_each
        Mass of each part [g].
    ph_rise_each
        Rise of pH right after the first part [pH].
    settled_ph
        pH when all parts are in and carbon dioxide is as it was before.
    ph_at_once
        pH right after the whole dose in one go; None when it passes pH 10.
    """

    doses: int
    grams_each: float
    ph_rise_each: float
    settled_ph: float
    ph_at_once: float | None


@dataclass(frozen=True, slots=True)
class AmmoniaHazard:
    """Un-ionised ammonia as nitrogen along a dose plan.

    Attributes
    ----------
    before_mg_l
        Before the first part [mg/L].
    after_mg_l
        At the highest pH of the plan, one rise above the settled pH [mg/L].
    at_once_mg_l
        If the whole dose went in in one go [mg/L]; None when pH would pass 10.
    times
        `after_mg_l` over `before_mg_l` [1].
    """

    before_mg_l: float
    after_mg_l: float
    at_once_mg_l: float | None
    times: float


def find_chemical(name: str) -> Chemical | None:
    """Find a base by formula, systematic name or trade name; capitals, hyphens and spaces do not matter."""
    wanted = _plain(name)
    for chemical, traits in TRAITS.items():
        if wanted in {_plain(text) for text in (chemical.value, traits.formula, *traits.names)}:
            return chemical
    return None


def find_grams(
    chemical: Chemical, *, raise_alkalinity_mg_l: float, volume_l: float, assay_percent: float = 100.0
) -> float:
    """Compute the mass of a base that raises alkalinity [g].

    Parameters
    ----------
    chemical
        The base.
    raise_alkalinity_mg_l
        Rise wanted, as calcium carbonate [mg/L], 0.1 to 500.
    volume_l
        Water in the whole loop [L], 1 or more.
    assay_percent
        Share of the base in the product [%], 10 to 100; potassium hydroxide is often 85.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    equivalents = _rise_eq_l(raise_alkalinity_mg_l) * VOLUME_L.check(volume_l)
    return equivalents * TRAITS[chemical].g_per_eq / (ASSAY_PERCENT.check(assay_percent) / 100.0)


def plan_doses(chemical: Chemical, water: Water, *, raise_alkalinity_mg_l: float, grams: float) -> DosePlan:
    """Split `grams` [g] into doses that raise pH by no more than 0.2 each.

    Raises
    ------
    OutOfRange
        For a number outside its range, for an alkalinity that would pass 1000 mg/L, and for a rise that would
        take more than 100 doses.
    """
    PH.check(water.ph)
    total = RAISE_MG_L.check(raise_alkalinity_mg_l)
    carbonate.ALKALINITY_MG_L.check(carbonate.ALKALINITY_MG_L.check(water.alkalinity_mg_l) + total)
    carbonate.find_carbon_mmol_l(
        ph=water.ph, alkalinity_mg_l=water.alkalinity_mg_l, temperature_c=water.temperature_c
    )
    largest = total
    if _rise_or_none(chemical, water, total, limit=RISE_PER_DOSE_PH) is None:
        low, high = 0.0, total
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            if _rise_or_none(chemical, water, middle, limit=RISE_PER_DOSE_PH) is None:
                high = middle
            else:
                low = middle
        largest = low
    if total > largest * DOSES_MAX:
        raise RAISE_MG_L.narrow(high=largest * DOSES_MAX).refuse(total, "the water is too weakly buffered")
    doses = ceil(total / largest - 1e-9)
    first = _ph_after(chemical, water, total / doses) - water.ph
    settled = water.ph + log10((water.alkalinity_mg_l + total) / water.alkalinity_mg_l)
    try:
        at_once = _ph_after(chemical, water, total)
    except OutOfRange:
        at_once = None
    return DosePlan(doses, grams / doses, first, settled, at_once)


def find_hazard(water: Water, plan: DosePlan, *, total_ammonia_mg_l: float) -> AmmoniaHazard:
    """Compute what the rise of pH does to un-ionised ammonia.

    Parameters
    ----------
    water
        The water before the dose.
    plan
        The doses, from `plan_doses`.
    total_ammonia_mg_l
        Total ammonia as nitrogen [mg/L], 0 to 200.

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """

    def unionised(ph: float) -> float:
        return ammonia.find_unionised_mg_l(
            total_ammonia_mg_l=total_ammonia_mg_l, ph=ph, temperature_c=water.temperature_c
        )

    peak_ph = max(water.ph, plan.settled_ph) + max(plan.ph_rise_each, 0.0)
    share_before = ammonia.unionised_fraction(ph=water.ph, temperature_c=water.temperature_c)
    share_after = ammonia.unionised_fraction(ph=peak_ph, temperature_c=water.temperature_c)
    at_once = None if plan.ph_at_once is None else unionised(plan.ph_at_once)
    return AmmoniaHazard(unionised(water.ph), unionised(peak_ph), at_once, share_after / share_before)


def _plain(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())


def _rise_eq_l(raise_mg_l: float) -> float:
    return RAISE_MG_L.check(raise_mg_l) * 1e-3 / carbonate.CARBONATE_G_EQ


def _ph_after(chemical: Chemical, water: Water, raise_mg_l: float) -> float:
    """Compute the pH right after a part dose, before any carbon dioxide comes or goes."""
    carbon_mmol_l = carbonate.find_carbon_mmol_l(
        ph=water.ph, alkalinity_mg_l=water.alkalinity_mg_l, temperature_c=water.temperature_c
    )
    brought = raise_mg_l / carbonate.CARBONATE_G_EQ * TRAITS[chemical].carbon_mol_per_eq
    return carbonate.find_ph_from_carbon(
        carbon_mmol_l=carbon_mmol_l + brought,
        alkalinity_mg_l=water.alkalinity_mg_l + raise_mg_l,
        temperature_c=water.temperature_c,
    )


def _rise_or_none(chemical: Chemical, water: Water, raise_mg_l: float, *, limit: float) -> float | None:
    """Compute the rise of pH after a part dose, or None when it passes `limit` or leaves the range."""
    try:
        rise = _ph_after(chemical, water, raise_mg_l) - water.ph
    except OutOfRange:
        return None
    return rise if rise <= limit else None
