"""Whom a call reaches: those on duty, the rested, those who are there; in quiet hours, and when all comes at once."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import NOON_UTC_MS, House, make_entry, make_person, make_plan, make_step

from controller.core.alarms.chain import (
    CALLS_WINDOW_MS,
    FLOOD_WINDOW_MS,
    ONE_CALL_MS,
    Chain,
    count_call,
    count_raise,
    is_tired,
    let_flood_end,
    relieve,
)
from controller.core.alarms.lifecycle import SOUNDING, Phase
from controller.core.alarms.septets import count_septets
from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.plan.duty import WEEK, Day, Duty
from controller.core.plan.people import CallRules, Way
from controller.core.plan.plan import Plan
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS
from controller.core.vocabulary import AnswerGiven, EffectFailed, TroubleSeen

LOW, FINE = {"tank_oxygen": 3.0}, {"tank_oxygen": 8.0}
NIGHT_UTC_MS = NOON_UTC_MS + 10 * HOUR_MS
"""2025-06-21 23:00 in London, a Saturday. [ms]"""

TODAY = make_entry(response=Response.TODAY, time_to_respond_min=12 * 60.0)
QUIET = CallRules(quiet_from="22:00", quiet_to="06:00")
EVERY_DAY = (*WEEK, Day.HOLIDAY)


def plan(**changes: Any) -> Plan:  # noqa: ANN401 - any key
    """Make a house with one alarm for today."""
    return make_plan(**({"alarm": (TODAY,), "curtain": ()} | changes))


def calls(house: House, minutes: int, speaking: dict[str, float] = LOW) -> list[tuple[float, str]]:
    """Let time pass and return (minutes since now, person) of each call."""
    start, told = house.now, []
    for _ in range(minutes):
        house.wait(1, speaking=speaking)
        told += [((house.now - start) / MINUTE_MS, message.person) for message in house.messages]
        house.accept()
    return told


# --- duty -----------------------------------------------------------------------------------------------


def test_todays_call_goes_to_whoever_is_on_duty() -> None:
    """By day one person, from 17:00 on another, whoever stands in the call list."""
    rows = (
        Duty(days=EVERY_DAY, from_time="08:00", until_time="17:00", person="porter"),
        Duty(days=EVERY_DAY, from_time="17:00", until_time="08:00", person="deputy"),
    )
    noon = House(plan(duty=rows)).wait(2, speaking=LOW)
    night = House(plan(duty=rows), utc_ms=NIGHT_UTC_MS).wait(2, speaking=LOW)

    assert (noon.told, night.told) == (["porter"], ["deputy"])


def test_an_emergency_goes_by_the_list_whoever_is_on_duty() -> None:
    """The roster is for what can wait."""
    rows = (Duty(days=EVERY_DAY, from_time="00:00", until_time="24:00", person="porter"),)

    assert House(plan(duty=rows, alarm=(make_entry(),))).wait(2, speaking=LOW).told == ["keeper"]


def test_without_the_time_the_list_stands() -> None:
    """Nobody knows who is on duty before the clock is set, so the list's own people are called."""
    rows = (Duty(days=EVERY_DAY, from_time="00:00", until_time="24:00", person="porter"),)
    house = House(plan(duty=rows), utc_trusted=False).wait(2, speaking=LOW)

    assert house.told == ["keeper"]


def test_who_is_away_is_not_called() -> None:
    """An emergency goes to those who are there, in their order."""
    people = (make_person("keeper").model_copy(update={"away": ("2025-06-20/2025-06-23",)}),
              make_person("deputy"), make_person("porter"))  # fmt: skip
    house = House(plan(alarm=(make_entry(),), person=people)).wait(2, speaking=LOW)
    assert house.told == ["deputy"]
    assert {person for _, person in calls(house.accept(), 60)} == {"deputy", "porter"}


def test_with_everybody_away_everybody_is_called() -> None:
    """A mistake in the calendar must not silence an emergency."""
    people = tuple(
        make_person(name).model_copy(update={"away": ("2025-06-21",)})
        for name in ("keeper", "deputy", "porter")
    )

    assert House(plan(alarm=(make_entry(),), person=people)).wait(2, speaking=LOW).told == ["keeper"]


# --- quiet hours ----------------------------------------------------------------------------------------


