"""A probe in air: named by its signs for as long as it hangs there, and never by a healthy day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from waters import HOUSE, OXYGEN, WARMTH, good, make_water, run_course, spoilt

from controller.core.signals.sense import Sense
from controller.core.vocabulary import Trust
from controller.core.water.probe import find_in_air, list_probes
from controller.core.water.trace import EMPTY, Trace

AT_25_C = {WARMTH: good(25.0)}
WITH_EC = make_water(conductivity="ec")


def follow_all(values: Sequence[float]) -> Trace:
    """Follow a course by the minute."""
    return run_course(lambda at: values[min(int(at), len(values) - 1)], minutes=len(values) - 1)


def find(values: Sequence[float], *, doubted: bool = False, senses: Mapping[str, Sense] = AT_25_C) -> str:
    """Judge an oxygen course by the minute at 25 C and sea level, where 8.263 mg/L is 100 %."""
    known = {OXYGEN: good(values[-1]), **senses}
    return find_in_air(make_water(), OXYGEN, known, follow_all(values), elevation_m=0.0, doubted=doubted)


def find_warmth(
    values: Sequence[float], *, air_c: float = 15.0, volume_l: float | None = 4000.0, doubted: bool = False
) -> str:
    """Judge a water temperature by the minute in a house of `air_c`."""
    known = {WARMTH: good(values[-1]), HOUSE: good(air_c)}
    water = make_water(volume_l=volume_l)
    return find_in_air(water, WARMTH, known, follow_all(values), elevation_m=0.0, doubted=doubted)


def find_ec(value: float, *, trace: Trace = EMPTY, doubted: bool = False) -> str:
    """Judge a conductivity."""
    return find_in_air(WITH_EC, "ec", {"ec": good(value)}, trace, elevation_m=0.0, doubted=doubted)


def test_what_can_hang_in_air_is_oxygen_conductivity_and_warmth() -> None:
    """PH glass in air shows no sign that water never shows."""
    assert list_probes(WITH_EC) == (OXYGEN, "ec", WARMTH)


@pytest.mark.parametrize(
    "values",
    [[6.0] * 10 + [8.2] * 10, [6.0] * 10 + [7.1] + [8.2] * 2],
    ids=["at once", "over a minute that holds a part of it"],
)
def test_a_jump_to_what_air_gives_is_a_probe_in_air(values: list[float]) -> None:
    """From 6 to 8.2 mg/L within two minutes, and there it stays."""
    assert "in air" in find(values)


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
    assert find(values) == ""


def test_the_doubt_outlasts_the_jump_that_showed_it() -> None:
    """An hour of what air gives is still a probe in air; two minutes of water end it, one does not."""
    assert "in air" in find([8.2] * 60, doubted=True)
    assert "in air" in find([8.2] * 10 + [6.0], doubted=True)
    assert find([8.2] * 10 + [6.0, 6.0], doubted=True) == ""


def test_in_a_cold_house_a_probe_in_air_shows_more_than_full_water_holds() -> None:
    """In air of 10 C it shows 11.3 mg/L, which is 137 % of what water of 25 C holds (Benson & Krause 1984)."""
    cold = {WARMTH: good(25.0), HOUSE: good(10.0)}

    assert "in air" in find([6.0] * 10 + [11.3] * 5, senses=cold)
    assert find([6.0] * 10 + [11.3] * 5) == ""
    assert "in air" in find([11.3] * 60, doubted=True, senses=cold)


def test_a_house_that_warms_is_no_breath_of_fish() -> None:
    """In air a probe goes from 10.1 to 9.1 mg/L while the house warms from 15 to 20 C: the doubt stands.

    A cleaned probe in well aired water moves by a twentieth of what water of 25 C holds: it is believed again.
    """
    warming = [10.1 - index / 60.0 for index in range(61)]
    breathing = [8.25 - 0.4 * index / 60.0 for index in range(61)]

    assert "in air" in find(warming, doubted=True, senses={WARMTH: good(25.0), HOUSE: good(20.0)})
    assert find(breathing, doubted=True, senses={WARMTH: good(25.0), HOUSE: good(15.0)}) == ""
    assert "in air" in find(breathing, doubted=True)


def test_a_doubt_stands_while_the_thermometer_cannot_be_trusted() -> None:
    """What full water holds is not known then: nobody can say that the probe is back."""
    spoiled = {WARMTH: spoilt(Trust.STALE)}

    assert "in air" in find([6.0] * 10, doubted=True, senses=spoiled)
    assert find([6.0] * 10 + [8.2] * 10, senses=spoiled) == ""


def test_conductivity_next_to_nothing_is_no_water() -> None:
    """0.001 mS/cm is a dry probe and 0.01 a wet cell in air; 0.05 may be rain water. It ends with two minutes."""
    assert "in air" in find_ec(0.001)
    assert "in air" in find_ec(0.01)
    assert find_ec(0.05) == ""
    assert "in air" in find_ec(0.7, trace=follow_all([0.0, 0.0, 0.7]), doubted=True)
    assert find_ec(0.7, trace=follow_all([0.0, 0.7, 0.7]), doubted=True) == ""


def test_a_thermometer_that_jumps_to_the_air_around_hangs_in_it() -> None:
    """From 24 C to 16 C, then nearer to a house of 15 C, within two minutes: 4000 L cannot do that."""
    assert "air around" in find_warmth([24.0] * 10 + [17.5, 16.0, 15.6, 15.3])
    assert "air around" in find_warmth([15.2] * 30, doubted=True)
    assert find_warmth([15.2] * 5 + [23.5, 23.9], doubted=True) == ""


@pytest.mark.parametrize(
    ("values", "changes"),
    [
        ([24.0] * 20, {}),
        ([15.5] * 20, {}),
        ([18.0 - 0.1 * index for index in range(30)], {}),
        ([24.0] * 10 + [20.0] * 10, {}),
        ([24.0] * 10 + [16.0] * 10, {"volume_l": 100.0}),
        ([24.0] * 10 + [16.0] * 10, {"volume_l": None}),
    ],
    ids=["warm", "as cold as the house", "cools slowly", "cold water let in", "a bucket", "nobody knows"],
)
def test_what_warm_water_does_is_none(values: list[float], changes: dict[str, float | None]) -> None:
    """Water that has the temperature of the air, or comes near it slowly, or is but little, is water."""
    assert find_warmth(values, **changes) == ""  # type: ignore[arg-type]  # one of the two keys each


def test_without_a_thermometer_nothing_is_said() -> None:
    """What full water holds is not known without its warmth."""
    assert find([6.0] * 10 + [8.2] * 10, senses={}) == ""
