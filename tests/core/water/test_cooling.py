"""Cooling against hand-worked figures and an integrated balance."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.ranges import OutOfRange
from controller.core.water import cooling

TANK = {"volume_l": 1000.0, "loss_w_k": 40.0}


def test_a_cubic_metre_with_40_w_k_takes_29_hours() -> None:
    """Rho c V / UA with 997 kg/m3 and 4181 J/kg/K: 28.9 h by hand."""
    assert cooling.find_time_constant_h(**TANK) == pytest.approx(28.9, abs=0.06)


@pytest.mark.parametrize(("target_c", "hours"), [(24.0, 8.3), (20.0, 20.1)])
def test_hours_without_a_heater(target_c: float, hours: float) -> None:
    """From 28 C in a room of 12 C: tau x ln(16/12) and tau x ln 2, by hand."""
    found = cooling.find_hours(start_c=28.0, ambient_c=12.0, target_c=target_c, **TANK)

    assert found == pytest.approx(hours, abs=0.05)


def test_the_first_hour_the_holding_power_and_the_warming_power() -> None:
    """0.55 C/h at first, 640 W to hold, 1158 W for 1 C/h, by hand."""
    assert cooling.find_first_rate_c_h(start_c=28.0, ambient_c=12.0, **TANK) == pytest.approx(
        -0.553, abs=2e-3
    )
    assert cooling.find_holding_w(hold_c=28.0, ambient_c=12.0, loss_w_k=40.0) == pytest.approx(640.0)
    assert cooling.find_warming_w(volume_l=1000.0, rate_c_h=1.0) == pytest.approx(1158.0, abs=1.0)


@pytest.mark.parametrize("target_c", [12.0, 11.0, 29.0])
def test_the_surroundings_bring_it_no_further_than_themselves(target_c: float) -> None:
    """A target at, beyond or away from the surroundings is never reached."""
    assert cooling.find_hours(start_c=28.0, ambient_c=12.0, target_c=target_c, **TANK) is None


def test_no_time_is_needed_to_stay() -> None:
    """The target reached already takes no time."""
    assert cooling.find_hours(start_c=28.0, ambient_c=28.0, target_c=28.0, **TANK) == 0.0


def test_the_law_is_the_integrated_balance() -> None:
    """Ten hours of the plain balance in one-second steps end where the law says."""
    value = 28.0
    for _ in range(36_000):
        value -= (value - 12.0) * 40.0 / (997.05 * 4181.0)
    found = cooling.find_temperature_c(start_c=28.0, ambient_c=12.0, time_h=10.0, **TANK)

    assert found == pytest.approx(value, abs=1e-3)


@given(st.floats(0, 50), st.floats(-20, 50), st.floats(0, 50), st.floats(10, 1e5), st.floats(1, 1000))
def test_hours_and_temperature_are_inverse(
    start_c: float, ambient_c: float, target_c: float, volume_l: float, loss_w_k: float
) -> None:
    """After the hours found the water has the temperature asked for."""
    tank = {"volume_l": volume_l, "loss_w_k": loss_w_k}
    hours = cooling.find_hours(start_c=start_c, ambient_c=ambient_c, target_c=target_c, **tank)
    if hours is None or hours > 10_000.0:
        return
    back = cooling.find_temperature_c(start_c=start_c, ambient_c=ambient_c, time_h=hours, **tank)

    assert back == pytest.approx(target_c, abs=1e-6)


@pytest.mark.parametrize("start_c", [85.0, -127.0, -1.0])
def test_a_rail_is_no_water_temperature(start_c: float) -> None:
    """A probe's rail value is refused."""
    with pytest.raises(OutOfRange, match="water temperature"):
        cooling.find_hours(start_c=start_c, ambient_c=12.0, target_c=20.0, **TANK)