def test_what_can_wait_until_morning_wakes_nobody() -> None:
    """Raised at 23:01 with twelve hours until harm: told at 06:00."""
    house = House(plan(call_rules=QUIET), utc_ms=NIGHT_UTC_MS).wait(2, speaking=LOW)
    assert (house.alarm().phase, house.told) == (Phase.UNACKNOWLEDGED, [])

    assert calls(house, 7 * 60 + 5)[0] == (pytest.approx(6 * 60 + 58, abs=1.1), "keeper")


def test_what_cannot_wait_until_morning_does_not() -> None:
    """Seven hours until harm, half an hour of it for the way: 06:00 would be too late."""
    entry = TODAY.model_copy(update={"time_to_respond_min": 7 * 60.0})

    assert House(plan(call_rules=QUIET, alarm=(entry,)), utc_ms=NIGHT_UTC_MS).wait(2, speaking=LOW).told == [
        "keeper"
    ]


def test_an_emergency_knows_no_quiet_hours() -> None:
    """It calls at once, whatever its time until harm."""
    entry = make_entry(time_to_respond_min=20_000.0)

    assert House(plan(call_rules=QUIET, alarm=(entry,)), utc_ms=NIGHT_UTC_MS).wait(2, speaking=LOW).told == [
        "keeper"
    ]


@pytest.mark.parametrize("part", [Watched.MODEM, Watched.MESSAGES, Watched.SIREN])
def test_a_broken_path_to_people_is_told_in_the_night_and_once(part: Watched) -> None:
    """That the night's calls would fail cannot wait for the morning; that it was told can be heard again then."""
    entry = make_entry(
        "way broken", kind=Kind.FAULT, of=part, sensor="", limit=None, deadband=0.0,
        response=Response.TODAY, time_to_respond_min=1440.0, on_delay_s=0.0,
    )  # fmt: skip
    house = House(plan(call_rules=QUIET, alarm=(entry,)), utc_ms=NIGHT_UTC_MS).wait(2)
    house.tell(TroubleSeen(part, "unplugged"))
    assert (house.alarm("way broken").phase, house.told) == (Phase.UNACKNOWLEDGED, ["keeper"])

    later = calls(house.accept(), 7 * 60)
    assert later
    assert later[0][0] > 6 * 60


@pytest.mark.parametrize("part", [Watched.HISTORY, Watched.PATHS])
def test_what_is_no_broken_way_to_people_waits_for_the_morning(part: Watched) -> None:
    """A fault of the history wakes nobody, and neither does a path that has merely not been proven."""
    entry = make_entry(
        "part", kind=Kind.FAULT, of=part, sensor="", limit=None, deadband=0.0,
        response=Response.TODAY, time_to_respond_min=1440.0, on_delay_s=0.0,
    )  # fmt: skip
    house = House(plan(call_rules=QUIET, alarm=(entry,)), utc_ms=NIGHT_UTC_MS).wait(2)

    assert house.tell(TroubleSeen(part, "full")).told == []


def test_without_the_time_there_are_no_quiet_hours() -> None:
    """Who does not know that it is night does not wait for the morning."""
    house = House(plan(call_rules=QUIET), utc_ms=NIGHT_UTC_MS, utc_trusted=False).wait(2, speaking=LOW)

    assert house.told == ["keeper"]


def test_the_end_of_a_small_thing_wakes_nobody() -> None:
    """Told before the quiet hours, over within them: a mail says so, no text message."""
    person = make_person("keeper").model_copy(update={"phone": "+447700900123"})
    steps = (make_step(0, "keeper", response=Response.TODAY, ways=(Way.EMAIL, Way.TEXT)),)
    rules = QUIET.model_copy(update={"repeat_today_min": 1440.0})
    house = House(plan(call_rules=rules, person=(person,), call=steps), utc_ms=NIGHT_UTC_MS - 90 * MINUTE_MS)
    house.wait(2, speaking=LOW)
    assert [message.way for message in house.messages] == [Way.EMAIL, Way.TEXT]
    house.wait(60, speaking=LOW).wait(5, speaking=FINE)
    assert [(message.way, "OVER" in message.text) for message in house.messages] == [(Way.EMAIL, True)]


# --- load -----------------------------------------------------------------------------------------------


def story_of_calls(house: House, times: int) -> list[list[str]]:
    """Let the oxygen fall and recover so many times, forty minutes apart, answered by the first each time."""
    told = []
    for _ in range(times):
        house.wait(2, speaking=LOW)
        told.append(
            [message.person for message in house.messages if message.thread.startswith("tank oxygen low")]
        )
        house.accept().tell(AnswerGiven(house.alarm().code, told[-1][0], "page"))
        house.wait(38, speaking=FINE)
    return told


