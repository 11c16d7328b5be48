"""Oxygen at saturation against Standard Methods, TEOS-10's gsw and its own inverse."""

from __future__ import annotations

import gsw
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.ranges import OutOfRange
from controller.core.water import oxygen

WARMTHS = st.floats(0.0, 40.0)
PRESSURES = st.floats(510.0, 1110.0)


@pytest.mark.parametrize(
    ("temperature_c", "mg_l"),
    [(0, 14.621), (10, 11.288), (20, 9.092), (25, 8.263), (28, 7.828), (30, 7.559)],
)
def test_benson_and_krause_are_met(temperature_c: float, mg_l: float) -> None:
    """Benson & Krause 1984 worked out apart from here; 20, 25 and 30 C as in Standard Methods 4500-O."""
    assert oxygen.find_saturation_mg_l(temperature_c=temperature_c) == pytest.approx(mg_l, abs=6e-4)


@pytest.mark.parametrize("temperature_c", range(0, 41, 2))
def test_gsw_agrees_within_two_micrograms(temperature_c: int) -> None:
    """Gsw (TEOS-10; Garcia & Gordon 1992) within 0.003 mg/L over the whole range."""
    outside = gsw.O2sol_SP_pt(0.0, temperature_c) * 31.998e-6 * gsw.rho_t_exact(0.0, temperature_c, 0.0)

    assert oxygen.find_saturation_mg_l(temperature_c=temperature_c) == pytest.approx(
        float(outside), abs=0.003
    )


def test_gsw_agrees_on_salty_water() -> None:
    """5 g/kg at 28 C: gsw gives 7.612."""
    outside = gsw.O2sol_SP_pt(5.0, 28.0) * 31.998e-6 * gsw.rho_t_exact(5.0, 28.0, 0.0)
    ours = oxygen.find_saturation_mg_l(temperature_c=28.0, salinity_g_kg=5.0)

    assert ours == pytest.approx(float(outside), abs=0.01)


def test_an_old_table_is_not_matched() -> None:
    """Older tables print 11.33 at 10 C; Benson & Krause give 11.288."""
    assert abs(oxygen.find_saturation_mg_l(temperature_c=10.0) - 11.33) > 0.03


@pytest.mark.parametrize(("elevation_m", "mg_l"), [(0, 7.828), (500, 7.357), (1000, 6.909), (2000, 6.077)])
def test_height_takes_oxygen_away(elevation_m: float, mg_l: float) -> None:
    """28 C at four heights: ICAO atmosphere and Standard Methods 4500-O, worked out apart from here."""
    pressure_hpa = oxygen.find_pressure_hpa(elevation_m=elevation_m)
    found = oxygen.find_saturation_mg_l(temperature_c=28.0, pressure_hpa=pressure_hpa)

    assert found == pytest.approx(mg_l, abs=6e-4)


@pytest.mark.parametrize(
    ("elevation_m", "hpa"), [(-500, 1074.78), (0, 1013.25), (1000, 898.75), (2000, 794.95), (5000, 540.20)]
)
def test_the_standard_atmosphere_is_met(elevation_m: float, hpa: float) -> None:
    """ICAO Doc 7488 table (from memory)."""
    assert oxygen.find_pressure_hpa(elevation_m=elevation_m) == pytest.approx(hpa, abs=0.15)


@given(st.floats(-500.0, 5000.0))
def test_height_and_pressure_are_inverse(elevation_m: float) -> None:
    """The height at which a pressure is the usual one is the height it was reckoned from."""
    pressure_hpa = oxygen.find_pressure_hpa(elevation_m=elevation_m)

    assert oxygen.find_elevation_m(pressure_hpa=pressure_hpa) == pytest.approx(elevation_m, abs=1e-6)


def test_mercury_pressure_is_met() -> None:
    """720 mmHg at 28 C: 7.400 mg/L (Standard Methods 4500-O worked out apart from here)."""
    found = oxygen.find_saturation_mg_l(temperature_c=28.0, pressure_hpa=720.0 / 760.0 * 1013.25)

    assert found == pytest.approx(7.400, abs=1e-3)


