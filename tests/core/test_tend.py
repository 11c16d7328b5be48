"""The waters in the running house: derived readings, time left in the words of a call, cost of a turn."""

from __future__ import annotations

import math
import time
from typing import Any

import pytest
from makers import House, make_entry, make_sensor, make_step
from waters import (
    AIR,
    FLOW,
    HOUSE,
    OXYGEN,
    PH,
    WARMTH,
    air_off,
    draw_noise,
    low_oxygen,
    make_tank_plan,
    make_water,
)

from controller.core.alarms.lifecycle import Phase
from controller.core.foresee import (
    Foresight,
    compare_mirrors,
    diagnose_waters,
    foresee_alarm,
    foresee_waters,
    see_state,
)
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.people import Way
from controller.core.plan.water import Loop, Water
from controller.core.remember import pack, unpack
from controller.core.roll import find_harms
from controller.core.step import first_state, step
from controller.core.units import Quantity
from controller.core.vocabulary import (
    AnswerGiven,
    FaultCleared,
    ReadingsTaken,
    Sample,
    SettingsChanged,
    Started,
    Trust,
)
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
    return see_state(state)


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


def test_a_text_message_counts_on_the_sooner_bound_of_a_trend() -> None:
    """A phone has no room for both bounds: the text says the sooner one, rounded down, the mail says both."""
    plan = make_tank_plan(low_oxygen(limit=5.2))
    person = plan.person[0].model_copy(update={"phone": "+447700900123"})
    steps = (make_step(0, "keeper", ways=(Way.TEXT, Way.EMAIL)),)
    plan = plan.model_copy(update={"person": (person,), "call": steps})
    house, noise = live(House(plan), 60, ALL_WELL), draw_noise(7)
    for minute in range(40):
        live(house, 1, ALL_WELL | {OXYGEN: 6.0 - 0.1 * minute + noise.gauss(0.0, 0.03)})
        if house.messages:
            break
    outlook = foresee_alarm(sight(house), house.state.roll.entries["oxygen low"])
    assert outlook is not None
    assert outlook.soonest_minutes is not None
    assert outlook.minutes is not None
    assert int(outlook.soonest_minutes) < int(outlook.minutes)
    text, mail = (
        next(message.text for message in house.messages if message.way is way)
        for way in (Way.TEXT, Way.EMAIL)
    )

    assert f"{int(outlook.soonest_minutes)} min left" in text
    assert f"Harm in {outlook.write_left()} (" in mail


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


def doubtful(sensor: str, **changes: Any) -> AlarmEntry:  # noqa: ANN401 - any key
    """Make the emergency that a probe cannot be trusted, at once."""
    words: dict[str, Any] = {"kind": Kind.DOUBTFUL, "sensor": sensor, "limit": None, "deadband": 0.0}
    return make_entry(f"{sensor} doubtful", **(words | {"on_delay_s": 0.0} | changes))


def test_a_probe_in_air_raises_the_entry_that_watches_its_trust() -> None:
    """Lifted out: doubtful by name within a minute, a call, no value in status; an hour later still; dipped: over."""
    house = House(make_tank_plan(low_oxygen(), doubtful(OXYGEN)))
    live(house, 20, ALL_WELL)
    live(house, 1, ALL_WELL | {OXYGEN: 8.25})
    live(house, 1, ALL_WELL | {OXYGEN: 8.25})
    sense = house.state.senses[OXYGEN]
    assert (sense.trust, sense.why) == (Trust.DOUBTFUL, house.state.durable.doubts[OXYGEN])
    assert "in air" in sense.why

    live(house, 60, ALL_WELL | {OXYGEN: 8.25})
    assert house.state.senses[OXYGEN].trust is Trust.DOUBTFUL
    assert house.state.durable.alarms["tank oxygen doubtful"].phase is Phase.UNACKNOWLEDGED
    assert any("in air" in message.text for message in house.messages)

    live(house, 4, ALL_WELL)
    assert house.state.senses[OXYGEN].trust is Trust.GOOD
    live(house, 10, ALL_WELL)
    assert max(value for _, value in house.state.tended.traces[OXYGEN].fine) == 6.0
    assert house.state.durable.doubts == {}


