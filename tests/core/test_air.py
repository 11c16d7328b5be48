"""Moisture of the air against psychrolib and its own inverse."""

from __future__ import annotations

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core import air
from controller.core.ranges import OutOfRange

WARMTHS = st.floats(-5, 50)
MOISTURES = st.floats(10, 100)


@pytest.fixture(autouse=True, scope="module")
def _metric() -> None:
    """Let psychrolib reckon in SI units."""
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.parametrize("temperature_c", [15, 18, 20, 25, 30, 35])
@pytest.mark.parametrize("humidity_percent", [40, 50, 60, 70, 80, 85, 90, 100])
def test_psychrolib_agrees_on_the_dew_point(temperature_c: float, humidity_percent: float) -> None:
    """ASHRAE's equations in psychrolib: within 0.02 C; below freezing it would reckon over ice instead."""
    outside = psychrolib.GetTDewPointFromRelHum(temperature_c, humidity_percent / 100.0)
    found = air.find_dew_point_c(temperature_c=temperature_c, humidity_percent=humidity_percent)

    assert found == pytest.approx(outside, abs=0.02)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_percent", "dew_c"),
    [(20, 50, 9.261), (18, 85, 15.440), (18, 90, 16.335), (25, 60, 16.698), (30, 70, 23.930), (5, 80, 1.836)],
)
def test_the_magnus_form_is_met(temperature_c: float, humidity_percent: float, dew_c: float) -> None:
    """Alduchov & Eskridge 1996, worked out apart from here."""
    found = air.find_dew_point_c(temperature_c=temperature_c, humidity_percent=humidity_percent)

    assert found == pytest.approx(dew_c, abs=1e-3)


@pytest.mark.parametrize("temperature_c", [1, 5, 10, 20, 25, 30, 40, 50])
def test_psychrolib_agrees_on_saturation(temperature_c: float) -> None:
    """ASHRAE's saturation pressure over water: within 0.4 %."""
    outside = psychrolib.GetSatVapPres(temperature_c)

    assert air.find_saturation_pa(temperature_c=temperature_c) == pytest.approx(outside, rel=0.004)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_percent", "kpa", "g_m3"),
    [(20, 50, 1.1694, 8.64), (18, 85, 0.3096, 2.30), (25, 60, 1.2677, 9.21), (30, 70, 1.2738, 9.10)],
)
def test_both_deficits_are_met(
    temperature_c: float, humidity_percent: float, kpa: float, g_m3: float
) -> None:
    """From psychrolib's saturation pressure and the gas law: within 0.4 %."""
    args = {"temperature_c": temperature_c, "humidity_percent": humidity_percent}

    assert air.find_vapour_deficit_kpa(**args) == pytest.approx(kpa, rel=0.004)
    assert air.find_humidity_deficit_g_m3(**args) == pytest.approx(g_m3, rel=0.004)


def test_single_glass_drips_on_a_mild_night() -> None:
    """18 C and 85 % against a cover of 11.8 C: 3.6 C below the dew point of 15.4."""
    found = air.find_dew_margin_c(surface_c=11.8, temperature_c=18.0, humidity_percent=85.0)

    assert found == pytest.approx(-3.6, abs=0.05)


@given(WARMTHS)
def test_saturated_air_is_at_its_dew_point(temperature_c: float) -> None:
    """At 100 % the dew point is the temperature and both deficits are nothing."""
    assert air.find_dew_point_c(temperature_c=temperature_c, humidity_percent=100.0) == pytest.approx(
        temperature_c, abs=1e-6
    )
    assert air.find_vapour_deficit_kpa(temperature_c=temperature_c, humidity_percent=100.0) == 0.0


@given(WARMTHS, MOISTURES, MOISTURES)
def test_moister_air_has_a_higher_dew_point(temperature_c: float, one: float, other: float) -> None:
    """The dew point rises with humidity."""
    dry, moist = sorted((one, other))

    assert air.find_dew_point_c(temperature_c=temperature_c, humidity_percent=dry) <= air.find_dew_point_c(
        temperature_c=temperature_c, humidity_percent=moist
    )


@given(WARMTHS, MOISTURES)
def test_the_dew_point_gives_the_humidity_back(temperature_c: float, humidity_percent: float) -> None:
    """Vapour pressure at the dew point over that at the air's temperature is the humidity."""
    dew_c = air.find_dew_point_c(temperature_c=temperature_c, humidity_percent=humidity_percent)
    share = air.find_saturation_pa(temperature_c=dew_c) / air.find_saturation_pa(temperature_c=temperature_c)

    assert 100.0 * share == pytest.approx(humidity_percent, rel=1e-6)


@pytest.mark.parametrize(
    ("temperature_c", "humidity_percent"),
    [(85.0, 50.0), (-127.0, 50.0), (20.0, 0.0), (20.0, 100.1), (float("nan"), 50.0), (-40.0, 10.0)],
)
def test_no_dew_point_outside_the_formula(temperature_c: float, humidity_percent: float) -> None:
    """Rails, impossible humidity and dew points below -40 C are refused."""
    with pytest.raises(OutOfRange):
        air.find_dew_point_c(temperature_c=temperature_c, humidity_percent=humidity_percent)