def test_the_third_call_within_a_night_goes_to_the_next() -> None:
    """Two calls in twelve hours are enough for one person; the record says who was passed over."""
    house = House(plan(alarm=(make_entry(),)))

    assert story_of_calls(house, 4) == [["keeper"], ["keeper"], ["deputy"], ["deputy"]]


def test_when_all_are_tired_all_are_called() -> None:
    """Sleep is worth less than fish: with everybody called often, the list stands as it is."""
    assert story_of_calls(House(plan(alarm=(make_entry(),))), 7)[-1] == ["keeper"]


def test_the_tired_are_on_the_whole_list_still() -> None:
    """Where the rested do not answer, everybody is called."""
    house = House(plan(alarm=(make_entry(),)))
    story_of_calls(house, 2)
    house.wait(2, speaking=LOW)
    assert house.told == ["deputy"]
    assert {person for _, person in calls(house.accept(), 30)} == {"keeper", "deputy", "porter"}


def test_rotation_can_be_switched_off() -> None:
    """With 0 the list is the list."""
    rules = CallRules(calls_most=0)

    assert story_of_calls(House(plan(alarm=(make_entry(),), call_rules=rules)), 4) == [["keeper"]] * 4


def test_alarms_of_one_incident_are_one_call() -> None:
    """Who is up already is not called a second time by what follows within half an hour."""
    chain = count_call(count_call(Chain(), "keeper", 0), "keeper", ONE_CALL_MS - 1)

    assert chain.calls_ms["keeper"] == (0,)
    assert not is_tired(chain, "keeper", ONE_CALL_MS - 1, 1)
    assert is_tired(chain, "keeper", ONE_CALL_MS, 1)
    assert not is_tired(chain, "keeper", CALLS_WINDOW_MS, 1)


@given(
    st.dictionaries(
        st.sampled_from("abcd"), st.lists(st.integers(0, CALLS_WINDOW_MS), max_size=4).map(sorted).map(tuple)
    ),
    st.lists(st.sampled_from("abcd"), min_size=1, max_size=4, unique=True),
)
def test_relief_never_leaves_a_step_empty(calls_ms: dict[str, tuple[int, ...]], people: list[str]) -> None:
    """As many are called as before or as there are, and a tired person only where nobody rested is left."""
    called, swaps = relieve(Chain(calls_ms=calls_ms), people, "abcd", CALLS_WINDOW_MS, 2)

    assert len(called) == len(people)
    assert {tired for tired, _ in swaps} <= set(people)
    rested = [each for each in "abcd" if not is_tired(Chain(calls_ms=calls_ms), each, CALLS_WINDOW_MS, 2)]
    if any(person not in rested for person in called):
        assert set(rested) <= set(called)


# --- the same person again ------------------------------------------------------------------------------


def test_a_step_that_comes_early_does_not_say_the_same_again_by_a_way_that_works() -> None:
    """The keeper's text fails and the keeper stands in for the deputy: the mail that has gone is not sent twice."""
    keeper = make_person("keeper").model_copy(update={"phone": "+447700900123"})
    deputy = make_person("deputy").model_copy(update={"away": ("2025-06-20/2025-06-23",)})
    steps = (
        make_step(0, "keeper", ways=(Way.EMAIL, Way.TEXT)),
        make_step(5, "deputy"),
        make_step(10, "porter"),
    )
    house = House(plan(alarm=(make_entry(),), person=(keeper, deputy, make_person("porter")), call=steps))
    house.wait(2, speaking=LOW)
    mail, text = house.messages
    assert (mail.way, text.way) == (Way.EMAIL, Way.TEXT)
    house.tell(EffectFailed(text.effect_id, "no network"))
    told = list(house.messages)
    house.wait(seconds=1)
    told += house.messages

    assert [message.person for message in told if message.thread == mail.thread] == ["porter"]


def test_a_mail_that_failed_is_tried_again_by_the_next_step() -> None:
    """What has not reached the person is no reason to leave them out."""
    deputy = make_person("deputy").model_copy(update={"away": ("2025-06-20/2025-06-23",)})
    people = (make_person("keeper"), deputy, make_person("porter"))
    house = House(plan(alarm=(make_entry(),), person=people)).wait(2, speaking=LOW)
    house.tell(EffectFailed(house.messages[0].effect_id, "refused"))

    assert "keeper" in [message.person for message in house.messages if "tank oxygen low" in message.thread]


