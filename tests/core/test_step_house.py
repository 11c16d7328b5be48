"""The whole house through `step`: nights, mornings, restarts, clocks that jump, and settings that change."""

from __future__ import annotations

import pytest
from makers import (
    INSIDE,
    LIGHT,
    OXYGEN,
    House,
    gather,
    make_curtain,
    make_entry,
    make_missing,
    make_plan,
    make_sensor,
)

from controller.core.alarms.lifecycle import Phase as AlarmPhase
from controller.core.curtain.drive import Phase
from controller.core.listen import OTHER_TOPICS
from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.state import REFUSED_TOPICS_MOST
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, Quantity
from controller.core.vocabulary import (
    AlarmShelved,
    AnswerGiven,
    EffectDone,
    FaultCleared,
    HoldAsked,
    HoldReleased,
    Limit,
    PayloadRefused,
    PublishState,
    ReadingsTaken,
    Run,
    Sample,
    SettingsChanged,
    TroubleSeen,
    Trust,
    Woken,
)

NIGHT = {"roof_light": 0.0, "house_air": 15.0, "outside_air": 2.0, "tank_oxygen": 8.0}
NOON = {"roof_light": 750.0, "house_air": 24.0, "outside_air": 18.0, "tank_oxygen": 8.0}
GREY = {"roof_light": 100.0, "house_air": 21.0, "outside_air": 15.0, "tank_oxygen": 8.0}


def drawn_at_night() -> House:
    """Walk to a curtain that was drawn to hold heat."""
    house = House().sky(-20.0).report(0.0).until_move(NIGHT).obey()
    assert (house.rule, house.drive.drawn_percent) == ("hold heat at night", 100.0)
    return house


def test_a_night_is_held_and_a_morning_opens() -> None:
    """Drawn once in the evening, opened once by the morning's light, each with its numbers."""
    house = drawn_at_night()
    assert house.wait(120, speaking=NIGHT).moves == []
    house.sky(8.0, 120.0).until_move(NIGHT | {"roof_light": 115.0})
    assert (house.rule, house.moves[0].run) == ("open", Run.OPEN)
    assert "light 115 W/m2" in house.moves[0].reason


@pytest.mark.parametrize("away_min", [0.1, 5.0, 90.0])
def test_a_restart_at_night_does_not_open_the_curtain(away_min: float) -> None:
    """The rules' memory is lost, and until they have had their delays nothing is opened."""
    house = drawn_at_night().restart(away_min).report(100.0).sky(-20.0)
    assert house.rule == "settling in"
    assert house.wait(60, speaking=NIGHT).moves == []
    assert (house.rule, house.drive.drawn_percent) == ("hold heat at night", 100.0)


def test_a_restart_in_the_sun_does_not_open_the_shade() -> None:
    """At noon the same: drawn for shade it stays drawn."""
    house = House().sky(55.0, 850.0).report(0.0).until_move(NOON).obey()
    house.restart(1).report(100.0).sky(55.0, 850.0)
    assert house.wait(60, speaking=NOON).moves == []
    assert house.rule == "light ceiling"


def test_a_restart_on_a_grey_day_opens_in_the_end() -> None:
    """Where nothing asks for it to be drawn it is opened, some minutes later."""
    house = House().sky(30.0, 500.0).report(100.0).until_move(GREY)

    assert (house.rule, house.moves[0].drawn_percent) == ("open", 0.0)
    assert house.drive.started_ms - house.state.views["roof"].settled_ms + 13 * MINUTE_MS > 10 * MINUTE_MS


def test_a_sky_is_looked_at_though_other_sensors_chatter() -> None:
    """The evening comes while the curtain's own sensors are dead and others speak every ten seconds."""
    house = House().sky(20.0, 300.0).report(0.0).wait(20, speaking=NIGHT)
    house.sky(-10.0)
    for _ in range(6 * 15):
        house.wait(seconds=10).read(tank_oxygen=8.0)

    assert house.now - house.state.views["roof"].light_at_ms <= MINUTE_MS


def test_both_lost_hold_and_tell() -> None:
    """Neither clock nor light: it stays where it is, and the record says why."""
    house = House(utc_trusted=False).report(40.0).wait(30)

    assert (house.rule, house.drive.drawn_percent, house.drive.moves_total) == ("nothing known", 40.0, 0)


