"""Who is called, when, and until when: the list as a story, with the world refusing and people gone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import START_MS, House, make_doubtful, make_entry, make_plan, make_step

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.call_list import RETRY_LONGEST_MS, call_next, hurry, steps_for
from controller.core.alarms.lifecycle import Phase
from controller.core.plan.alarm import Response, Watched
from controller.core.plan.people import CallRules
from controller.core.plan.plan import Plan
from controller.core.signals.sense import NEVER
from controller.core.units import MINUTE_MS
from controller.core.vocabulary import AnswerGiven, EffectFailed, SettingsChanged

LOW = {"tank_oxygen": 3.0}
ONE = make_plan(alarm=(make_entry(),))


def low(plan: Plan = ONE) -> House:
    """Walk to the minute in which the alarm sounds."""
    house = House(plan).read(**LOW).wait(1, speaking=LOW)
    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    return house


def calls(house: House, minutes: int) -> list[tuple[int, str]]:
    """Let time pass, with a mail server that accepts, and return (minute, whom it told)."""
    told: list[tuple[int, str]] = []
    for minute in range(1, minutes + 1):
        house.wait(1, speaking=LOW)
        told.extend((minute, person) for person in house.told)
        house.accept()
    return told


def test_the_list_goes_up_and_then_round_for_ever() -> None:
    """Keeper at once, deputy after 5, porter after 15, all again every 10 minutes, until somebody answers."""
    house = low()
    assert house.told == ["keeper"]
    house.accept()
    everybody = ("keeper", "deputy", "porter")

    expected = [(5, "deputy"), (15, "porter")]
    expected += [(minute, person) for minute in range(25, 121, 10) for person in everybody]
    assert calls(house, 120) == expected
    house.tell(AnswerGiven(house.alarm().code, "deputy", "text"))
    assert sorted(house.told) == ["keeper", "porter"]
    assert all("ANSWERED" in message.subject for message in house.messages)
    assert calls(house, 29) == []


def test_nobody_answers_for_a_day() -> None:
    """An emergency never gives up: a day later it still calls every ten minutes."""
    house = low(ONE.model_copy(update={"alarm": (*ONE.alarm, make_doubtful())}))
    house.wait(24 * 60, speaking=LOW)
    before = house.alarm().turn_of_list

    assert len(calls(house, 60)) == 18
    assert house.alarm().turn_of_list == before + 6


def test_the_first_step_may_wait() -> None:
    """A list whose first step is after five minutes calls after five minutes."""
    house = low(make_plan(alarm=(make_entry(),), call=(make_step(5, "deputy"),)))
    assert (house.told, house.alarm().next_call_ms) == ([], house.alarm().raised_ms + 5 * MINUTE_MS)

    assert calls(house, 16) == [(5, "deputy"), (15, "deputy")]


def test_todays_list_is_slower() -> None:
    """What can wait till today is told to the person on duty, again after two hours."""
    house = low(make_plan(alarm=(make_entry(response=Response.TODAY),)))
    assert house.told == ["keeper"]

    assert calls(house.accept(), 240) == [(120, "keeper"), (240, "keeper")]


def test_a_note_rings_nobody() -> None:
    """What is only to be written down is written down."""
    house = low(make_plan(alarm=(make_entry(response=Response.NOTE),)))

    assert (house.told, house.alarm().next_call_ms) == ([], NEVER)


def test_a_refused_message_moves_on_at_once() -> None:
    """The next person is told in the same turn, and the broken way is told too."""
    house = low()
    house.tell(EffectFailed(house.messages[0].effect_id, "auth failed"))

    assert [message.person for message in house.messages if message.thread.startswith("tank")] == ["deputy"]
    assert house.state.troubles[Watched.MESSAGES] == "email to keeper: auth failed"
    assert house.alarm("messages cannot be sent").phase is Phase.UNACKNOWLEDGED


def test_a_dead_mail_server_is_tried_with_growing_waits() -> None:
    """Every message refused: the list goes on for ever, and the world is not flooded."""
    house = low()
    sent = 0
    for _ in range(2 * 60 * 12):
        sent += len(house.messages)
        house.tell(*(EffectFailed(message.effect_id, "no route") for message in house.messages))
        sent += len(house.messages)
        house.tell(*(EffectFailed(message.effect_id, "no route") for message in house.messages))
        if not house.messages:
            house.wait(seconds=5)

    assert house.alarm().next_call_ms - house.now <= RETRY_LONGEST_MS
    assert 2 * 60 // 10 * 3 <= sent < 400


def test_a_way_that_works_again_is_in_order() -> None:
    """One accepted message ends the trouble and the growing waits."""
    house = low()
    house.tell(EffectFailed(house.messages[0].effect_id, "no route"))
    house.accept()

    assert (house.alarm().failures, Watched.MESSAGES in house.state.troubles) == (0, False)


def test_messages_of_the_answered_are_not_sent_again() -> None:
    """After a restart, what was answered is quiet; what was not is sent again, the same message."""
    house = low()
    first = house.messages
    assert house.restart(0.1).messages == first
    house.tell(AnswerGiven(house.alarm().code, "keeper", "page"))
    assert house.restart(0.1).messages == []


def test_an_overdue_list_is_caught_up() -> None:
    """After an hour without power the calls that were due come, each once, and then the list goes round."""
    house = low().accept().restart(60)
    assert house.messages[0].text.startswith("DUSKBELL SYSTEM: restarted")
    told = [message.person for message in house.messages[1:]]
    for _ in range(3):
        house.wait(seconds=1)
        told += house.told
    assert told == ["deputy", "porter"]
    house.accept()
    assert calls(house, 10) == [(10, "keeper"), (10, "deputy"), (10, "porter")]


def change(house: House, **changes: object) -> House:
    """Put changed settings into force."""
    return house.tell(SettingsChanged(house.state.plan.model_copy(update=changes)))


def test_a_person_who_left_the_list_is_followed_by_the_next() -> None:
    """Told and then removed: the next person is told at once, and no message waits for the one who left."""
    house = low()
    people = tuple(person for person in house.plan.person if person.name != "keeper")
    change(house, person=people)

    assert house.told == ["deputy"]
    assert {waiting.message.person for waiting in house.state.durable.outstanding.values()} == {"deputy"}


def test_an_alarm_of_a_person_who_left_sounds_again() -> None:
    """Who has it is no longer on the list: somebody else must."""
    house = low().tell(AnswerGiven(low().alarm().code, "keeper", "page"))
    assert house.alarm().phase is Phase.ACKNOWLEDGED
    change(house, person=tuple(person for person in house.plan.person if person.name != "keeper"))
    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    assert "deputy" in house.told


def test_an_alarm_taken_off_the_list_ends_with_a_word() -> None:
    """It calls nobody any more, leaves no message behind, and the record says so."""
    house = change(low(), alarm=())

    assert ("tank oxygen low" in house.state.durable.alarms, house.state.durable.outstanding) == (False, {})
    assert "tank oxygen low: removed: taken off the alarm list while it was unacknowledged" in house.notes
    house.wait(60, speaking=LOW)
    assert house.told == []


def test_an_alarm_that_becomes_an_emergency_while_it_sounds_is_called() -> None:
    """It sounded as a note; as an emergency it has steps, and they begin."""
    house = low(make_plan(alarm=(make_entry(response=Response.NOTE),)))
    change(house, alarm=(make_entry(),))

    assert house.told == ["keeper"]


def test_a_list_that_was_empty_calls_when_it_has_steps() -> None:
    """Steps set after the alarm sounded are taken at once."""
    house = low(make_plan(alarm=(make_entry(),), call=()))
    assert house.alarm().next_call_ms == NEVER
    change(house, call=(make_step(0, "porter"),))
    assert house.told == ["porter"]


def test_other_settings_leave_the_calls_as_they_are() -> None:
    """A change of something else neither repeats nor delays a call."""
    house = low().accept()
    before = house.alarm()
    change(house, site=house.plan.site.model_copy(update={"name": "Other Wharf"}))

    assert (house.told, house.alarm()) == ([], before)


def test_people_without_an_address_do_not_stop_the_list() -> None:
    """A step whose people cannot be reached passes to the next on time."""
    people = (make_plan().person[0].model_copy(update={"email": ""}), *make_plan().person[1:])
    house = low(make_plan(alarm=(make_entry(),), person=people))

    assert (house.told, calls(house, 6)) == ([], [(5, "deputy")])


@given(st.lists(st.floats(0, 1440), min_size=1, max_size=5), st.integers(0, 10**9), st.integers(0, 6))
def test_the_next_call_is_always_to_come(afters: list[float], late_ms: int, rung: int) -> None:
    """However late, an unanswered alarm has its next call in the future, and its step in the list."""
    steps = steps_for(Response.EMERGENCY, tuple(make_step(after, "keeper") for after in afters))
    now = START_MS + late_ms
    alarm = Alarm(Phase.UNACKNOWLEDGED, rung=min(rung, len(steps)), ladder_ms=START_MS)
    after, _ = call_next(alarm, steps, CallRules(), Response.EMERGENCY, now)

    assert now < after.next_call_ms <= now + 1440 * MINUTE_MS
    assert after.rung <= len(steps)


@given(st.integers(0, 100), st.integers(0, 3))
def test_hurrying_never_delays(failures: int, rung: int) -> None:
    """A refusal brings the next call nearer or leaves it where it is."""
    steps = (make_step(0, "keeper"), make_step(5, "deputy"))
    alarm = Alarm(Phase.UNACKNOWLEDGED, rung=rung, failures=failures, next_call_ms=START_MS + 5 * MINUTE_MS)
    after = hurry(alarm, steps, START_MS)

    assert START_MS <= after.next_call_ms <= alarm.next_call_ms


@pytest.mark.parametrize("response", Response)
def test_steps_come_in_the_order_of_time(response: Response) -> None:
    """However they are written, steps are taken by their minutes, and only those of the response."""
    steps = steps_for(response, (make_step(9, "a", response=response), make_step(1, "b", response=response)))

    assert [step.after_min for step in steps] == [1, 9]
    others = tuple(make_step(1, other.value, response=other) for other in Response if other is not response)
    # What is due today borrows the steps of the emergency rather than reach nobody.
    borrowed = ["emergency"] if response is Response.TODAY else []
    assert [step.people[0] for step in steps_for(response, others)] == borrowed


def test_an_earlier_step_of_new_settings_is_taken_at_once() -> None:
    """Who comes back on the list while nobody has been called yet is called at once, not when the old list would."""
    late = make_plan(call=(make_step(60, "deputy"),))
    house = House(late).read(tank_oxygen=7.0)
    house.wait(5, speaking=LOW)
    house.tell(SettingsChanged(make_plan(call=(make_step(0, "keeper"), make_step(60, "deputy")))))

    assert house.told == ["keeper"]


def test_new_settings_do_not_bring_a_late_step_forward() -> None:
    """A list whose first step comes after an hour still waits for that hour when other settings change."""
    late = make_plan(call=(make_step(60, "deputy"),))
    house = House(late).read(tank_oxygen=7.0)
    house.wait(5, speaking=LOW)
    house.tell(SettingsChanged(late.model_copy(update={"call_rules": CallRules(repeat_min=7)})))
    assert house.told == []
    house.wait(57, speaking=LOW)

    assert house.told == ["deputy"]