# --- flood ----------------------------------------------------------------------------------------------

MANY = tuple(make_entry(f"tank {number:02d} low", limit=5.0 - number / 100) for number in range(20))
MIXED = tuple(
    entry.model_copy(update={"response": Response.TODAY if index % 2 else Response.EMERGENCY})
    for index, entry in enumerate(MANY)
)
TEXTED = {
    "person": (make_person("keeper").model_copy(update={"phone": "+447700900123"}), *make_plan().person[1:]),
    "call": (
        make_step(0, "keeper", ways=(Way.EMAIL, Way.TEXT)),
        make_step(5, "deputy"),
        make_step(0, "keeper", response=Response.TODAY, ways=(Way.TEXT,)),
    ),
}


def test_a_flood_is_one_message_a_person_and_step() -> None:
    """Twenty alarms at once: one message to the first person, one to the next five minutes later."""
    house = House(plan(alarm=MANY)).wait(2, speaking=LOW)
    assert house.told == ["keeper"]

    assert calls(house.accept(), 10) == [(pytest.approx(5, abs=1.1), "deputy")]


def test_an_emergency_of_a_flood_is_on_its_way_within_five_seconds() -> None:
    """Gathering must not make it late."""
    house = House(plan(alarm=MANY)).read(**LOW)
    house.wait(seconds=30).read(**LOW).wait(seconds=29.9).read(**LOW)
    while house.alarm("tank 00 low").phase is Phase.NORMAL:
        house.wait(seconds=1)
        house.read(**LOW)
    raised = house.alarm("tank 00 low").raised_ms
    while not house.messages:
        house.wait(seconds=1)
    assert house.now - raised <= 5 * SECOND_MS


def test_the_message_of_a_flood_names_emergencies_first_and_fits() -> None:
    """A text message holds the most urgent with codes and says how many are left out; a mail holds all."""
    house = House(plan(alarm=MIXED, **TEXTED)).wait(2, speaking=LOW)
    by_way = {message.way: message.text for message in house.messages}

    assert set(by_way) == {Way.EMAIL, Way.TEXT}
    assert by_way[Way.TEXT].startswith("DUSKBELL EMERGENCY: 20 alarms at once. First tank 00 low ")
    assert count_septets(by_way[Way.TEXT]) <= 160
    assert " more, see the page" in by_way[Way.TEXT]
    order = [by_way[Way.EMAIL].index(f"] {entry.name}:") for entry in MIXED]
    assert max(order[0::2]) < min(order[1::2])
    assert all(house.alarm(entry.name).code in by_way[Way.EMAIL] for entry in MIXED)


def test_the_cause_comes_first_in_a_flood() -> None:
    """What the others follow from is what to see to."""
    cause = make_entry("mains lost", limit=4.0, time_to_respond_min=90.0)
    others = tuple(entry.model_copy(update={"suppressed_by": ()}) for entry in MANY)
    follower = make_entry("pump off", limit=4.2, suppressed_by=("mains lost",))
    house = House(plan(alarm=(*others, follower, cause))).wait(2, speaking=LOW)

    assert "First mains lost " in house.messages[0].text
    assert "pump off" not in house.messages[0].text


def test_each_alarm_of_a_flood_wants_its_own_answer() -> None:
    """One code answers one alarm; the others go on calling."""
    house = House(plan(alarm=MANY)).wait(2, speaking=LOW).accept()
    house.tell(AnswerGiven(house.alarm("tank 03 low").code, "keeper", "page"))
    assert house.alarm("tank 03 low").phase is Phase.ACKNOWLEDGED
    house.wait(5, speaking=LOW)
    assert house.told == ["deputy"]
    assert house.alarm("tank 03 low").code not in house.messages[0].text


def test_a_flood_message_that_fails_moves_all_of_them_on() -> None:
    """The next person is told of all that sounds, at once."""
    house = House(plan(alarm=MANY)).wait(2, speaking=LOW)
    house.tell(EffectFailed(house.messages[0].effect_id, "no route"))
    told = [message for message in house.messages if message.person == "deputy"]

    assert len(told) == 1
    assert all(house.alarm(entry.name).code in told[0].text for entry in MANY)