def test_an_unset_clock_leaves_light_and_temperature() -> None:
    """Without a clock the sun is not asked; too much light still draws, and the clock is told."""
    house = House(utc_trusted=False).sky(-20.0).report(0.0)
    house.until_move(NOON)
    assert house.rule == "light ceiling"
    house.obey().wait(40, speaking=NOON)
    assert house.alarm("clock not set").phase is AlarmPhase.UNACKNOWLEDGED
    assert house.alarm("clock not set").told == ()


@pytest.mark.parametrize("jump_ms", [HOUR_MS, -HOUR_MS, 3 * DAY_MS, -20 * 365 * DAY_MS])
def test_a_jump_of_the_clock_changes_no_timer(jump_ms: int) -> None:
    """An hour or years, either way: every alarm sounds and calls at the same house time."""

    def story(jump: int) -> list[tuple[int, str]]:
        house = House(make_plan(curtain=()))
        told: list[tuple[int, str]] = []
        for minute in range(60):
            if minute == 3:
                house.utc_ms += jump
            house.wait(1, speaking={"tank_oxygen": 3.0})
            told.extend((house.now, person) for person in house.told)
        return told

    assert story(jump_ms) == story(0)


def test_a_jump_of_an_hour_at_night_moves_nothing() -> None:
    """The sun of another hour is no reason to run the motor at once, and the dwell keeps it from swinging."""
    house = drawn_at_night()
    house.utc_ms += HOUR_MS
    assert house.wait(10, speaking=NIGHT).moves == []
    house.utc_ms -= HOUR_MS
    assert house.wait(60, speaking=NIGHT).moves == []


def test_a_clock_that_comes_back_ends_the_trouble_of_the_sky() -> None:
    """A jump out of the table and back leaves no trouble behind."""
    house = House().sky(10.0)
    house.utc_ms += 30 * DAY_MS
    house.wait(2)
    assert "run out" in house.state.troubles[Watched.SKY]
    house.utc_ms -= 30 * DAY_MS
    house.wait(2)
    assert Watched.SKY not in house.state.troubles


def test_a_hold_wins_ends_and_is_written_down() -> None:
    """Wanted by a name, for a time; then the rules have it back."""
    house = House().sky(30.0, 500.0).report(0.0).wait(30, speaking=GREY)
    house.tell(HoldAsked("roof", 60.0, 45.0, "keeper"))
    assert (house.rule, house.moves[0].drawn_percent) == ("manual hold", 60.0)
    house.obey().wait(40, speaking=GREY)
    assert house.drive.drawn_percent == 60.0
    house.until_move(GREY)
    assert (house.rule, house.moves[0].drawn_percent, house.state.durable.holds) == ("open", 0.0, {})


def test_a_hold_can_be_given_back() -> None:
    """Its own name or another may end it."""
    house = House().sky(30.0, 500.0).report(0.0).wait(30, speaking=GREY)
    house.tell(HoldAsked("roof", 60.0, 1e9, "keeper"))
    assert house.state.durable.holds["roof"].until_ms == house.now + DAY_MS
    house.tell(HoldReleased("roof", "deputy"))
    assert house.state.durable.holds == {}


@pytest.mark.parametrize(
    ("percent", "minutes"), [(float("nan"), 60.0), (50.0, float("nan")), (float("inf"), 5.0)]
)
def test_a_hold_that_is_no_number_is_refused(percent: float, minutes: float) -> None:
    """It changes nothing and is written down."""
    house = House().report(0.0).tell(HoldAsked("roof", percent, minutes, "keeper"))

    assert house.state.durable.holds == {}
    assert "no number" in house.notes[0]


def test_a_hold_outlives_a_restart() -> None:
    """A power cut is no reason to do other than the keeper wants."""
    house = House().report(0.0).wait(1).tell(HoldAsked("roof", 100.0, 120.0, "keeper")).restart(1)
    house.report(0.0).wait(2)

    assert (house.rule, house.drive.target_percent) == ("manual hold", 100.0)


