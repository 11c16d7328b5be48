"""Un-ionised ammonia against Emerson's table, PHREEQC and its own inverse."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from phreeqpython import PhreeqPython

from controller.core.ranges import OutOfRange
from controller.core.water import ammonia
from controller.core.water.ammonia import Species

PHS = st.floats(3.0, 11.0)
WARMTHS = st.floats(0.0, 50.0)


@pytest.fixture(scope="module")
def phreeqc() -> PhreeqPython:
    """USGS PHREEQC with its own database."""
    return PhreeqPython(database="phreeqc.dat")


@pytest.mark.parametrize(
    ("ph", "temperature_c", "fraction"),
    [
        (7.0, 24.0, 0.0052),
        (7.4, 24.0, 0.0131),
        (8.0, 20.0, 0.0381),
        (8.0, 24.0, 0.0502),
        (8.0, 28.0, 0.0654),
        (8.0, 30.0, 0.0743),
    ],
)
def test_the_printed_table_is_met(ph: float, temperature_c: float, fraction: float) -> None:
    """Francis-Floyd et al., UF/IFAS FA16, from Emerson et al. 1975; printed to four places."""
    assert ammonia.unionised_fraction(ph=ph, temperature_c=temperature_c) == pytest.approx(fraction, abs=1e-4)


def test_the_worked_example_is_met() -> None:
    """UF/IFAS FA16: 1.0 mg/L total at 24 C and pH 8.0 holds 0.0502 mg/L un-ionised."""
    found = ammonia.find_unionised_mg_l(total_ammonia_mg_l=1.0, ph=8.0, temperature_c=24.0)

    assert found == pytest.approx(0.0502, abs=1e-4)


@pytest.mark.parametrize(
    ("ph", "temperature_c", "fraction"),
    [(6.5, 20, 0.0013), (7.5, 20, 0.0124), (9.0, 20, 0.2836), (8.5, 24, 0.1431), (7.0, 28, 0.0069)],
)
def test_the_formula_is_emersons(ph: float, temperature_c: float, fraction: float) -> None:
    """`pKa = 0.09018 + 2729.92 / T` (Emerson et al. 1975), worked out apart from this project."""
    assert ammonia.unionised_fraction(ph=ph, temperature_c=temperature_c) == pytest.approx(fraction, abs=6e-5)


def test_the_misprinted_slope_is_not_used() -> None:
    """A circulating 2727.92 gives pKa 9.2397 at 25 C; Emerson's 2729.92 gives 9.2464."""
    assert ammonia.dissociation_exponent(temperature_c=25.0) == pytest.approx(9.2464, abs=5e-5)


def test_the_misprinted_column_is_not_matched() -> None:
    """The reprinted table's 32 C column (0.0877 at pH 8) is 4 % off the formula, as is 0.0096 at 7.4/20 C."""
    at_32_c = ammonia.unionised_fraction(ph=8.0, temperature_c=32.0)
    at_20_c = ammonia.unionised_fraction(ph=7.4, temperature_c=20.0)

    assert (at_32_c, at_20_c) == (pytest.approx(0.0842, abs=1e-4), pytest.approx(0.0098, abs=1e-4))


@pytest.mark.parametrize("ph", [6.5, 7.0, 7.5, 8.0, 8.5])
@pytest.mark.parametrize("temperature_c", [15.0, 20.0, 25.0, 28.0, 30.0])
def test_phreeqc_agrees_within_three_percent(phreeqc: PhreeqPython, ph: float, temperature_c: float) -> None:
    """PHREEQC at an ionic strength of 0.2 mmol/L: the formula is at most 3 % away, and above 20 C on top."""
    water = phreeqc.add_solution(
        {"units": "mmol/kgw", "N(-3)": "0.1", "Cl": "0.1 charge", "pH": str(ph), "temp": str(temperature_c)}
    )
    species = water.species
    outside = species["NH3"] / (species["NH3"] + species["NH4+"])

    assert ammonia.unionised_fraction(ph=ph, temperature_c=temperature_c) == pytest.approx(outside, rel=0.03)


@pytest.mark.parametrize("salt_mmol", [5.0, 10.0, 20.0])
def test_salt_makes_the_formula_err_on_the_safe_side(phreeqc: PhreeqPython, salt_mmol: float) -> None:
    """At 0.5 to 2 mS/cm of salt PHREEQC has 2 to 20 % less un-ionised ammonia than the formula."""
    water = phreeqc.add_solution(
        {
            "units": "mmol/kgw",
            "N(-3)": "0.1",
            "Na": str(salt_mmol),
            "Cl": f"{salt_mmol} charge",
            "pH": "8",
            "temp": "28",
        }
    )
    species = water.species
    outside = species["NH3"] / (species["NH3"] + species["NH4+"])

    assert 1.02 < ammonia.unionised_fraction(ph=8.0, temperature_c=28.0) / outside < 1.20