def test_a_probe_that_leapt_is_believed_when_a_person_has_had_time_to_look() -> None:
    """Cleaned in a well aerated tank it shows what air gives for ever: believed 20 min after an answerer can be there.

    Half an hour for call and travel, and twenty minutes; an answer lapses after half an hour and is given again.
    """
    house = House(make_tank_plan(low_oxygen(), doubtful(OXYGEN)))
    live(house, 20, ALL_WELL)
    live(house, 5, ALL_WELL | {OXYGEN: 8.25})
    code = house.state.durable.alarms["tank oxygen doubtful"].code
    house.tell(AnswerGiven(code, "keeper", "page"))
    live(house, 40, ALL_WELL | {OXYGEN: 8.25})
    assert house.state.senses[OXYGEN].trust is Trust.DOUBTFUL
    house.tell(AnswerGiven(code, "keeper", "page"))
    live(house, 15, ALL_WELL | {OXYGEN: 8.25})

    assert house.state.senses[OXYGEN].trust is Trust.GOOD
    assert house.state.durable.alarms["tank oxygen doubtful"].phase is Phase.NORMAL


def test_an_answer_alone_makes_no_air_water() -> None:
    """Answered at once, the probe still shows what a house of 15 C gives: hours later it is still doubted."""
    house = House(make_tank_plan(low_oxygen(), doubtful(OXYGEN)))
    in_air = ALL_WELL | {OXYGEN: 10.05, HOUSE: 15.0}
    live(house, 20, ALL_WELL | {HOUSE: 15.0})
    for _ in range(18):
        live(house, 10, in_air)
        alarm = house.state.durable.alarms["tank oxygen doubtful"]
        house.tell(AnswerGiven(alarm.code, "keeper", "page"))

    assert house.state.senses[OXYGEN].trust is Trust.DOUBTFUL


def test_a_person_who_has_looked_says_so() -> None:
    """A probe that was cleaned in a well aired tank leaps as well: cleared by its name it is believed at once."""
    house = House(make_tank_plan(low_oxygen(), doubtful(OXYGEN)))
    live(house, 20, ALL_WELL)
    live(house, 10, ALL_WELL | {OXYGEN: 8.2})
    house.tell(FaultCleared(OXYGEN, "keeper"))
    assert house.state.senses[OXYGEN].trust is Trust.GOOD
    assert f"{OXYGEN}: looked at: keeper has looked: it hangs in the water" in house.notes

    live(house, 30, ALL_WELL | {OXYGEN: 8.2})
    assert house.state.senses[OXYGEN].trust is Trust.GOOD
    assert house.state.durable.alarms["tank oxygen doubtful"].phase is not Phase.UNACKNOWLEDGED


def test_a_probe_in_air_that_speaks_often_is_doubted_at_once() -> None:
    """With a word every ten seconds not one reading of the air counts as good."""
    house = House(make_tank_plan(low_oxygen()))
    live(house, 20, ALL_WELL)
    for _ in range(12):
        house.wait(seconds=10)
        house.tell(say(ALL_WELL | {OXYGEN: 8.25}))
        assert house.state.senses[OXYGEN].trust is Trust.DOUBTFUL


@pytest.mark.parametrize("every_min", [1, 2])
def test_a_slow_probe_and_one_that_speaks_seldom_are_doubted_too(every_min: int) -> None:
    """Oxygen that takes a minute to 63 %, and a word every two minutes: doubted within six minutes, and so it stays."""
    house = House(make_tank_plan(low_oxygen()))
    slow = {sensor: sensor.model_copy(update={"interval_s": 120.0}) for sensor in house.state.plan.sensor}
    house = House(house.state.plan.model_copy(update={"sensor": tuple(slow.values())}))
    for minute in range(0, 60, every_min):
        house.wait(every_min)
        since = max(0, minute - 30)
        house.tell(say(ALL_WELL | {OXYGEN: 8.25 - 2.25 * math.exp(-since)}))
        if since > 6:
            assert house.state.senses[OXYGEN].trust is Trust.DOUBTFUL, minute
            assert "in air" in house.state.senses[OXYGEN].why


def test_a_thermometer_lifted_out_of_the_tank_is_doubted_by_name() -> None:
    """From 24 C into a house of 15 C, two minutes to 63 %: no trend, no horizon, and the entry on its trust sounds."""
    house = House(make_tank_plan(make_entry("cold", sensor=WARMTH, limit=14.0), doubtful(WARMTH)))
    live(house, 30, ALL_WELL | {WARMTH: 24.0, HOUSE: 15.0})
    for since in range(1, 40):
        live(house, 1, ALL_WELL | {WARMTH: 15.0 + 9.0 * math.exp(-since / 2.0), HOUSE: 15.0})
        outlook = foresee_waters(sight(house))[0]
        assert outlook.minutes is None
        if since > 6:
            assert "air around" in house.state.senses[WARMTH].why

    assert house.state.durable.alarms["tank warmth doubtful"].phase is Phase.UNACKNOWLEDGED