def change(house: House, **changes: object) -> House:
    """Put changed settings into force."""
    return house.tell(SettingsChanged(house.state.plan.model_copy(update=changes)))


def test_settings_change_while_the_motor_runs() -> None:
    """Another limit leaves the run alone; another board or none at all stops it."""
    for curtain, phase, stops in (
        (make_curtain(dwell_min=30.0), Phase.RUNNING, 0),
        (make_curtain(command_topic="other"), Phase.IDLE, 1),
        (make_curtain(dry_run=True), Phase.IDLE, 1),
    ):
        house = House().report(0.0).wait(1).tell(HoldAsked("roof", 100.0, 60.0, "keeper"))
        change(house, curtain=(curtain,))
        assert (house.drive.phase, len(house.stops)) == (phase, stops)
        assert house.drive.drawn_percent is None or phase is Phase.RUNNING
    house = House().report(0.0).wait(1).tell(HoldAsked("roof", 100.0, 60.0, "keeper"))
    change(house, curtain=())
    assert (len(house.stops), house.state.durable.drives, house.state.durable.holds) == (1, {}, {})


def test_a_curtain_that_is_gone_takes_its_trouble_along() -> None:
    """What is no longer in the settings cannot be wrong."""
    house = House().report(10.0, limit=Limit.BOTH)
    assert Watched.CURTAIN in house.state.troubles
    change(house, curtain=())
    assert Watched.CURTAIN not in house.state.troubles
    house.wait(3)
    assert house.alarm("curtain stopped on a fault").phase is AlarmPhase.RETURNED


def test_unchanged_settings_change_nothing() -> None:
    """The same file read again is no change, but ends the trouble of a bad one."""
    house = House().tell(TroubleSeen(Watched.SETTINGS, "line 3"))
    before = house.state
    house.tell(SettingsChanged(make_plan()))

    assert (house.state.senses, house.state.views, house.state.roll) == (
        before.senses,
        before.views,
        before.roll,
    )
    assert Watched.SETTINGS not in house.state.troubles


def test_a_changed_sensor_begins_anew_and_the_others_go_on() -> None:
    """Only what changed is unknown."""
    house = House().read(**GREY)
    sensors = tuple(
        make_sensor(OXYGEN, Quantity.OXYGEN, "mg/L", interval_s=30.0) if sensor.name == OXYGEN else sensor
        for sensor in house.plan.sensor
    )
    change(house, sensor=sensors)

    assert house.state.senses[OXYGEN].trust is Trust.MISSING
    assert house.state.senses[LIGHT].value == 100.0


def test_a_silent_sensor_becomes_unknown_and_is_told() -> None:
    """After three intervals: not its last value, not zero, but unknown."""
    house = House(make_plan(alarm=(make_missing(),))).read(tank_oxygen=8.0).wait(2.9)
    assert house.state.senses[OXYGEN].trust is Trust.GOOD
    house.wait(0.2)
    assert house.state.senses[OXYGEN].trust is Trust.STALE
    house.wait(1)
    assert "UNKNOWN" in house.messages[0].text


def test_a_retained_value_at_the_start_is_not_fresh() -> None:
    """Until a live message comes the value is unknown."""
    house = House().tell(ReadingsTaken((Sample(OXYGEN, 8.0, fresh=False),)))

    assert (house.state.senses[OXYGEN].value, house.state.senses[OXYGEN].trust) == (None, Trust.MISSING)


def test_one_bad_sensor_changes_no_other() -> None:
    """Nonsense of one and silence of another leave a third as it is."""
    house = House().read(**GREY).read(roof_light=1e9, house_air=85.0, nobody=3.0)

    assert [house.state.senses[name].trust for name in (LIGHT, INSIDE, OXYGEN)] == [
        Trust.DOUBTFUL, Trust.DOUBTFUL, Trust.GOOD,
    ]  # fmt: skip


def test_refused_payloads_are_counted_and_bounded() -> None:
    """A flood of nonsense on a thousand topics keeps two hundred names and one more counter."""
    house = House()
    for number in range(1000):
        house.turn(PayloadRefused(f"t/{number}", "", "not a number"))
    house.tell(PayloadRefused("t/3", "", "again"))

    assert len(house.state.refused) == REFUSED_TOPICS_MOST + 1
    assert (house.state.refused["t/3"], house.state.refused[OTHER_TOPICS][0]) == ((2, "again"), 800)


