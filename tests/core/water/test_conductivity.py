"""Conductivity at 25 C against the potassium chloride standard."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.ranges import OutOfRange
from controller.core.water import conductivity


@pytest.mark.parametrize(("temperature_c", "measured_ms_cm"), [(20.0, 1.278), (25.0, 1.413), (30.0, 1.552)])
def test_the_standard_solution_is_brought_home(temperature_c: float, measured_ms_cm: float) -> None:
    """0.01 M KCl reads 1.278, 1.413, 1.552 mS/cm at 20, 25, 30 C: all within 0.6 % of 1.413 at 25 C."""
    found = conductivity.find_at_25_c_ms_cm(conductivity_ms_cm=measured_ms_cm, temperature_c=temperature_c)

    assert found == pytest.approx(1.413, rel=0.006)


def test_the_hand_worked_figure_is_met() -> None:
    """1.552 at 30 C over 1.10 is 1.411."""
    found = conductivity.find_at_25_c_ms_cm(conductivity_ms_cm=1.552, temperature_c=30.0)

    assert found == pytest.approx(1.411, abs=5e-4)


@given(st.floats(0, 50), st.floats(5, 35))
def test_there_and_back_changes_nothing(ms_cm: float, temperature_c: float) -> None:
    """The two directions are inverse."""
    there = conductivity.find_at_ms_cm(conductivity_25_c_ms_cm=ms_cm, temperature_c=temperature_c)

    assert conductivity.find_at_25_c_ms_cm(
        conductivity_ms_cm=there, temperature_c=temperature_c
    ) == pytest.approx(ms_cm)


@pytest.mark.parametrize(("ms_cm", "temperature_c"), [(1.0, 4.9), (1.0, 35.1), (-0.1, 25.0), (1.0, 85.0)])
def test_the_linear_rule_is_not_stretched(ms_cm: float, temperature_c: float) -> None:
    """Outside 5 to 35 C the linear rule is off by more than 2 %, and it is refused."""
    with pytest.raises(OutOfRange):
        conductivity.find_at_25_c_ms_cm(conductivity_ms_cm=ms_cm, temperature_c=temperature_c)
