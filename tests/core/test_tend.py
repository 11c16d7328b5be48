"""The waters in the running house: derived readings, time left in the words of a call, cost of a turn."""

from __future__ import annotations

import time

import pytest
from makers import House, make_entry, make_sensor, make_step
from waters import AIR, FLOW, OXYGEN, PH, WARMTH, air_off, low_oxygen, make_tank_plan, make_water

from controller.core.foresee import Foresight, compare_mirrors, diagnose_waters, foresee_alarm, foresee_waters
from controller.core.plan.alarm import Kind, Response
from controller.core.plan.people import Way
from controller.core.plan.water import Loop, Water
from controller.core.roll import find_harms
from controller.core.step import step
from controller.core.units import Quantity
from controller.core.vocabulary import ReadingsTaken, Sample, SettingsChanged, Trust
from controller.core.water.outlook import Harm, Matter

SATURATION = "tank oxygen saturation"
ALL_WELL = {OXYGEN: 6.0, WARMTH: 25.0, PH: 7.0, FLOW: 50.0, AIR: 1.0}


def say(values: dict[str, float]) -> ReadingsTaken:
    """Let sensors speak together."""
    return ReadingsTaken(tuple(Sample(name, value) for name, value in values.items()))


def live(house: House, minutes: int, values: dict[str, float]) -> House:
    """Let minutes pass in which the sensors speak."""
    messages = []
    for _ in range(minutes):
        house.wait(1)
        messages.extend(house.effects)
        house.tell(say(values))
        messages.extend(house.effects)
    house.effects = messages
    return house


def sight(house: House) -> Foresight:
    """Look ahead from the state of a house."""
    state = house.state
    return Foresight(state.roll, state.senses, state.tended, state.durable.drives)


def test_a_derived_reading_follows_its_inputs() -> None:
    """6.0 mg/L at 25 C and sea level is 72.6 % of 8.263 mg/L; with 7.0 mg/L it is 84.7 %."""
    house = House(make_tank_plan()).tell(say(ALL_WELL))
    assert house.state.senses[SATURATION].value == pytest.approx(72.6, abs=0.05)
    house.wait(1)
    house.tell(say({OXYGEN: 7.0}))

    assert house.state.senses[SATURATION].value == pytest.approx(84.7, abs=0.05)


def test_a_silent_input_makes_it_stale() -> None:
    """Three minutes after the thermometer has gone silent there is no saturation, and it is said why."""
    house = House(make_tank_plan()).tell(say(ALL_WELL))
    for _ in range(4):
        house.wait(1)
        house.tell(say({OXYGEN: 6.0}))
    sense = house.state.senses[SATURATION]

    assert (sense.value, sense.trust) == (None, Trust.STALE)
    assert sense.why.startswith(f"{WARMTH} is stale")


def test_a_missing_alarm_on_it_waits_for_its_inputs_first_word() -> None:
    """After a start nobody is called for a derived reading whose inputs still have time to speak."""
    entry = make_entry(
        "saturation lost", kind=Kind.MISSING, sensor=SATURATION, limit=None, deadband=0.0, on_delay_s=0.0
    )
    house = House(make_tank_plan(entry))
    house.wait(2)
    assert house.told == []
    house.wait(2)

    assert house.told == ["keeper"]


def test_an_alarm_on_a_derived_reading_sounds_and_ends() -> None:
    """Saturation under 60 % for a minute calls, and over 65 % it is over."""
    entry = make_entry("saturation low", sensor=SATURATION, limit=60.0, deadband=5.0)
    house = House(make_tank_plan(entry)).tell(say(ALL_WELL))
    live(house, 3, ALL_WELL | {OXYGEN: 4.5})
    assert "54.5 % (limit 60)" in house.messages[0].text
    live(house, 4, ALL_WELL | {OXYGEN: 6.0})

    assert any("OVER" in message.text for message in house.messages)


def test_the_call_says_the_minutes_that_are_left() -> None:
    """Air off at 6 mg/L, 20 kg/m3 and 300 mg/kg/h: 30 min to 3 mg/L, in the words of the call."""
    house = House(make_tank_plan(low_oxygen(), air_off()))
    live(house, 15, ALL_WELL)
    live(house, 1, ALL_WELL | {AIR: 0.0})

    assert "Harm in 30 min (no air)." in house.messages[0].text
    assert "40 min" not in house.messages[0].text


def test_a_text_message_says_the_minutes_that_are_left() -> None:
    """The same 30 min stand in the short form that goes to a phone."""
    plan = make_tank_plan(low_oxygen(), air_off())
    person = plan.person[0].model_copy(update={"phone": "+447700900123"})
    plan = plan.model_copy(update={"person": (person,), "call": (make_step(0, "keeper", ways=(Way.TEXT,)),)})
    house = live(House(plan), 15, ALL_WELL)
    live(house, 1, ALL_WELL | {AIR: 0.0})

    assert "30 min left" in house.messages[0].text


def test_without_figures_the_call_says_what_the_alarm_list_supposes() -> None:
    """A tank whose fish nobody has entered: the time of the alarm list stands."""
    house = House(make_tank_plan(air_off(), water=make_water(fish_kg=None, curtain="")))
    live(house, 2, ALL_WELL | {AIR: 0.0})

    assert "Harm in about 40 min." in house.messages[0].text


