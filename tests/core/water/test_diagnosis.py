"""Likely causes: each rule speaks when physics separates its cause, and holds its tongue otherwise."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from waters import (
    AIR,
    ALKALINITY,
    FLOW,
    HEATER,
    HOUSE,
    LEVEL,
    OXYGEN,
    PH,
    UNIONISED,
    WARMTH,
    make_scene,
    make_water,
    run_course,
)

from controller.core.plan.water import Water
from controller.core.signals.sense import Sense
from controller.core.water.diagnosis import Around, Finding, diagnose
from controller.core.water.trace import Trace


def look(
    values: Mapping[str, float | Sense],
    traces: Mapping[str, Trace],
    *,
    around: Around | None = None,
    doubts: Mapping[str, str] | None = None,
    water: Water | None = None,
) -> list[str]:
    """List the likely causes."""
    found = diagnose(water or make_water(), make_scene(values, traces=traces, doubts=doubts), around)
    return [finding.likely for finding in found]


def fall(start: float, by: float, minutes: int = 60) -> Trace:
    """Follow a reading that falls by so much in so many minutes."""
    return run_course(lambda at: start - by * at / minutes, minutes=minutes)


def steady(value: float, minutes: int = 60) -> Trace:
    """Follow a reading that stands still."""
    return run_course(lambda _: value, minutes=minutes)


def test_nothing_moves_nothing_is_said() -> None:
    """A quiet tank has no likely cause of anything."""
    values = {OXYGEN: 7.0, PH: 7.0, WARMTH: 24.0, LEVEL: 100.0, ALKALINITY: 60.0, HOUSE: 10.0}
    traces = {name: steady(value) for name, value in values.items()}

    assert look(values, traces) == []


def test_ph_down_at_constant_alkalinity_is_lost_aeration_and_no_call_for_base() -> None:
    """0.25 of pH in 49 min at 60 mg/L is 10^0.25 = 1.78 times the carbon dioxide, less 1 mg/L of alkalinity."""
    found = diagnose(make_water(), make_scene({PH: 6.8, ALKALINITY: 60.0}, traces={PH: fall(7.1, 0.3)}))

    assert [each.likely for each in found] == [
        "carbon dioxide is building up: aeration lost, no call for base"
    ]
    assert found[0].because == "pH -0.25 in 49 min at 60 mg/L alkalinity, carbon dioxide times 1.7"
    assert found[0].describe().startswith("Likely: ")


def test_ph_down_as_fast_as_alkalinity_is_used_is_none_of_it() -> None:
    """A slow fall of 0.05 in an hour says nothing of aeration."""
    assert look({PH: 7.05, ALKALINITY: 60.0}, {PH: fall(7.1, 0.05)}) == []


def test_ph_down_without_a_test_of_alkalinity_is_judged_from_the_least() -> None:
    """With 20 mg/L assumed an hour of nitrification cannot take 0.3 of pH, so it is carbon dioxide."""
    assert len(look({PH: 6.8}, {PH: fall(7.1, 0.3)})) == 1


def test_a_tank_of_weak_water_and_much_feed_may_lose_its_alkalinity() -> None:
    """At 5 mg/L and twenty times the feed an hour takes most of it: then carbon dioxide is not blamed."""
    water = make_water(feed_g_d=6000.0)

    assert look({PH: 6.8, ALKALINITY: 5.0}, {PH: fall(7.1, 0.3)}, water=water) == []


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({FLOW: 0.0}, "the pump has stopped or its way is blocked"),
        ({AIR: 0.0}, "the air supply has failed"),
        ({}, "air is short, or much feed or a bloom uses more than it gives"),
    ],
)
def test_oxygen_down_is_told_apart_by_flow_and_air(values: dict[str, float], words: str) -> None:
    """With the flow down it is the pump; with the flow fine, the air, or a bloom of feed."""
    assert look({OXYGEN: 6.0, **values}, {OXYGEN: fall(7.0, 1.0)}) == [words]


def test_oxygen_down_with_ph_is_air_that_does_not_reach_the_water() -> None:
    """Both gases are exchanged by the same bubbles: with pump and switch fine it is stones, hose or valve."""
    found = look({OXYGEN: 6.0, PH: 6.8, ALKALINITY: 60.0}, {OXYGEN: fall(7.0, 1.0), PH: fall(7.1, 0.3)})

    assert "air does not reach the water: stones, hose or valve" in found


@pytest.mark.parametrize(
    ("values", "drawn", "words"),
    [
        ({HEATER: 0.0, HOUSE: 10.0}, 100.0, "the heater has no power"),
        ({HEATER: 1.0, HOUSE: 10.0}, 0.0, "heat is lost under the open curtain"),
        ({HEATER: 1.0, HOUSE: 10.0}, 100.0, "the house loses more than the heater gives: door, vent, frost"),
        ({HEATER: 1.0, HOUSE: 10.0}, None, "the house loses more than the heater gives: door, vent, frost"),
    ],
)
def test_cold_water_is_told_apart_by_heater_and_curtain(
    values: dict[str, float], drawn: float | None, words: str
) -> None:
    """The heater first, then the curtain that should hold the heat, then the house."""
    assert look({WARMTH: 23.0, **values}, {WARMTH: fall(24.0, 1.0)}, around=Around(drawn)) == [words]


def test_cold_water_with_a_rising_level_was_let_in() -> None:
    """A level that rose by 3 cm while the tank cooled is cold make-up water."""
    traces = {WARMTH: fall(24.0, 1.0), LEVEL: fall(100.0, -3.0)}

    assert look({WARMTH: 23.0, LEVEL: 103.0, HOUSE: 10.0}, traces) == ["cold water was let in"]


def test_ammonia_up_after_the_ph_is_too_much_base() -> None:
    """PH 6.8 to 7.4 multiplies un-ionised ammonia by 3.93 at the same total (Emerson et al. 1975)."""
    traces = {
        PH: run_course(lambda at: 6.8 if at < 30 else 7.4, minutes=90),
        UNIONISED: run_course(lambda at: 0.005 if at < 30 else 0.005 * 3.93, minutes=90),
    }
    found = diagnose(make_water(), make_scene({PH: 7.4, UNIONISED: 0.005 * 3.93}, traces=traces))

    assert [each.likely for each in found] == ["too much base was given at once: stop dosing, test ammonia"]
    assert "times 3.9" in found[0].because


def rise_of_base(minutes: int, *, rises_at: int, takes: int = 1) -> dict[str, Trace]:
    """Follow pH from 6.8 to 7.4 and the ammonia that goes with it at the same total (Emerson et al. 1975)."""

    def ph(at: float) -> float:
        return 6.8 + 0.6 * min(max(at - rises_at, 0.0) / takes, 1.0)

    return {
        PH: run_course(ph, minutes=minutes),
        UNIONISED: run_course(lambda at: 0.005 * 3.93 ** ((ph(at) - 6.8) / 0.6), minutes=minutes),
    }


OVERDOSE = "too much base was given at once: stop dosing, test ammonia"
AFTER = {PH: 7.4, UNIONISED: 0.005 * 3.93}


@pytest.mark.parametrize(("minutes", "rises_at"), [(20, 10), (18, 12), (90, 80), (290, 60)])
def test_too_much_base_is_told_with_a_quarter_of_an_hour_of_readings(minutes: int, rises_at: int) -> None:
    """Twenty minutes after a start, ten after the dose, and hours later while the ammonia stands there."""
    assert OVERDOSE in look(AFTER, rise_of_base(minutes, rises_at=rises_at))


def test_a_rise_of_a_whole_day_is_no_base_given_at_once() -> None:
    """0.6 of pH over five hours is what plants and light do: within an hour it is 0.12."""
    assert look(AFTER, rise_of_base(300, rises_at=0, takes=300)) == []


def test_air_that_comes_back_is_no_base() -> None:
    """With the oxygen up by 2 mg/L it is carbon dioxide that leaves, and not a dose."""
    traces = rise_of_base(60, rises_at=10, takes=30) | {OXYGEN: fall(5.0, -2.0)}

    assert look({**AFTER, OXYGEN: 7.0}, traces) == []


def test_ammonia_up_by_more_than_the_ph_explains_is_not_the_base() -> None:
    """Ten times the ammonia at a rise of 0.3 has another cause, whatever was dosed."""
    traces = {
        PH: run_course(lambda at: 7.0 if at < 30 else 7.35, minutes=90),
        UNIONISED: run_course(lambda at: 0.005 if at < 30 else 0.05, minutes=90),
    }

    assert look({PH: 7.35, UNIONISED: 0.05}, traces) == []


def test_a_level_that_falls_by_more_than_a_hundredth_an_hour_is_a_leak() -> None:
    """1 cm in an hour on 2 m2 is 20 L of 1000 L, 2 %; 2 mm is evaporation."""
    assert look({LEVEL: 99.0}, {LEVEL: fall(100.0, 1.0)}) == ["a leak or an open drain"]
    assert look({LEVEL: 99.8}, {LEVEL: fall(100.0, 0.2)}) == []


def test_a_probe_in_air_is_named_and_its_reading_explains_nothing() -> None:
    """What its neighbours contradict is said to hang in air; no other rule uses it."""
    found = look({OXYGEN: 6.0}, {OXYGEN: fall(7.0, 1.0)}, doubts={OXYGEN: "is the probe in air?"})

    assert found == [f"the probe {OXYGEN} hangs in air"]


def test_it_is_always_said_as_likely() -> None:
    """No sentence claims to be certain."""
    assert Finding("tank", "a leak", "20 L lost").describe() == "Likely: a leak (20 L lost)."
