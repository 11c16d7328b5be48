"""Calculators of what is dissolved: ammonia, oxygen, carbon dioxide, and raising alkalinity."""

from __future__ import annotations

from typing import Final

from controller.calculators.answer import Answer, Detail, Given, OptionsDisagree
from controller.core.units import Basis, Quantity
from controller.core.water import ammonia, base, carbonate, oxygen
from controller.core.water.chemical import TRAITS, SlowToDissolve, find_chemical
from controller.core.water.kit import BASES, BasisRefused, find_basis, restate_mg_l


def reckon_ammonia(given: Given) -> Answer:
    """Reckon un-ionised ammonia."""
    ph, temperature_c = given.need("ph"), given.need("temperature-c")
    fraction = ammonia.unionised_fraction(ph=ph, temperature_c=temperature_c)
    total = _read_total_ammonia(given)
    unionised = ammonia.find_unionised_mg_l(total_ammonia_mg_l=total, ph=ph, temperature_c=temperature_c)
    as_nh3 = ammonia.from_nitrogen_mg_l(ammonia.Species.AMMONIA, nitrogen_mg_l=unionised)
    return Answer(
        unionised,
        "mg/L",
        "un-ionised ammonia, as nitrogen",
        ammonia.SOURCE,
        {
            "fraction": fraction,
            "total_ammonia_mg_l": total,
            "unionised_as_nh3_mg_l": as_nh3,
            "note": "zero salinity: 2 to 15 % high, on the safe side, at 0.5 to 2 mS/cm",
        },
    )


def _read_total_ammonia(given: Given) -> float:
    """Read the total ammonia as nitrogen [mg/L], whatever the kit weighs it as."""
    word = given.words.get("basis", Basis.NITROGEN.value)
    basis = find_basis(word)
    if basis is None or basis is Basis.ITSELF:
        known = ", ".join(each.value for each in BASES[Quantity.TOTAL_AMMONIA])
        raise OptionsDisagree(f"{word[:20]!r} is no basis of ammonia; known are {known}")
    try:
        return restate_mg_l(Quantity.TOTAL_AMMONIA, value=given.need("total-ammonia-mg-l"), basis=basis)
    except BasisRefused as refusal:
        raise OptionsDisagree(str(refusal)) from None


SUPERSATURATED_PERCENT: Final = 130.0
"""Above this share of saturation air alone hardly explains a reading of oxygen (common practice, no source). [%]"""


def reckon_oxygen(given: Given) -> Answer:
    """Reckon oxygen at saturation, and the percentage of it when oxygen is given."""
    elevation_m, pressure_hpa = given.find("elevation-m"), given.find("pressure-hpa")
    if elevation_m is not None and pressure_hpa is not None:
        raise OptionsDisagree("give --elevation-m or --pressure-hpa, not both")
    if elevation_m is not None:
        pressure_hpa = oxygen.find_pressure_hpa(elevation_m=elevation_m)
    elif pressure_hpa is None:
        pressure_hpa = oxygen.ATMOSPHERE_HPA
    temperature_c, salinity_g_kg = given.need("temperature-c"), given.need("salinity-g-kg")
    # Beside a pressure in mmHg, or reduced to sea level, its height looks odd.
    usual_at_m = round(oxygen.find_elevation_m(pressure_hpa=pressure_hpa)) + 0.0
    also: dict[str, Detail] = {"pressure_hpa": pressure_hpa, "usual_pressure_at_m": usual_at_m}
    now = given.find("oxygen-mg-l")
    if now is not None:
        percent = also["percent"] = oxygen.find_percent(
            oxygen_mg_l=now,
            temperature_c=temperature_c,
            pressure_hpa=pressure_hpa,
            salinity_g_kg=salinity_g_kg,
        )
        if percent > SUPERSATURATED_PERCENT:
            also["note"] = (
                f"above {SUPERSATURATED_PERCENT:g} %: pure oxygen is on or algae stand in full sun, "
                "or the probe or its calibration is bad"
            )
    full = oxygen.find_saturation_mg_l(
        temperature_c=temperature_c, pressure_hpa=pressure_hpa, salinity_g_kg=salinity_g_kg
    )
    return Answer(full, "mg/L", "oxygen at saturation", oxygen.SOURCE, also)