def test_a_flood_ends() -> None:
    """Ten quiet minutes later each alarm is told alone again."""
    house = House(plan(alarm=MANY, call_rules=CallRules(repeat_min=5.0))).wait(2, speaking=LOW)
    assert house.state.durable.chain.flood
    house.tell(*(AnswerGiven(house.alarm(entry.name).code, "keeper", "page") for entry in MANY[:-1]))
    house.wait(12, speaking=LOW)
    assert not house.state.durable.chain.flood


@given(st.lists(st.integers(0, 120 * SECOND_MS), max_size=60), st.integers(3, 20))
def test_more_than_so_many_in_ten_minutes_is_a_flood(gaps: list[int], most: int) -> None:
    """Counted by hand in the same way: above `most` within the window it begins, below five it ends."""
    chain, now, times = Chain(), 0, list[int]()
    for gap in gaps:
        now += gap
        times.append(now)
        chain = count_raise(let_flood_end(chain, now), now, most)
        if sum(now - at < FLOOD_WINDOW_MS for at in times) > most:
            assert chain.flood
    assert not let_flood_end(chain, now + FLOOD_WINDOW_MS).flood


def test_alarms_that_join_a_flood_one_by_one_are_gathered() -> None:
    """Twelve alarms a second apart: three alone, then one message of all there are, and soon one of the rest."""
    row = tuple(make_entry(f"tank {number:02d} low", on_delay_s=60.0 + number) for number in range(12))
    house = House(plan(alarm=row, call_rules=CallRules(flood_alarms=3), call=(make_step(0, "keeper"),)))
    sent: list[tuple[int, str]] = []
    for _ in range(120):
        house.read(**LOW)
        sent += [(house.now, message.text) for message in house.messages]
        house.wait(seconds=1)
        sent += [(house.now, message.text) for message in house.messages]
        house.accept()
    floods = [(at, text) for at, text in sent if "alarms at once" in text]

    assert len(sent) - len(floods) == 3
    assert len(floods) == 2
    (first_ms, first), (second_ms, second) = floods
    assert first_ms - house.alarm("tank 03 low").raised_ms <= 5 * SECOND_MS
    assert second_ms - first_ms <= 16 * SECOND_MS
    assert first.count("tank 0") < second.count("tank 0")
    for entry in row:
        alarm = house.alarm(entry.name)
        assert alarm.code in second
        assert alarm.rung > 0, "what a message lists has been called"
        assert alarm.called_ms - alarm.raised_ms <= 15 * SECOND_MS


def test_what_can_wait_joins_a_flood_s_message_once_a_minute_at_most() -> None:
    """Alarms for today that come every ten seconds are gathered, and none is dropped."""
    row = tuple(
        TODAY.model_copy(update={"name": f"tank {number:02d} low", "on_delay_s": 60.0 + 10 * number})
        for number in range(30)
    )
    house = House(plan(alarm=row, call_rules=CallRules(flood_alarms=3)))
    sent: list[int] = []
    for _ in range(90):
        house.read(**LOW)
        assert not house.messages
        house.wait(seconds=5)
        sent += [house.now for message in house.messages if "alarms at once" in message.text]
        house.accept()

    assert len(sent) >= 2
    assert all(later - earlier >= MINUTE_MS for earlier, later in pairwise(sent))
    assert all(house.alarm(entry.name).rung > 0 or house.now - house.alarm(entry.name).raised_ms
               < 2 * MINUTE_MS for entry in row)  # fmt: skip


@given(st.lists(st.tuples(st.integers(0, 19), st.booleans()), max_size=12), st.booleans())
def test_no_alarm_of_a_flood_is_forgotten(story: list[tuple[int, bool]], accepted: bool) -> None:  # noqa: FBT001
    """Answered or not, in whatever order: every alarm is answered or has a call to come."""
    house = House(plan(alarm=MIXED)).wait(2, speaking=LOW)
    for number, answered in story:
        if answered:
            house.tell(AnswerGiven(house.alarm(MIXED[number].name).code, "keeper", "page"))
        elif accepted:
            house.accept()
        house.wait(number / 4, speaking=LOW)
    for entry in MIXED:
        alarm = house.alarm(entry.name)
        assert alarm.phase is Phase.ACKNOWLEDGED or (
            alarm.phase in SOUNDING and house.now < alarm.next_call_ms <= house.now + 2 * HOUR_MS
        )