def test_a_percentage_needs_the_pressure() -> None:
    """5.0 mg/L at 28 C is 63.9 % at sea level and 72.4 % at 1000 m."""
    low = oxygen.find_percent(oxygen_mg_l=5.0, temperature_c=28.0)
    pressure_hpa = oxygen.find_pressure_hpa(elevation_m=1000.0)
    high = oxygen.find_percent(oxygen_mg_l=5.0, temperature_c=28.0, pressure_hpa=pressure_hpa)

    assert (low, high) == (pytest.approx(63.9, abs=0.05), pytest.approx(72.4, abs=0.05))


@pytest.mark.parametrize("elevation_m", [500.0, 1000.0, 2000.0])
def test_a_mere_proportion_to_pressure_reads_a_little_high(elevation_m: float) -> None:
    """C x P / P0 is 0.2 to 1.5 % above the corrected figure: it is not what is used."""
    pressure_hpa = oxygen.find_pressure_hpa(elevation_m=elevation_m)
    exact = oxygen.find_saturation_mg_l(temperature_c=28.0, pressure_hpa=pressure_hpa)
    simple = oxygen.find_saturation_mg_l(temperature_c=28.0) * pressure_hpa / 1013.25

    assert 1.001 < simple / exact < 1.015


@given(WARMTHS, WARMTHS, PRESSURES)
def test_warmer_water_holds_less(one: float, other: float, pressure_hpa: float) -> None:
    """Saturation falls with temperature."""
    cold, warm = sorted((one, other))

    assert oxygen.find_saturation_mg_l(
        temperature_c=cold, pressure_hpa=pressure_hpa
    ) >= oxygen.find_saturation_mg_l(temperature_c=warm, pressure_hpa=pressure_hpa)


@given(WARMTHS, PRESSURES, PRESSURES)
def test_more_pressure_holds_more(temperature_c: float, one: float, other: float) -> None:
    """Saturation rises with pressure."""
    low, high = sorted((one, other))

    assert oxygen.find_saturation_mg_l(
        temperature_c=temperature_c, pressure_hpa=low
    ) <= oxygen.find_saturation_mg_l(temperature_c=temperature_c, pressure_hpa=high)


@given(st.floats(0, 20), WARMTHS, PRESSURES, st.floats(0, 40))
def test_percent_and_concentration_are_inverse(
    oxygen_mg_l: float, temperature_c: float, pressure_hpa: float, salinity_g_kg: float
) -> None:
    """From mg/L to percent and back gives mg/L again, or the percentage is refused as beyond 300."""
    percent = oxygen.find_percent(
        oxygen_mg_l=oxygen_mg_l,
        temperature_c=temperature_c,
        pressure_hpa=pressure_hpa,
        salinity_g_kg=salinity_g_kg,
    )
    if percent > 300.0:
        with pytest.raises(OutOfRange):
            oxygen.find_oxygen_mg_l(percent=percent, temperature_c=temperature_c)
        return
    back = oxygen.find_oxygen_mg_l(
        percent=percent, temperature_c=temperature_c, pressure_hpa=pressure_hpa, salinity_g_kg=salinity_g_kg
    )

    assert back == pytest.approx(oxygen_mg_l, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("oxygen_mg_l", [40.0, -0.1, float("nan")])
def test_an_impossible_oxygen_is_refused(oxygen_mg_l: float) -> None:
    """40 mg/L is no reading of a tank."""
    with pytest.raises(OutOfRange, match="dissolved oxygen"):
        oxygen.find_percent(oxygen_mg_l=oxygen_mg_l, temperature_c=28.0)


@pytest.mark.parametrize("temperature_c", [40.1, 85.0, -127.0, -0.1])
def test_no_saturation_outside_the_formulas_range(temperature_c: float) -> None:
    """Benson & Krause end at 0 and 40 C, and so do we."""
    with pytest.raises(OutOfRange, match="water temperature"):
        oxygen.find_saturation_mg_l(temperature_c=temperature_c)