def reckon_carbonate(given: Given) -> Answer:
    """Reckon carbon dioxide from pH and alkalinity."""
    ph, alkalinity_mg_l = given.need("ph"), given.need("alkalinity-mg-l")
    temperature_c = given.need("temperature-c")
    gas = carbonate.find_co2_mg_l(ph=ph, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)
    carbon = carbonate.find_carbon_mmol_l(ph=ph, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)
    return Answer(
        gas,
        "mg/L",
        "carbon dioxide",
        carbonate.SOURCE,
        {
            "pk1": carbonate.find_constants(temperature_c=temperature_c).pk1,
            "inorganic_carbon_mmol_l": carbon,
            "note": "pH 0.3 lower at the same alkalinity is this doubled: aeration lost, no call for base",
        },
    )


def _write_doses(water: base.Water, plan: base.DosePlan, *, total_mg_l: float | None) -> dict[str, Detail]:
    """Write the doses and, with a total ammonia [mg/L as N], what they do to its un-ionised part."""
    told: dict[str, Detail] = {
        "doses": plan.doses,
        "grams_each": plan.grams_each,
        "ph_rise_each": plan.ph_rise_each,
        "settled_ph": plan.settled_ph,
        "ph_all_at_once": plan.ph_at_once,
    }
    if plan.ph_at_once is None:
        told["note"] = f"all at once it would pass pH {carbonate.PH.high:g}"
    hazard = base.find_hazard(water, plan, total_ammonia_mg_l=total_mg_l or 0.0)
    told |= {
        "unionised_times": hazard.times,
        "hazard": _tell_hazard(hazard.times, "at its highest pH this plan"),
    }
    if total_mg_l is not None:
        told |= {
            "unionised_before_mg_l": hazard.before_mg_l,
            "unionised_after_mg_l": hazard.after_mg_l,
            "unionised_all_at_once_mg_l": hazard.at_once_mg_l,
        }
    return told


def _tell_hazard(times: float, what: str) -> str:
    return f"rising pH turns ammonia harmful: {what} makes its un-ionised part {times:.1f} times what it was"


_USUAL_RISE: Final = (
    ammonia.unionised_fraction(ph=7.4, temperature_c=26.0)
    / ammonia.unionised_fraction(ph=6.8, temperature_c=26.0),
    "a rise from pH 6.8 to 7.4",
)


def reckon_base(given: Given) -> Answer:
    """Reckon the grams of a base, the doses to split it into, and the ammonia hazard."""
    name = given.words["chemical"]
    chemical = find_chemical(name)
    if chemical is None:
        known = ", ".join(traits.formula for traits in TRAITS.values())
        raise OptionsDisagree(f"no base is called {name[:40]!r}; known are {known}, and their names")
    traits = TRAITS[chemical]
    rise_mg_l = given.need("raise-alkalinity-mg-l")
    grams = base.find_grams(
        chemical,
        raise_alkalinity_mg_l=rise_mg_l,
        volume_l=given.need("volume-l"),
        assay_percent=given.need("assay-percent"),
    )
    also: dict[str, Detail] = dict.fromkeys(
        (
            "doses",
            "grams_each",
            "ph_rise_each",
            "settled_ph",
            "ph_all_at_once",
            "unionised_before_mg_l",
            "unionised_after_mg_l",
            "unionised_all_at_once_mg_l",
            "unionised_times",
        )
    )
    also |= {"chemical": chemical.value, "formula": traits.formula, "hazard": _tell_hazard(*_USUAL_RISE)}
    safety = [*base.SAFETY, traits.caution] if traits.caution else list(base.SAFETY)
    total_mg_l = given.find("total-ammonia-mg-l")
    if given.all_or_none("ph", "temperature-c", "alkalinity-mg-l"):
        water = base.Water(given.need("ph"), given.need("alkalinity-mg-l"), given.need("temperature-c"))
        try:
            plan = base.plan_doses(chemical, water, raise_alkalinity_mg_l=rise_mg_l, grams=grams)
        except SlowToDissolve as slow:
            also["note"] = str(slow)
        else:
            also |= _write_doses(water, plan, total_mg_l=total_mg_l)
            safety.append("Give the next dose only when pH has come back; otherwise reckon anew.")
    elif total_mg_l is not None:
        raise OptionsDisagree("--total-ammonia-mg-l needs --ph, --temperature-c and --alkalinity-mg-l")
    else:
        also["note"] = "without --ph, --temperature-c and --alkalinity-mg-l nobody can tell the doses"
        safety.append(f"Split it so that no dose raises pH by more than {base.RISE_PER_DOSE_PH:g}.")
    also["safety"] = safety
    return Answer(grams, "g", f"of {chemical.value} ({traits.formula})", base.SOURCE, also)