def test_retained_state_is_published_when_it_changes() -> None:
    """A reader of the broker sees each change of curtain and alarms, and nothing twice."""
    house = House().report(0.0)
    assert [state.tail for state in gather(house.effects, PublishState)] == ["curtain/roof"]
    house.report(0.0)
    assert gather(house.effects, PublishState) == []
    house.wait(1, speaking={"tank_oxygen": 8.0}).wait(2, speaking={"tank_oxygen": 3.0})
    told = [state.document for state in gather(house.effects, PublishState) if state.tail == "alarms"]
    assert [document.count("tank oxygen low") for document in told] == [1]


def test_words_of_nobody_known_change_nothing() -> None:
    """Curtains, alarms and effects that do not exist are let pass."""
    house = House()
    durable = house.state.durable
    house.tell(
        HoldAsked("attic", 50.0, 5.0, "keeper"),
        HoldReleased("attic", "keeper"),
        FaultCleared("attic", "keeper"),
        AlarmShelved("nothing", 5.0, "keeper", "x"),
        EffectDone("e99"),
        AnswerGiven("0000", "keeper", "page"),
    )

    assert house.state.durable is durable
    assert gather(house.effects, PublishState) == []


def test_nothing_new_leaves_what_must_last_alone() -> None:
    """A quiet turn writes nothing: the durable half is the very same object."""
    house = House().sky(30.0, 500.0).report(0.0).wait(20, speaking=GREY)
    durable = house.state.durable
    for _ in range(30):
        house.wait(1, speaking=GREY)
    house.tell(Woken(), EffectDone("e99"), PayloadRefused("t", "", "x"))

    assert house.state.durable is durable


def test_no_deadline_stays_in_the_past() -> None:
    """An alarm whose condition nobody can judge any more waits for its sensor and is not looked at every turn."""
    house = House(make_plan(curtain=(), alarm=(make_entry(on_delay_s=600.0),)))
    house.wait(1, speaking={"tank_oxygen": 3.0}).wait(30)

    assert house.alarm().true_ms is not None
    assert house.alarm().due_ms > house.now


def test_budget_spent_it_stays_and_a_hand_still_moves_it() -> None:
    """After the day's moves comfort waits for midnight; a person does not."""
    plan = make_plan(curtain=(make_curtain(moves_per_day=2, dwell_min=0.0, hold_heat=None),))
    house = House(plan).sky(55.0, 850.0).report(0.0).until_move(NOON).obey().until_move(GREY).obey()
    assert house.drive.moves_today == 2
    assert house.wait(120, speaking=NOON).moves == []
    assert house.rule == "light ceiling"
    house.tell(HoldAsked("roof", 50.0, 10.0, "keeper"))
    assert len(house.moves) == 1


def test_many_alarms_at_once_are_told_in_one_message() -> None:
    """Twenty alarms in one minute make one message with every code in it, and all can be answered."""
    entries = tuple(make_entry(f"tank {number} low", limit=5.0 - number / 100) for number in range(20))
    house = House(make_plan(alarm=entries)).wait(2, speaking={"tank_oxygen": 3.0})
    assert len(house.messages) == 1
    text = house.messages[0].text
    assert [entry.name for entry in entries if house.alarm(entry.name).code not in text] == []
    house.tell(*(AnswerGiven(house.alarm(entry.name).code, "keeper", "page") for entry in entries))
    assert {house.alarm(entry.name).phase for entry in entries} == {AlarmPhase.ACKNOWLEDGED}


def test_a_switch_alarm_sees_its_switch() -> None:
    """A pump that stops is told after its delay."""
    pump = make_sensor("pump", Quantity.SWITCH, "on/off")
    entry = make_entry("pump off", kind=Kind.SWITCH, sensor="pump", on_delay_s=15.0, response=Response.TODAY)
    house = House(make_plan(sensor=(pump,), curtain=(), alarm=(entry,))).read(pump=1.0).wait(1).read(pump=0.0)
    house.wait(seconds=15)

    assert (house.told, "pump is off" in house.messages[0].text) == (["keeper"], True)
