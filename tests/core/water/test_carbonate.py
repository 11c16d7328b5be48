"""Carbon dioxide, alkalinity and pH against Plummer & Busenberg, PHREEQC and their own inverses."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from phreeqpython import PhreeqPython

from controller.core.ranges import OutOfRange
from controller.core.water import carbonate

PHS = st.floats(5.0, 9.0)
ALKALINITIES = st.floats(5.0, 500.0)
WARMTHS = st.floats(0.0, 50.0)


@pytest.fixture(scope="module")
def phreeqc() -> PhreeqPython:
    """USGS PHREEQC with its own database."""
    return PhreeqPython(database="phreeqc.dat")


@pytest.mark.parametrize(("temperature_c", "pk1"), [(20, 6.382), (25, 6.352), (28, 6.337), (30, 6.328)])
def test_the_first_constant_is_met(temperature_c: float, pk1: float) -> None:
    """Plummer & Busenberg 1982, worked out apart from here; 6.352 at 25 C is in their abstract."""
    assert carbonate.find_constants(temperature_c=temperature_c).pk1 == pytest.approx(pk1, abs=6e-4)


def test_the_other_constants_are_met_at_25_c() -> None:
    """pK2 10.329 (Plummer & Busenberg 1982) and pKw 13.995 (Harned & Owen 1958), at 25 C."""
    constants = carbonate.find_constants(temperature_c=25.0)

    assert (constants.pk2, constants.pkw) == (
        pytest.approx(10.329, abs=1e-3),
        pytest.approx(13.995, abs=2e-3),
    )


@pytest.mark.parametrize(
    ("ph", "alkalinity_mg_l", "co2_mg_l"), [(7.0, 50, 9.54), (6.5, 50, 30.2), (6.8, 30, 9.08)]
)
def test_worked_examples_are_met(ph: float, alkalinity_mg_l: float, co2_mg_l: float) -> None:
    """At 28 C, `(Alk / 50.04) 10^(pK1 - pH) 44.01`; PyCO2SYS with its freshwater option has 9.53 for the first."""
    found = carbonate.find_co2_mg_l(ph=ph, alkalinity_mg_l=alkalinity_mg_l, temperature_c=28.0)

    assert found == pytest.approx(co2_mg_l, rel=0.002)


@pytest.mark.parametrize(("co2_mg_l", "ph"), [(5, 7.28), (10, 6.98), (20, 6.68)])
def test_the_inverse_examples_are_met(co2_mg_l: float, ph: float) -> None:
    """PH of water with 50 mg/L alkalinity at 28 C and a carbon dioxide, by the same formula turned round."""
    found = carbonate.find_ph(carbon_dioxide_mg_l=co2_mg_l, alkalinity_mg_l=50.0, temperature_c=28.0)

    assert found == pytest.approx(ph, abs=0.005)


@pytest.mark.parametrize("ph", [6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0])
@pytest.mark.parametrize("alkalinity_mg_l", [5.0, 25.0, 50.0, 100.0])
@pytest.mark.parametrize("temperature_c", [15.0, 28.0])
def test_phreeqc_agrees_and_we_read_high(
    phreeqc: PhreeqPython, ph: float, alkalinity_mg_l: float, temperature_c: float
) -> None:
    """PHREEQC reckons with activities: we are 0 to 9 % above it up to 100 mg/L, the safe side."""
    milliequivalents = alkalinity_mg_l / 50.0435
    water = phreeqc.add_solution(
        {
            "units": "mmol/kgw",
            "Na": str(milliequivalents),
            "Alkalinity": str(milliequivalents),
            "pH": str(ph),
            "temp": str(temperature_c),
        }
    )
    outside_mg_l = water.species["CO2"] * 44.0095 * 1e3
    ours = carbonate.find_co2_mg_l(ph=ph, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)

    assert 0.99 < ours / outside_mg_l < 1.09


def test_carbonate_and_hydroxide_count_at_high_ph() -> None:
    """At pH 9 and 25 C a reckoning by bicarbonate alone is 9 to 12 % too high (pK2 10.33)."""
    exact = carbonate.find_co2_mg_l(ph=9.0, alkalinity_mg_l=100.0, temperature_c=25.0)
    simple = 100.0 / 50.0435 * 10 ** (6.352 - 9.0) * 44.0095

    assert 1.09 < simple / exact < 1.12


def test_a_fall_of_a_third_at_the_same_alkalinity_is_carbon_dioxide_doubled() -> None:
    """log10(2) is 0.301: such a fall is lost aeration and no call for base."""
    change = carbonate.split_ph_change(
        ph_before=7.0, ph_after=6.699, alkalinity_before_mg_l=50.0, alkalinity_after_mg_l=50.0
    )

    assert (change.carbon_dioxide_ratio, change.by_alkalinity) == (pytest.approx(2.0, rel=1e-3), 0.0)


def test_a_fall_with_alkalinity_halved_is_alkalinity_used() -> None:
    """Alkalinity halved at the same carbon dioxide lowers pH by 0.301, and all of it is alkalinity."""
    change = carbonate.split_ph_change(
        ph_before=7.0, ph_after=6.699, alkalinity_before_mg_l=60.0, alkalinity_after_mg_l=30.0
    )

    assert change.by_alkalinity == pytest.approx(-0.301, abs=1e-3)
    assert change.carbon_dioxide_ratio == pytest.approx(1.0, abs=1e-2)


@given(st.floats(5.5, 7.8), st.floats(20, 200), st.floats(20, 200), st.floats(1, 60), st.floats(10, 35))
def test_the_split_agrees_with_the_full_reckoning(
    ph: float, before_mg_l: float, after_mg_l: float, co2_mg_l: float, temperature_c: float
) -> None:
    """The ratio of carbon dioxide told from a pH change is the one that the full formula has, within 5 %."""
    try:
        after = carbonate.find_ph(
            carbon_dioxide_mg_l=co2_mg_l, alkalinity_mg_l=after_mg_l, temperature_c=temperature_c
        )
        change = carbonate.split_ph_change(
            ph_before=ph,
            ph_after=after,
            alkalinity_before_mg_l=before_mg_l,
            alkalinity_after_mg_l=after_mg_l,
        )
    except OutOfRange:
        return
    before = carbonate.find_co2_mg_l(ph=ph, alkalinity_mg_l=before_mg_l, temperature_c=temperature_c)

    assert change.carbon_dioxide_ratio == pytest.approx(co2_mg_l / before, rel=0.05)


@given(PHS, PHS, ALKALINITIES, WARMTHS)
def test_a_higher_ph_means_less_gas(
    one: float, other: float, alkalinity_mg_l: float, temperature_c: float
) -> None:
    """Carbon dioxide falls as pH rises at a given alkalinity."""
    low, high = sorted((one, other))
    try:
        more = carbonate.find_co2_mg_l(ph=low, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)
        less = carbonate.find_co2_mg_l(ph=high, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)
    except OutOfRange:
        return

    assert more >= less


@given(PHS, ALKALINITIES, st.floats(5, 40))
def test_the_three_inverses_close(ph: float, alkalinity_mg_l: float, temperature_c: float) -> None:
    """From pH and alkalinity to gas, and back to either, gives the same again."""
    gas = carbonate.find_co2_mg_l(ph=ph, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)
    back_ph = carbonate.find_ph(
        carbon_dioxide_mg_l=gas, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c
    )
    back_alkalinity = carbonate.find_alkalinity_mg_l(
        ph=ph, carbon_dioxide_mg_l=gas, temperature_c=temperature_c
    )

    assert (back_ph, back_alkalinity) == (
        pytest.approx(ph, abs=1e-6),
        pytest.approx(alkalinity_mg_l, rel=1e-6),
    )


@given(PHS, ALKALINITIES, st.floats(5, 40))
def test_carbon_and_alkalinity_give_the_ph_back(
    ph: float, alkalinity_mg_l: float, temperature_c: float
) -> None:
    """From pH to total carbon and back gives the same pH."""
    carbon = carbonate.find_carbon_mmol_l(ph=ph, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c)
    back = carbonate.find_ph_from_carbon(
        carbon_mmol_l=carbon, alkalinity_mg_l=alkalinity_mg_l, temperature_c=temperature_c
    )

    assert back == pytest.approx(ph, abs=1e-6)


def test_a_high_ph_with_no_alkalinity_is_a_contradiction() -> None:
    """PH 10 with 1 mg/L alkalinity would need more hydroxide than there is alkalinity."""
    with pytest.raises(OutOfRange, match="too high for so little alkalinity"):
        carbonate.find_co2_mg_l(ph=10.0, alkalinity_mg_l=1.0, temperature_c=25.0)


@pytest.mark.parametrize("ph", [4.4, 10.1, 14.2, float("nan")])
def test_a_ph_beyond_bicarbonate_water_is_refused(ph: float) -> None:
    """Below 4.5 there is no alkalinity by definition; above 10 other bases count."""
    with pytest.raises(OutOfRange, match="pH"):
        carbonate.find_co2_mg_l(ph=ph, alkalinity_mg_l=50.0, temperature_c=25.0)
