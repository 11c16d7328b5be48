"""A probe in air: named by its signs, and never by a healthy day."""

from __future__ import annotations

import pytest
from waters import OXYGEN, WARMTH, good, make_water, run_course

from controller.core.water.probe import find_in_air

SENSES = {OXYGEN: good(8.0), WARMTH: good(25.0)}


def find(values: list[float]) -> dict[str, str]:
    """Judge an oxygen course by the minute at 25 C and sea level, where 8.263 mg/L is 100 %."""
    course = run_course(lambda at: values[min(int(at), len(values) - 1)], minutes=len(values) - 1)
    return find_in_air(make_water(), SENSES, {OXYGEN: course}, elevation_m=0.0)


def test_a_jump_to_what_air_gives_is_a_probe_in_air() -> None:
    """From 6 to 8.2 mg/L within a minute, and there it stays."""
    assert "in air" in find([6.0] * 10 + [8.2] * 10)[OXYGEN]


@pytest.mark.parametrize(
    "values",
    [
        [6.0] * 20,
        [8.2] * 20,
        [6.0 + 0.15 * index for index in range(16)],
        [6.0] * 10 + [8.2] + [6.1] * 9,
        [6.0] * 10 + [12.0] * 10,
    ],
    ids=["steady", "well aired all along", "slow rise", "a spike", "pure oxygen"],
)
def test_what_water_does_is_none(values: list[float]) -> None:
    """A tank that is aired slowly, a wild reading, or pure oxygen is not called a probe in air."""
    assert find(values) == {}


def test_conductivity_next_to_nothing_is_no_water() -> None:
    """0.001 mS/cm is a dry probe; 0.02 may be rain water."""
    water = make_water(conductivity="ec")
    dry = find_in_air(water, {"ec": good(0.001)}, {}, elevation_m=0.0)
    wet = find_in_air(water, {"ec": good(0.02)}, {}, elevation_m=0.0)

    assert list(dry) == ["ec"]
    assert wet == {}


def test_without_a_thermometer_nothing_is_said() -> None:
    """What full water holds is not known without its warmth."""
    assert find_in_air(make_water(), {OXYGEN: good(8.0)}, {}, elevation_m=0.0) == {}
