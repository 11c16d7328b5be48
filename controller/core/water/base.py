"""Raising alkalinity: how many grams, in how many doses, and what the rise of pH does to ammonia.

Duskbell never doses. It reckons for a person, who goes by the label, the local rules and a fresh measurement.

Grams follow from equivalents (molar masses of the IUPAC standard atomic weights). The rise of pH right after
a dose follows from total inorganic carbon, which a hydroxide leaves as it was and a carbonate adds to
(`controller.core.water.carbonate`). A dose may raise pH by 0.2 at most: our choice, as pH 6.8 to 7.4
multiplies un-ionised ammonia by 3.9.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil
from typing import Final

from controller.core.ranges import OutOfRange, Range
from controller.core.units import CARBONATE_G_EQ
from controller.core.water import ammonia, carbonate
from controller.core.water.chemical import TRAITS, Chemical, refuse_slow

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
    SlowToDissolve
        For a base whose dissolving takes days: what it does to pH cannot be told.
    """
    PH.check(water.ph)
    refuse_slow(chemical, ph=water.ph)
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
    settled = carbonate.find_ph(
        carbon_dioxide_mg_l=carbonate.find_co2_mg_l(
            ph=water.ph, alkalinity_mg_l=water.alkalinity_mg_l, temperature_c=water.temperature_c
        ),
        alkalinity_mg_l=water.alkalinity_mg_l + total,
        temperature_c=water.temperature_c,
    )
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


def _rise_eq_l(raise_mg_l: float) -> float:
    return RAISE_MG_L.check(raise_mg_l) * 1e-3 / CARBONATE_G_EQ


def _ph_after(chemical: Chemical, water: Water, raise_mg_l: float) -> float:
    """Compute the pH right after a part dose, before any carbon dioxide comes or goes."""
    carbon_mmol_l = carbonate.find_carbon_mmol_l(
        ph=water.ph, alkalinity_mg_l=water.alkalinity_mg_l, temperature_c=water.temperature_c
    )
    brought = raise_mg_l / CARBONATE_G_EQ * TRAITS[chemical].carbon_mol_per_eq
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