def test_the_mail_says_what_is_likely() -> None:
    """Oxygen that falls with the pump off: the mail names the pump."""
    house = House(make_tank_plan(low_oxygen()))
    live(house, 20, ALL_WELL)
    for minute in range(20):
        live(house, 1, ALL_WELL | {FLOW: 0.0, OXYGEN: 6.0 - 0.06 * minute})
        if house.messages:
            break

    assert "Likely: the pump has stopped or its way is blocked" in house.messages[0].text


def test_harm_is_where_the_farthest_entry_says() -> None:
    """Of several limits on one sensor the last counts, `harm_at` before the limit, and a note says no harm."""
    entries = (
        low_oxygen(name="a", limit=5.0, harm_at=None),
        low_oxygen(name="b", limit=4.0, harm_at=2.5),
        make_entry("c", kind=Kind.HIGH, sensor=WARMTH, limit=30.0),
        make_entry("d", kind=Kind.RATE, sensor=PH, limit=-0.1),
        make_entry("e", sensor=PH, limit=5.0, response=Response.NOTE),
    )

    assert find_harms(entries) == {OXYGEN: Harm(low=2.5), WARMTH: Harm(high=30.0)}


def test_a_switch_stands_for_all_that_hangs_on_it() -> None:
    """The alarm of the air switch has the soonest outlook of every tank that it supplies."""
    second = make_water(name="second", oxygen="second oxygen", fish_kg=40.0, curtain="")
    first = make_water(curtain="")
    plan = make_tank_plan(
        air_off(), low_oxygen(), low_oxygen(name="second low", sensor="second oxygen"), water=first
    )
    plan = plan.model_copy(
        update={
            "water": (first, second),
            "sensor": (*plan.sensor, make_sensor("second oxygen", Quantity.OXYGEN, "mg/L")),
        }
    )
    house = House(plan).tell(say(ALL_WELL | {"second oxygen": 6.0, AIR: 0.0}))
    outlook = foresee_alarm(sight(house), house.state.roll.entries["air off"])

    assert outlook is not None
    assert (outlook.water, outlook.matter) == ("second", Matter.OXYGEN)
    assert outlook.minutes == pytest.approx(15.0)


def test_an_alarm_on_the_air_of_the_house_has_no_outlook() -> None:
    """What has nothing to do with a water keeps the time of the alarm list."""
    entry = make_entry("missing", kind=Kind.MISSING, sensor=OXYGEN, limit=None, deadband=0.0)
    house = House(make_tank_plan(entry, low_oxygen())).tell(say(ALL_WELL | {AIR: 0.0}))

    assert foresee_alarm(sight(house), house.state.roll.entries["missing"]) is None
    assert len(foresee_waters(sight(house))) == 1


def test_a_probe_in_air_is_doubted_where_it_counts() -> None:
    """An oxygen probe lifted out: no saturation, no horizon, and its name among the likely causes."""
    house = House(make_tank_plan(low_oxygen()))
    live(house, 20, ALL_WELL)
    live(house, 3, ALL_WELL | {OXYGEN: 6.9})
    live(house, 5, ALL_WELL | {OXYGEN: 8.25, AIR: 0.0})
    outlook = foresee_waters(sight(house))[0]

    assert house.state.senses[SATURATION].trust is Trust.DOUBTFUL
    assert (outlook.minutes, outlook.known) == (None, False)
    assert f"the probe {OXYGEN} hangs in air" in [each.likely for each in diagnose_waters(sight(house))]


def test_new_settings_keep_the_courses_of_what_stayed() -> None:
    """A changed figure of a tank does not make it forget the last half hour."""
    house = House(make_tank_plan(low_oxygen()))
    live(house, 20, ALL_WELL)
    plan = house.state.plan.model_copy(update={"water": (make_water(fish_kg=10.0, curtain=""),)})
    house.tell(SettingsChanged(plan))

    assert len(house.state.tended.traces[OXYGEN].fine) > 15
    assert house.state.senses[SATURATION].trust is Trust.GOOD


def test_a_mirror_is_compared_while_it_runs() -> None:
    """Line and mirror half an hour side by side: a difference of pH of 0.5 with no spread."""
    line = Water(name="line", ph=PH, mirror="mirror")
    mirror = Water(name="mirror", loop=Loop.NUTRIENT, ph="mirror pH")
    plan = make_tank_plan(water=line)
    plan = plan.model_copy(
        update={
            "water": (line, mirror),
            "sensor": (*plan.sensor, make_sensor("mirror pH", Quantity.PH, "pH")),
        }
    )
    house = live(House(plan), 20, {PH: 6.5, "mirror pH": 6.0})
    (found,) = compare_mirrors(sight(house))

    assert (found.difference, found.plus_minus) == (pytest.approx(0.5), pytest.approx(0.0))


def test_a_turn_of_the_tank_costs_little() -> None:
    """A turn with a reading of the tank takes less than 60 us more than without waters (the least of five runs).

    Measured some 15 us on a desktop; the bound leaves room for slow machines, not for a fit in every turn.
    """

    def measure(*, with_water: bool) -> float:
        plan = make_tank_plan(low_oxygen())
        plan = plan if with_water else plan.model_copy(update={"water": ()})
        house = live(House(plan), 40, ALL_WELL)
        best = 1e9
        for _ in range(5):
            state, stamp = house.state, house.stamp
            begun = time.process_time()
            for index in range(300):
                stamp = stamp._replace(house_ms=stamp.house_ms + 10_000, utc_ms=stamp.utc_ms + 10_000)
                state, _ = step(state, stamp, say({OXYGEN: 6.0 + 0.01 * (index % 3)}))
            best = min(best, (time.process_time() - begun) / 300)
        return best

    assert measure(with_water=True) - measure(with_water=False) < 60e-6
