"""Conditions and alarms as stories: what the tank says, what people do, and where the alarm then stands."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import OXYGEN, House, make_entry, make_missing, make_plan, make_sensor

from controller.core.alarms.alarm import Alarm, Truth, judge_condition, make_code
from controller.core.alarms.life import live, next_due_ms
from controller.core.alarms.lifecycle import Phase, Trigger
from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.signals.sense import NEVER, UNHEARD, Sense
from controller.core.units import HOUR_MS, MINUTE_MS, Quantity
from controller.core.vocabulary import AlarmReset, AlarmShelved, AnswerGiven, Stamp, TroubleSeen, Trust

GOOD = UNHEARD._replace(trust=Trust.GOOD, value=6.0, stale_ms=10**9)
LOW, FINE = {"tank_oxygen": 3.0}, {"tank_oxygen": 8.0}
NAME = "tank oxygen low"


def answer(house: House, person: str = "keeper", name: str = NAME) -> House:
    """Let a person answer the alarm."""
    return house.tell(AnswerGiven(house.alarm(name).code, person, "page"))


def low(minutes: float = 2.0, **changes: Any) -> House:  # noqa: ANN401 - any key of the entry
    """Walk to an alarm that sounds."""
    return House(make_plan(alarm=(make_entry(**changes),))).wait(minutes, speaking=LOW)


@pytest.mark.parametrize(
    ("kind", "limit", "value", "truth"),
    [
        (Kind.LOW, 5.0, 4.99, Truth.TRUE),
        (Kind.LOW, 5.0, 5.0, Truth.BETWEEN),
        (Kind.LOW, 5.0, 5.49, Truth.BETWEEN),
        (Kind.LOW, 5.0, 5.5, Truth.FALSE),
        (Kind.HIGH, 5.0, 5.01, Truth.TRUE),
        (Kind.HIGH, 5.0, 5.0, Truth.BETWEEN),
        (Kind.HIGH, 5.0, 4.5, Truth.FALSE),
    ],
)
def test_a_limit_is_over_only_past_its_deadband(kind: Kind, limit: float, value: float, truth: Truth) -> None:
    """On the limit is not past it, and over is past limit and deadband."""
    entry = make_entry(kind=kind, limit=limit, deadband=0.5)

    assert judge_condition(entry, GOOD._replace(value=value), None) is truth


@pytest.mark.parametrize(
    ("limit", "rate", "truth"),
    [(0.5, 0.6, Truth.TRUE), (0.5, -0.6, Truth.FALSE), (-0.5, -0.6, Truth.TRUE), (-0.5, 0.6, Truth.FALSE)],
)
def test_a_rate_has_a_direction(limit: float, rate: float, truth: Truth) -> None:
    """A negative limit is a fall; a rise is not one."""
    entry = make_entry(kind=Kind.RATE, limit=limit, deadband=0.1)

    assert judge_condition(entry, GOOD._replace(rate_per_min=rate), None) is truth


@pytest.mark.parametrize("trust", [Trust.DOUBTFUL, Trust.STALE, Trust.MISSING])
@pytest.mark.parametrize("kind", [Kind.LOW, Kind.HIGH, Kind.RATE, Kind.SWITCH])
def test_unknown_is_neither_wrong_nor_normal(trust: Trust, kind: Kind) -> None:
    """A value that cannot be trusted neither raises nor clears."""
    entry = make_entry(kind=kind)

    assert judge_condition(entry, GOOD._replace(trust=trust, value=0.0), None) is Truth.UNKNOWN
    assert judge_condition(entry, None, None) is Truth.UNKNOWN


@pytest.mark.parametrize(
    ("sense", "missing", "doubtful"),
    [
        (GOOD, Truth.FALSE, Truth.FALSE),
        (GOOD._replace(trust=Trust.DOUBTFUL), Truth.FALSE, Truth.TRUE),
        (GOOD._replace(trust=Trust.STALE, stale_ms=NEVER), Truth.TRUE, Truth.UNKNOWN),
        (UNHEARD, Truth.TRUE, Truth.UNKNOWN),
        (UNHEARD._replace(stale_ms=10**9), Truth.UNKNOWN, Truth.UNKNOWN),
    ],
)
def test_that_nobody_knows_is_an_alarm_of_its_own(sense: Sense, missing: Truth, doubtful: Truth) -> None:
    """Missing and doubtful say it; a sensor whose time to speak has not run out is not missing yet."""
    assert judge_condition(make_entry(kind=Kind.MISSING), sense, None) is missing
    assert judge_condition(make_entry(kind=Kind.DOUBTFUL), sense, None) is doubtful


def test_a_switch_is_wrong_in_the_named_position() -> None:
    """A pump that is off, or a leak that is on."""
    on, off = GOOD._replace(value=1.0), GOOD._replace(value=0.0)
    pump, leak = make_entry(kind=Kind.SWITCH), make_entry(kind=Kind.SWITCH, alarm_when="on")

    assert [judge_condition(pump, sense, None) for sense in (on, off)] == [Truth.FALSE, Truth.TRUE]
    assert [judge_condition(leak, sense, None) for sense in (on, off)] == [Truth.TRUE, Truth.FALSE]


def test_codes_do_not_come_twice() -> None:
    """9000 alarms have 9000 codes of four digits, and neighbours differ in more than one of them."""
    codes = [make_code(number) for number in range(1, 9001)]

    assert (len(set(codes)), {len(code) for code in codes}) == (9000, {4})
    assert all(sum(a != b for a, b in zip(one, other, strict=True)) > 1 for one, other in pairwise(codes))


def test_the_story_of_an_emergency() -> None:
    """Low, told, answered, still low, told again, answered, over: each phase in its time."""
    house = House(make_plan(alarm=(make_entry(sound_again_min=30),)))
    house.read(**LOW).wait(0.9, speaking=LOW)
    assert house.alarm().phase is Phase.NORMAL
    house.wait(0.2, speaking=LOW)
    assert (house.alarm().phase, house.told) == (Phase.UNACKNOWLEDGED, ["keeper"])
    code = house.alarm().code
    answer(house)
    assert (house.alarm().phase, house.alarm().answered_by) == (Phase.ACKNOWLEDGED, "keeper")
    house.wait(29.9, speaking=LOW)
    assert (house.alarm().phase, house.told) == (Phase.ACKNOWLEDGED, [])
    house.wait(0.2, speaking=LOW)
    assert (house.alarm().phase, house.told, house.alarm().code) == (
        Phase.UNACKNOWLEDGED,
        ["keeper", "deputy"],
        code,
    )
    assert "keeper had it, and it is still wrong" in house.messages[0].text
    assert house.alarm().answered_by == ""
    answer(house, "deputy").wait(2.1, speaking=FINE)
    assert (house.alarm().phase, house.alarm().next_call_ms) == (Phase.NORMAL, NEVER)


def test_a_spike_rings_nobody() -> None:
    """One bad sample is absorbed by the delay."""
    house = House().read(**FINE).wait(5, speaking=FINE).read(**LOW)
    house.wait(5, speaking=FINE)

    assert (house.alarm().phase, house.alarm().occurrence) == (Phase.NORMAL, 0)


def test_chatter_round_the_limit_is_one_occurrence() -> None:
    """A value that trembles between limit and deadband stays one alarm."""
    house = low()
    for _ in range(30):
        house.read(tank_oxygen=5.3).wait(0.5).read(tank_oxygen=4.9).wait(0.5)

    assert (house.alarm().phase, house.alarm().occurrence) == (Phase.UNACKNOWLEDGED, 1)


def test_a_slow_drift_is_told_within_the_delay_and_a_sample() -> None:
    """A true fall past the limit sounds once, a delay and one sample after it."""
    house = House()
    oxygen, passed = 6.0, 0
    while house.alarm().phase is Phase.NORMAL:
        house.read(tank_oxygen=oxygen)
        passed = passed or (house.now if oxygen < 5.0 else 0)
        house.wait(0.5)
        oxygen -= 0.02
    assert house.alarm().raised_ms - passed <= 90_000


def test_returned_still_waits_for_its_answer() -> None:
    """Over by itself is told, and the calls go on until somebody has answered."""
    house = low().wait(2.1, speaking=FINE)
    assert (house.alarm().phase, house.told) == (Phase.RETURNED, ["keeper"])
    assert "OVER" in house.messages[0].subject
    house.wait(20, speaking=FINE)
    assert (house.alarm().phase, house.told) == (Phase.RETURNED, ["deputy", "porter"])
    answer(house)
    assert house.alarm().phase is Phase.NORMAL
    house.wait(120, speaking=FINE)
    assert house.told == []


def test_true_again_before_an_answer_is_the_same_occurrence() -> None:
    """Nobody has to learn a second code for what they have not answered yet."""
    house = low()
    code = house.alarm().code
    house.wait(2, speaking=FINE).wait(2, speaking=LOW)

    assert (house.alarm().phase, house.alarm().code, house.alarm().occurrence) == (
        Phase.UNACKNOWLEDGED,
        code,
        1,
    )


def test_true_again_after_an_answer_is_a_new_occurrence() -> None:
    """The old answer does not count for it, the old code answers nothing, and its messages are a new thread."""
    house = low()
    old, thread = house.alarm().code, house.messages[0].thread
    answer(house).wait(2, speaking=FINE).wait(2, speaking=LOW)
    assert (house.alarm().phase, house.alarm().occurrence) == (Phase.UNACKNOWLEDGED, 2)
    assert {message.thread for message in house.messages} == {f"{NAME}/2"} != {thread}
    house.tell(AnswerGiven(old, "keeper", "page"))
    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    assert "no such alarm" in house.notes[0]


def test_an_unknown_value_does_not_end_an_alarm() -> None:
    """A value that was fine and then lost has not been fine for the off-delay."""
    house = low().wait(1.1, speaking=FINE)
    assert house.alarm().over_ms is not None
    house.wait(30, speaking={"tank_oxygen": 400.0})
    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    house.wait(0.9, speaking=FINE)
    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    house.wait(1, speaking=FINE)
    assert house.alarm().phase is Phase.RETURNED


def test_a_sensor_lost_while_an_alarm_was_pending_does_not_keep_the_house_awake() -> None:
    """The condition waits for its sensor, no deadline stays in the past, and others keep their calls."""
    house = House(make_plan(alarm=(make_entry(on_delay_s=600.0), make_missing())))
    house.wait(1, speaking=LOW)
    before = house.turns
    house.wait(60)
    assert house.alarm().phase is Phase.NORMAL
    assert house.alarm("tank oxygen lost").phase is Phase.UNACKNOWLEDGED
    assert house.turns - before < 60 + 30
    house.read(**LOW)
    assert house.alarm().phase is Phase.UNACKNOWLEDGED


def test_a_past_deadline_of_one_alarm_does_not_hide_the_next_of_another() -> None:
    """Without any curtain to wake the house, the next call of an alarm still comes on time."""
    alarms = (make_entry("pending", sensor=OXYGEN, on_delay_s=300.0), make_missing())
    house = House(make_plan(curtain=(), alarm=alarms)).wait(1, speaking=LOW).wait(5)
    raised = house.alarm("tank oxygen lost").raised_ms
    house.wait(20)

    assert house.alarm("tank oxygen lost").turn_of_list >= 1
    assert house.alarm("tank oxygen lost").ladder_ms == raised


def test_a_slow_sensor_is_not_missing_because_the_daemon_has_started() -> None:
    """A sensor of one reading in ten minutes has half an hour to speak after a start."""
    slow = make_sensor(OXYGEN, Quantity.OXYGEN, "mg/L", interval_s=600.0)
    house = House(make_plan(sensor=(slow,), curtain=(), alarm=(make_missing(),))).wait(29)
    assert house.alarm("tank oxygen lost").phase is Phase.NORMAL
    house.wait(3)
    assert house.alarm("tank oxygen lost").phase is Phase.UNACKNOWLEDGED


def test_a_latched_alarm_is_left_by_a_reset() -> None:
    """Answered and over, it stays until a named person resets it; true again it sounds anew."""
    house = answer(low(latching=True)).wait(2, speaking=FINE)
    assert house.alarm().phase is Phase.LATCHED_ACKNOWLEDGED
    house.wait(2, speaking=LOW)
    assert (house.alarm().phase, house.alarm().occurrence) == (Phase.UNACKNOWLEDGED, 2)
    house.wait(2, speaking=FINE)
    assert house.alarm().phase is Phase.LATCHED_UNACKNOWLEDGED
    house.tell(AlarmReset(NAME, "keeper"))
    assert house.alarm().phase is Phase.LATCHED_UNACKNOWLEDGED
    answer(house).tell(AlarmReset(NAME, ""))
    assert house.alarm().phase is Phase.LATCHED_ACKNOWLEDGED
    house.tell(AlarmReset(NAME, "keeper"))
    assert house.alarm().phase is Phase.NORMAL


@pytest.mark.parametrize("minutes", [1e9, float("inf"), 60.0])
def test_a_shelf_always_ends(minutes: float) -> None:
    """For what kills fish within the hour, silence lasts an hour at most, and then it sounds if still wrong."""
    house = low().tell(AlarmShelved(NAME, minutes, "keeper", "probe is being cleaned"))
    assert (house.alarm().phase, house.alarm().next_call_ms) == (Phase.SHELVED, NEVER)
    house.wait(59.9, speaking=LOW)
    assert (house.told, house.alarm().phase) == ([], Phase.SHELVED) or minutes == float("inf")
    house.wait(0.2, speaking=LOW)
    assert (house.alarm().phase, house.alarm().occurrence) == (Phase.UNACKNOWLEDGED, 2)


def test_a_shelf_ends_in_normal_if_it_is_over() -> None:
    """Judged all the while, what is over at the end of the shelf is normal."""
    house = low().tell(AlarmShelved(NAME, 10, "keeper", "x")).wait(10.5, speaking=FINE)

    assert (house.alarm().phase, house.alarm().shelved_until_ms) == (Phase.NORMAL, NEVER)


@pytest.mark.parametrize("minutes", [float("nan"), -5.0, 0.0])
def test_a_shelf_of_no_time_is_a_minute(minutes: float) -> None:
    """What is no time is the shortest."""
    house = low().tell(AlarmShelved(NAME, minutes, "keeper", "x"))

    assert house.alarm().shelved_until_ms == house.now + MINUTE_MS


def test_nobody_has_no_power() -> None:
    """An answer or a shelf without a name changes nothing and is written down."""
    house = low()
    durable = house.state.durable
    house.tell(AnswerGiven(house.alarm().code, " ", "page"), AlarmShelved(NAME, 5, "", "x"))

    assert (durable.alarms, 2) == (
        house.state.durable.alarms,
        sum("without a name" in note for note in house.notes),
    )


def test_the_second_to_answer_is_told_who_has_it() -> None:
    """The first wins; the second learns the name."""
    house = answer(answer(low()), "deputy")

    assert house.alarm().answered_by == "keeper"
    assert "keeper has it already" in house.notes[0]


def test_an_answer_as_the_alarm_clears_ends_in_normal() -> None:
    """Whichever comes first, both are written down and nobody is called."""
    first = answer(low().wait(2.1, speaking=FINE))
    then = answer(low()).wait(2.1, speaking=FINE)

    assert (first.alarm().phase, then.alarm().phase) == (Phase.NORMAL, Phase.NORMAL)


def test_a_restart_keeps_an_alarm_and_tells_nobody_that_it_is_over() -> None:
    """After a start nothing is known: silence of sensor and part is no return."""
    house = House(
        make_plan(
            alarm=(make_entry(), make_entry("line down", kind=Kind.FAULT, of=Watched.BROKER, sensor=""))
        )
    )
    house.tell(TroubleSeen(Watched.BROKER, "refused")).wait(3, speaking=LOW)
    assert house.alarm("line down").phase is Phase.UNACKNOWLEDGED
    house.restart(1).wait(1.9)
    assert {house.alarm(name).phase for name in (NAME, "line down")} == {Phase.UNACKNOWLEDGED}
    assert not any("OVER" in message.subject for message in house.messages)
    house.wait(3)
    assert (house.alarm("line down").phase, house.alarm().phase) == (Phase.RETURNED, Phase.UNACKNOWLEDGED)


def test_a_part_in_trouble_after_a_restart_is_the_same_occurrence() -> None:
    """The broker is still down: no false end, no second alarm."""
    house = House().tell(TroubleSeen(Watched.BROKER, "refused")).wait(3)
    name = "no connection to the broker"
    code = house.alarm(name).code
    house.restart(1).wait(1).tell(TroubleSeen(Watched.BROKER, "refused")).wait(10)

    assert (house.alarm(name).phase, house.alarm(name).code) == (Phase.UNACKNOWLEDGED, code)


def test_two_alarms_on_one_sensor_live_apart() -> None:
    """A warning and an emergency on one probe have their own limits, codes and answers."""
    warning = make_entry("oxygen falling", limit=7.0, response=Response.TODAY)
    house = House(make_plan(alarm=(make_entry(), warning))).wait(2, speaking={"tank_oxygen": 6.0})
    assert (house.alarm().phase, house.alarm("oxygen falling").phase) == (Phase.NORMAL, Phase.UNACKNOWLEDGED)
    house.wait(2, speaking=LOW)
    answer(house, name="oxygen falling")
    assert (house.alarm().phase, house.alarm("oxygen falling").phase) == (
        Phase.UNACKNOWLEDGED,
        Phase.ACKNOWLEDGED,
    )


@given(
    st.sampled_from(Phase),
    st.sampled_from(Truth),
    st.none() | st.integers(0, 10**7),
    st.none() | st.integers(0, 10**7),
    st.booleans(),
)
def test_living_comes_to_rest(
    phase: Phase,
    truth: Truth,
    true_ms: int | None,
    over_ms: int | None,
    latching: bool,  # noqa: FBT001
) -> None:
    """From any alarm, a few steps at one instant lead to where nothing more happens, and the next is in the future."""
    entry = make_entry(latching=latching)
    now = 2 * 10**7
    alarm = Alarm(phase, 1, "1000", true_ms, over_ms, again_ms=NEVER if phase is Phase.NORMAL else now)
    happened: Trigger | None = Trigger.RAISE
    steps = 0
    while happened is not None:
        alarm, happened = live(entry, alarm, truth, Stamp(now, 0, 0, utc_trusted=True), 2)
        steps += 1
        assert steps < 5
    assert next_due_ms(entry, alarm, now) > now
    if truth is Truth.TRUE and alarm.true_ms is not None and now - alarm.true_ms > HOUR_MS:
        assert alarm.phase not in {Phase.NORMAL, Phase.RETURNED}
