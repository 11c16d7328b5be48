"""Base: grams against molar masses, doses and hazard against PHREEQC."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from periodictable import formula
from phreeqpython import PhreeqPython

from controller.core.ranges import OutOfRange
from controller.core.water import base
from controller.core.water.base import Water
from controller.core.water.chemical import TRAITS, Chemical, SlowToDissolve, find_chemical

EQUIVALENTS = {
    Chemical.POTASSIUM_HYDROXIDE: 1,
    Chemical.CALCIUM_HYDROXIDE: 2,
    Chemical.CALCIUM_OXIDE: 2,
    Chemical.POTASSIUM_CARBONATE: 2,
    Chemical.POTASSIUM_BICARBONATE: 1,
    Chemical.SODIUM_BICARBONATE: 1,
    Chemical.SODIUM_CARBONATE: 2,
    Chemical.SODIUM_CARBONATE_DECAHYDRATE: 2,
    Chemical.CALCIUM_CARBONATE: 2,
}
WATERS = st.builds(Water, st.floats(6.0, 8.5), st.floats(10, 200), st.floats(15, 32))


@pytest.fixture(scope="module")
def phreeqc() -> PhreeqPython:
    """USGS PHREEQC with its own database."""
    return PhreeqPython(database="phreeqc.dat")


@pytest.mark.parametrize("chemical", Chemical)
def test_grams_follow_molar_masses(chemical: Chemical) -> None:
    """Mass per equivalent by the periodictable library, within 0.05 %."""
    traits = TRAITS[chemical]
    per_equivalent = formula(traits.formula.replace(".", "+")).mass / EQUIVALENTS[chemical]
    per_calcium_carbonate = per_equivalent / (formula("CaCO3").mass / 2)
    found = base.find_grams(chemical, raise_alkalinity_mg_l=30.0, volume_l=1000.0)

    assert found == pytest.approx(30.0 * per_calcium_carbonate, rel=5e-4)


@pytest.mark.parametrize(
    ("name", "grams"),
    [("KOH", 33.6), ("Ca(OH)2", 22.2), ("NaHCO3", 50.4), ("KHCO3", 60.0), ("K2CO3", 41.4), ("CaO", 16.8)],
)
def test_the_trades_figures_are_met(name: str, grams: float) -> None:
    """30 mg/L in 1000 L, in figures that handbooks print (1.121, 0.740, 1.679, 2.001, 1.381, 0.560 g/g)."""
    chemical = find_chemical(name)

    assert chemical is not None
    assert base.find_grams(chemical, raise_alkalinity_mg_l=30.0, volume_l=1000.0) == pytest.approx(
        grams, abs=0.06
    )


def test_the_assay_is_divided_by() -> None:
    """Potassium hydroxide of 85 %: 39.6 g in place of 33.6."""
    found = base.find_grams(
        Chemical.POTASSIUM_HYDROXIDE, raise_alkalinity_mg_l=30.0, volume_l=1000.0, assay_percent=85.0
    )

    assert found == pytest.approx(39.57, abs=0.01)


@pytest.mark.parametrize(
    ("name", "chemical"),
    [
        ("koh", Chemical.POTASSIUM_HYDROXIDE),
        ("Potassium-Hydroxide", Chemical.POTASSIUM_HYDROXIDE),
        ("slaked lime", Chemical.CALCIUM_HYDROXIDE),
        ("ca(oh)2", Chemical.CALCIUM_HYDROXIDE),
        ("baking_soda", Chemical.SODIUM_BICARBONATE),
        ("potassium hydrogen carbonate", Chemical.POTASSIUM_BICARBONATE),
        ("bleach", None),
        ("", None),
    ],
)
def test_a_base_is_found_by_any_of_its_names(name: str, chemical: Chemical | None) -> None:
    """Formula, systematic and trade names all lead there; anything else leads nowhere."""
    assert find_chemical(name) is chemical


def test_no_two_bases_share_a_name() -> None:
    """Every name finds the base that lists it."""
    for chemical, traits in TRAITS.items():
        for name in (chemical.value, traits.formula, *traits.names):
            assert find_chemical(name) is chemical


@pytest.mark.parametrize("rise_mg_l", [2.0, 5.0, 15.0, 30.0])
def test_phreeqc_agrees_on_the_rise_of_ph(phreeqc: PhreeqPython, rise_mg_l: float) -> None:
    """Potassium hydroxide into water of pH 7 and 50 mg/L at 25 C, nothing escaping: within 0.1 pH of PHREEQC."""
    water = phreeqc.add_solution(
        {"units": "mmol/kgw", "Na": "0.99913", "Alkalinity": "0.99913", "pH": "7", "temp": "25"}
    )
    water.add("KOH", rise_mg_l / 50.0435, "mmol")
    plan = base.plan_doses(
        Chemical.POTASSIUM_HYDROXIDE, Water(7.0, 50.0, 25.0), raise_alkalinity_mg_l=rise_mg_l, grams=1.0
    )

    assert plan.ph_at_once == pytest.approx(water.pH, abs=0.1)


def test_bicarbonate_needs_few_doses_and_hydroxide_many() -> None:
    """Bicarbonate brings its own carbon dioxide along; hydroxide takes it out of the water."""
    water = Water(7.0, 50.0, 28.0)
    mild = base.plan_doses(Chemical.SODIUM_BICARBONATE, water, raise_alkalinity_mg_l=30.0, grams=50.4)
    harsh = base.plan_doses(Chemical.POTASSIUM_HYDROXIDE, water, raise_alkalinity_mg_l=30.0, grams=33.6)

    assert mild.doses < harsh.doses
    assert harsh.ph_at_once is not None
    assert harsh.ph_at_once > 9.5


def test_the_settled_ph_is_that_of_constant_carbon_dioxide() -> None:
    """50 to 80 mg/L at the same carbon dioxide: pH rises by log10(1.6), 0.204."""
    plan = base.plan_doses(
        Chemical.SODIUM_BICARBONATE, Water(7.0, 50.0, 28.0), raise_alkalinity_mg_l=30.0, grams=50.4
    )

    assert plan.settled_ph == pytest.approx(7.204, abs=5e-4)


@given(st.sampled_from(Chemical), WATERS, st.floats(1, 100))
def test_no_dose_raises_ph_by_more_than_a_fifth(chemical: Chemical, water: Water, rise_mg_l: float) -> None:
    """Whatever the base and the water, each dose stays within 0.2 pH and the doses add up."""
    try:
        plan = base.plan_doses(chemical, water, raise_alkalinity_mg_l=rise_mg_l, grams=100.0)
    except (OutOfRange, SlowToDissolve):
        return

    assert plan.ph_rise_each <= 0.2 + 1e-9
    assert plan.doses * plan.grams_each == pytest.approx(100.0)


@given(st.sampled_from(Chemical), WATERS, st.floats(1, 100), st.floats(0.1, 10))
def test_the_hazard_is_never_smaller_than_the_start(
    chemical: Chemical, water: Water, rise_mg_l: float, total_mg_l: float
) -> None:
    """A base never lowers un-ionised ammonia by this reckoning: the peak counts."""
    try:
        plan = base.plan_doses(chemical, water, raise_alkalinity_mg_l=rise_mg_l, grams=100.0)
    except (OutOfRange, SlowToDissolve):
        return
    hazard = base.find_hazard(water, plan, total_ammonia_mg_l=total_mg_l)

    assert hazard.times >= 1.0
    assert hazard.after_mg_l == pytest.approx(hazard.before_mg_l * hazard.times)


@pytest.mark.parametrize(
    ("ph", "words"), [(6.5, "over days"), (7.2, "hardly dissolves"), (8.0, "hardly dissolves")]
)
def test_no_ph_is_made_up_for_calcium_carbonate(ph: float, words: str) -> None:
    """It dissolves over days and stalls near pH 7.2 (common practice, no source): said so, and no dose plan."""
    with pytest.raises(SlowToDissolve, match=words):
        base.plan_doses(
            Chemical.CALCIUM_CARBONATE, Water(ph, 50.0, 28.0), raise_alkalinity_mg_l=30.0, grams=30.0
        )


def test_calcium_carbonate_is_at_rest_where_it_is_said_to_stall(phreeqc: PhreeqPython) -> None:
    """Hard water of 400 mg/L of alkalinity and calcium is full of calcite at pH 7.2, by USGS PHREEQC.

    Below that pH it could still take some up; a loop on tap water of less calcium stalls a little higher.
    """
    parts = {"units": "mmol/kgw", "Ca": "4", "Alkalinity": "8", "Cl": "0 charge", "temp": "25"}
    index = {ph: phreeqc.add_solution(parts | {"pH": ph}).si("Calcite") for ph in ("6.5", "7.2", "8.0")}

    assert index["6.5"] < 0.0 < index["7.2"] < index["8.0"]


@pytest.mark.parametrize("ph", [6.0, 7.0, 8.0, 8.8])
def test_the_settled_ph_leaves_carbon_dioxide_as_it_was(phreeqc: PhreeqPython, ph: float) -> None:
    """Also above pH 8, where carbonate counts: within 0.05 of PHREEQC at the same partial pressure."""
    before = phreeqc.add_solution(
        {"units": "mmol/kgw", "Na": "1 charge", "Alkalinity": "0.99913", "pH": str(ph), "temp": "25"}
    )
    pressure = before.si("CO2(g)")
    after = phreeqc.add_solution(
        {
            "units": "mmol/kgw",
            "Na": "1 charge",
            "Alkalinity": "1.99826",
            "pH": f"7 CO2(g) {pressure}",
            "temp": "25",
        }
    )
    plan = base.plan_doses(
        Chemical.POTASSIUM_BICARBONATE, Water(ph, 50.0, 25.0), raise_alkalinity_mg_l=50.0, grams=1.0
    )

    assert plan.settled_ph == pytest.approx(after.pH, abs=0.05)


def test_all_at_once_would_have_been_far_worse() -> None:
    """1 mg/L total at pH 7 and 28 C: 34 g of potassium hydroxide at once takes 0.007 to above 0.5 mg/L."""
    water = Water(7.0, 50.0, 28.0)
    plan = base.plan_doses(Chemical.POTASSIUM_HYDROXIDE, water, raise_alkalinity_mg_l=30.0, grams=33.6)
    hazard = base.find_hazard(water, plan, total_ammonia_mg_l=1.0)

    assert hazard.before_mg_l == pytest.approx(0.0069, abs=1e-4)
    assert hazard.after_mg_l < 0.02
    assert hazard.at_once_mg_l is not None
    assert hazard.at_once_mg_l > 0.5


@pytest.mark.parametrize(
    ("rise_mg_l", "volume_l", "assay_percent"),
    [(-1.0, 1000.0, 100.0), (600.0, 1000.0, 100.0), (30.0, 0.0, 100.0), (30.0, 1000.0, 0.0)],
)
def test_nonsense_is_refused(rise_mg_l: float, volume_l: float, assay_percent: float) -> None:
    """A negative rise, no water, or a product with none of the base in it are mistakes."""
    with pytest.raises(OutOfRange):
        base.find_grams(
            Chemical.POTASSIUM_HYDROXIDE,
            raise_alkalinity_mg_l=rise_mg_l,
            volume_l=volume_l,
            assay_percent=assay_percent,
        )


def test_water_too_weakly_buffered_for_the_job_is_refused() -> None:
    """Pure water would take thousands of doses: that is no dosing job."""
    with pytest.raises(OutOfRange, match="too weakly buffered"):
        base.plan_doses(
            Chemical.POTASSIUM_HYDROXIDE, Water(7.5, 1.0, 25.0), raise_alkalinity_mg_l=200.0, grams=1.0
        )


@pytest.mark.parametrize(
    "words", ["goggles", "chemical to water, never water to the chemical", "label", "never doses"]
)
def test_the_safety_text_says_it_all(words: str) -> None:
    """Goggles, order of mixing, label and who decides are in the text."""
    assert words in " ".join(base.SAFETY)