@pytest.mark.parametrize(("ph", "total_mg_l"), [(6.5, 22.7), (7.0, 7.2), (7.5, 2.3), (8.0, 0.76)])
def test_the_total_at_a_limit_is_found(ph: float, total_mg_l: float) -> None:
    """Total ammonia that holds 0.05 mg/L at 28 C, by Emerson's formula turned round by hand."""
    found = ammonia.find_total_mg_l(unionised_mg_l=0.05, ph=ph, temperature_c=28.0)

    assert found == pytest.approx(total_mg_l, rel=0.01)


def test_a_base_overdose_multiplies_ammonia() -> None:
    """PH 6.8 to 7.4 at 28 C multiplies the un-ionised part by 3.93 (Emerson's formula by hand)."""
    before = ammonia.unionised_fraction(ph=6.8, temperature_c=28.0)
    after = ammonia.unionised_fraction(ph=7.4, temperature_c=28.0)

    assert after / before == pytest.approx(3.93, abs=0.01)


@pytest.mark.parametrize(
    ("species", "factor"), [(Species.AMMONIA, 1.216), (Species.NITRITE, 3.285), (Species.NITRATE, 4.427)]
)
def test_the_basis_is_carried_by_molar_mass(species: Species, factor: float) -> None:
    """17.0305, 46.0055 and 62.0049 over 14.0067 (IUPAC standard atomic weights)."""
    assert ammonia.from_nitrogen_mg_l(species, nitrogen_mg_l=1.0) == pytest.approx(factor, abs=5e-4)


def test_a_limit_as_ammonia_is_a_smaller_limit_as_nitrogen() -> None:
    """The Canadian guideline of 0.019 mg/L as NH3 is 0.0156 mg/L as N."""
    assert ammonia.to_nitrogen_mg_l(Species.AMMONIA, mg_l=0.019) == pytest.approx(0.0156, abs=5e-5)


@given(st.sampled_from(Species), st.floats(0, 1000))
def test_changing_the_basis_there_and_back_changes_nothing(species: Species, mg_l: float) -> None:
    """The two conversions are inverse."""
    there = ammonia.to_nitrogen_mg_l(species, mg_l=mg_l)

    assert ammonia.from_nitrogen_mg_l(species, nitrogen_mg_l=there) == pytest.approx(mg_l, rel=1e-12)


@given(PHS, PHS, WARMTHS)
def test_a_higher_ph_never_means_less_unionised(one: float, other: float, temperature_c: float) -> None:
    """The fraction rises with pH."""
    low, high = sorted((one, other))

    assert ammonia.unionised_fraction(ph=low, temperature_c=temperature_c) <= ammonia.unionised_fraction(
        ph=high, temperature_c=temperature_c
    )


@given(PHS, WARMTHS, WARMTHS)
def test_warmer_water_never_means_less_unionised(ph: float, one: float, other: float) -> None:
    """The fraction rises with temperature."""
    cold, warm = sorted((one, other))

    assert ammonia.unionised_fraction(ph=ph, temperature_c=cold) <= ammonia.unionised_fraction(
        ph=ph, temperature_c=warm
    )


@given(st.floats(0, 100), st.floats(6, 9), WARMTHS)
def test_total_and_unionised_are_inverse(total_mg_l: float, ph: float, temperature_c: float) -> None:
    """From total to un-ionised and back gives the total again."""
    part = ammonia.find_unionised_mg_l(total_ammonia_mg_l=total_mg_l, ph=ph, temperature_c=temperature_c)
    back = ammonia.find_total_mg_l(unionised_mg_l=part, ph=ph, temperature_c=temperature_c)

    assert back == pytest.approx(total_mg_l, rel=1e-9)


@pytest.mark.parametrize(
    ("total_mg_l", "ph", "temperature_c"),
    [(1.0, 14.2, 24.0), (-0.1, 7.0, 24.0), (1.0, 7.0, 85.0), (1.0, 7.0, -127.0), (1.0, 0.0, 24.0)],
)
def test_nonsense_is_refused(total_mg_l: float, ph: float, temperature_c: float) -> None:
    """A pH of 14.2, negative ammonia and a probe's rail are not reckoned with."""
    with pytest.raises(OutOfRange):
        ammonia.find_unionised_mg_l(total_ammonia_mg_l=total_mg_l, ph=ph, temperature_c=temperature_c)