def test_a_restart_and_new_settings_do_not_forget_a_probe_in_air() -> None:
    """The jump that showed it is past; the doubt is in the record, and ends only when the probe shows water."""
    house = House(make_tank_plan(low_oxygen()))
    live(house, 20, ALL_WELL)
    live(house, 3, ALL_WELL | {OXYGEN: 8.25})
    house.tell(SettingsChanged(house.state.plan.model_copy(update={"water": (make_water(feed_g_d=1.0),)})))
    live(house, 3, ALL_WELL | {OXYGEN: 8.25})
    assert house.state.senses[OXYGEN].trust is Trust.DOUBTFUL

    again = House(house.state.plan, start=False)
    again.state = first_state(house.state.plan, unpack(pack(house.state.durable)))
    again.tell(Started())
    live(again, 3, ALL_WELL | {OXYGEN: 8.25})
    assert again.state.senses[OXYGEN].trust is Trust.DOUBTFUL
    live(again, 4, ALL_WELL)
    assert again.state.senses[OXYGEN].trust is Trust.GOOD


def test_a_doubt_ends_with_the_probe() -> None:
    """A sensor that no water names any more is no probe of one, and its doubt is forgotten."""
    house = House(make_tank_plan(low_oxygen()))
    live(house, 20, ALL_WELL)
    live(house, 3, ALL_WELL | {OXYGEN: 8.25})
    house.tell(SettingsChanged(house.state.plan.model_copy(update={"water": ()})))

    assert house.state.durable.doubts == {}


def test_a_probe_in_air_is_in_no_mean_of_mirrored_lines() -> None:
    """A line whose conductivity probe is lifted out is not compared; afterwards only water is in the mean."""
    line = Water(name="line", conductivity="line EC", mirror="mirror")
    mirror = Water(name="mirror", loop=Loop.NUTRIENT, conductivity="mirror EC")
    plan = make_tank_plan(water=line)
    probes = tuple(make_sensor(name, Quantity.CONDUCTIVITY, "mS/cm") for name in ("line EC", "mirror EC"))
    house = House(plan.model_copy(update={"water": (line, mirror), "sensor": (*plan.sensor, *probes)}))
    live(house, 20, {"line EC": 0.8, "mirror EC": 1.6})
    live(house, 15, {"line EC": 0.003, "mirror EC": 1.6})
    (aired,) = compare_mirrors(sight(house))
    live(house, 15, {"line EC": 0.8, "mirror EC": 1.6})
    (dipped,) = compare_mirrors(sight(house))

    assert (aired.difference, aired.why) == (None, "line EC cannot be trusted")
    assert (dipped.difference, dipped.plus_minus) == (pytest.approx(-0.8), pytest.approx(0.0))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (85.0, "85 C is what a digital probe says before its first conversion, not a temperature"),
        (-127.0, "-127 C is what a driver says when the probe does not answer, not a temperature"),
        (60.0, "60 C is outside what is possible (-1 to 45)"),
    ],
)
def test_a_rail_of_a_thermometer_is_named_for_what_it_is(value: float, words: str) -> None:
    """85.0 and -127 are named as the rails of digital probes and raise the entry on trust; no horizon uses them.

    Source: DS18B20 data sheet, power-on reset value +85 C (from memory); -127 C by common drivers (common
    practice, no source).
    """
    house = House(make_tank_plan(make_entry("cold", sensor=WARMTH, limit=20.0), doubtful(WARMTH)))
    live(house, 15, ALL_WELL | {HOUSE: 10.0})
    live(house, 2, ALL_WELL | {WARMTH: value, HOUSE: 10.0})
    sense = house.state.senses[WARMTH]

    assert (sense.trust, sense.why) == (Trust.DOUBTFUL, words)
    assert all(value != kept for _, kept in house.state.tended.traces[WARMTH].fine)
    assert not foresee_waters(sight(house))[0].known
    assert any(words.split(",", maxsplit=1)[0] in message.text for message in house.messages)


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
