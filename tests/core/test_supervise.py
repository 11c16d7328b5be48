"""The chain proves itself while nothing is wrong: test calls, proofs of paths, the daily digest, the sign of life."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import NOON_UTC_MS, House, gather, make_entry, make_person, make_plan, make_step

from controller.core.alarms.lifecycle import Phase
from controller.core.plan.alarm import Response, Watched
from controller.core.plan.duty import WEEK, Day
from controller.core.plan.people import Way
from controller.core.plan.supervision import Supervision
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS
from controller.core.vocabulary import (
    AnswerGiven,
    MessageDelivered,
    PublishState,
    ReplyReceived,
    SendMessage,
    SettingsChanged,
    TestCallAsked,
)

MONDAY_UTC_MS = NOON_UTC_MS + 2 * DAY_MS - 4 * HOUR_MS
"""2025-06-23 09:00 in London. [ms]"""

RULES = Supervision(digest_time="", heartbeat_min=0.0)
DAILY = RULES.model_copy(update={"digest_time": "10:30", "test_day": Day.FRI})
UNREACHED = "not reached by test"


def house(rules: Supervision = RULES, utc_ms: int = MONDAY_UTC_MS, **changes: Any) -> House:  # noqa: ANN401 - any key
    """Begin a Monday at nine in a house with three people and nothing wrong."""
    words = {"supervision": rules, "curtain": (), "alarm": (), "sensor": ()} | changes
    return House(make_plan(**words), utc_ms=utc_ms)


def codes_of(one: House) -> dict[str, str]:
    """Return the codes of the test calls of the last line, by person."""
    return {
        message.person: message.text.split("Reply ")[1][:4]
        for message in one.messages
        if "TEST" in message.subject
    }


def test_everybody_on_the_list_is_tested_on_the_day_and_at_the_time() -> None:
    """Monday at ten, once, with a code for each, and again a week later."""
    one = house().wait(59)
    assert one.messages == []
    one.wait(2)
    first = codes_of(one)
    assert (sorted(first), len(set(first.values()))) == (["deputy", "keeper", "porter"], 3)
    for person, code in first.items():
        one.tell(AnswerGiven(code, person, "page"))
    one.wait(6 * 24 * 60)
    assert codes_of(one) == {}
    one.wait(24 * 60)
    assert sorted(codes_of(one)) == ["deputy", "keeper", "porter"]


def test_who_does_not_answer_in_time_is_an_alarm_for_today() -> None:
    """It names them, and ends when they answer, however late."""
    one = house().wait(61)
    codes = codes_of(one)
    one.tell(AnswerGiven(codes["keeper"], "keeper", "page"), AnswerGiven(codes["deputy"], "deputy", "page"))
    one.wait(13)
    assert one.alarm(UNREACHED).phase is Phase.NORMAL
    one.wait(3)
    assert (one.alarm(UNREACHED).phase, one.alarm(UNREACHED).detail) == (
        Phase.UNACKNOWLEDGED,
        "no answer from porter",
    )
    assert "porter" in one.messages[0].text
    one.tell(AnswerGiven(codes["porter"], "porter", "page"))
    assert Watched.PEOPLE not in one.state.troubles
    one.wait(1)
    assert one.alarm(UNREACHED).phase is Phase.RETURNED


def test_a_test_code_answers_no_alarm_and_an_alarm_code_no_test() -> None:
    """Codes come from one count, so none stands for two things."""
    one = house(sensor=make_plan().sensor, alarm=(make_entry(),)).wait(61)
    codes = codes_of(one)
    one.wait(2, speaking={"tank_oxygen": 3.0})
    assert one.alarm().code not in codes.values()
    one.tell(AnswerGiven(codes["keeper"], "keeper", "page"))
    assert one.alarm().phase is Phase.UNACKNOWLEDGED
    one.tell(AnswerGiven(one.alarm().code, "keeper", "page"))
    assert len(one.state.durable.chain.tests) == 2


def test_a_reply_by_text_answers_a_test() -> None:
    """The usual way: the phone shows the code, the person sends it back."""
    people = (make_person("keeper").model_copy(update={"phone": "+447700900123"}),)
    steps = (make_step(0, "keeper", ways=(Way.TEXT,)),)
    one = house(person=people, call=steps).wait(61)
    one.tell(ReplyReceived(Way.TEXT, "+447700900123", codes_of(one)["keeper"]))
    thanks = [
        effect.text for effect in one.effects if isinstance(effect, SendMessage) and "thank" in effect.text
    ]
    assert thanks == ["DUSKBELL: thank you keeper: the test call has reached you"]

    assert one.state.durable.chain.tests == ()


def test_a_code_proves_the_way_it_went() -> None:
    """Two ways, two codes; answering one leaves the other unproven."""
    people = (make_person("keeper").model_copy(update={"phone": "+447700900123"}),)
    steps = (make_step(0, "keeper", ways=(Way.EMAIL, Way.TEXT)),)
    one = house(person=people, call=steps).wait(61)
    by_way = {message.way: message.text.split("Reply ")[1][:4] for message in one.messages}
    one.tell(AnswerGiven(by_way[Way.TEXT], "keeper", "page"))
    proven = one.state.durable.chain.proven_ms

    assert proven["keeper by text"] == one.now
    assert proven["keeper by email"] < one.now
    one.wait(20)
    assert Watched.PEOPLE not in one.state.troubles, "one answer is enough to have been reached"


def test_a_delivery_report_proves_a_path() -> None:
    """The network says that it has reached the phone."""
    people = (make_person("keeper").model_copy(update={"phone": "+447700900123"}),)
    one = house(person=people, call=(make_step(0, "keeper", ways=(Way.TEXT,)),)).wait(61)
    one.tell(MessageDelivered(one.messages[0].effect_id))

    assert one.state.durable.chain.proven_ms == {"keeper by text": one.now}


def test_an_unproven_path_is_an_alarm_after_eight_days() -> None:
    """Nobody ever answered: the alarm names every path."""
    one = house(RULES.model_copy(update={"answer_within_min": 240.0}), utc_ms=MONDAY_UTC_MS + DAY_MS)
    one.wait(8 * 24 * 60 - 1)
    assert one.alarm("path not proven").phase is Phase.NORMAL
    one.wait(62)
    assert one.alarm("path not proven").phase is Phase.UNACKNOWLEDGED
    assert (
        one.state.troubles[Watched.PATHS]
        == "not proven for 8 days: deputy by email, keeper by email, porter by email"
    )


def test_proofs_outlive_a_restart() -> None:
    """What was proven before the power failed is still proven, what was doubted still doubted."""
    one = house().wait(61)
    one.tell(AnswerGiven(codes_of(one)["keeper"], "keeper", "page")).wait(20)
    before = one.state.durable.chain
    one.restart(5)

    assert one.state.durable.chain.proven_ms == before.proven_ms
    assert one.state.troubles[Watched.PEOPLE] == "no answer from deputy, porter"


def test_a_week_slept_through_is_made_up_for() -> None:
    """Away over a whole Monday: the test comes at its time on the next day that it can."""
    one = house().wait(61)
    for person, code in codes_of(one).items():
        one.tell(AnswerGiven(code, person, "page"))
    one.restart(8 * 24 * 60 + 60)
    told = codes_of(one)
    assert sorted(told) == ["deputy", "keeper", "porter"]


def test_a_test_can_be_asked_for() -> None:
    """For one person, or for all; not for a stranger."""
    one = house()

    assert sorted(codes_of(one.tell(TestCallAsked("keeper", "porter")))) == ["porter"]
    assert sorted(codes_of(one.tell(TestCallAsked("keeper")))) == ["deputy", "keeper", "porter"]
    assert codes_of(one.tell(TestCallAsked("keeper", "stranger"))) == {}
    assert "nobody known: stranger" in one.notes[0]


def test_who_is_away_is_not_tested() -> None:
    """They would be called unreachable for being on holiday."""
    people = (make_person("keeper").model_copy(update={"away": ("2025-06-23",)}), *make_plan().person[1:])

    assert sorted(codes_of(house(person=people).wait(61))) == ["deputy", "porter"]


def test_the_day_in_five_lines() -> None:
    """At half past seven, once: a headline and five lines, to whoever has the first step of today."""
    one = house(DAILY, sensor=make_plan().sensor, alarm=(make_entry(),))
    one.wait(91, speaking={"tank_oxygen": 8.0, "house_air": 20.0, "outside_air": 15.0, "roof_light": 300.0})
    digests = [message for message in one.messages if message.thread.startswith("digest")]
    assert [message.person for message in digests] == ["keeper"]
    lines = digests[0].text.splitlines()
    assert len(lines) == 6
    assert lines[0] == "all well at Kestrel Wharf, Mon 23 Jun 10:30"
    assert lines[4] == "Sensors: 4 of 4 can be trusted. Not: none."


def test_a_digest_says_when_not_all_is_well() -> None:
    """Its first words are what a phone shows."""
    one = house(DAILY, sensor=make_plan().sensor, alarm=(make_entry(),))
    one.wait(91, speaking={"tank_oxygen": 3.0})
    digest = next(message for message in one.messages if message.thread.startswith("digest"))

    assert digest.subject.startswith("DUSKBELL NOT all well")
    assert "1 emergency," in digest.text
    assert "tank oxygen low" in digest.text


def test_a_digest_comes_once_a_day() -> None:
    """Twenty days, twenty digests, also in the clock's hands of Hypothesis below."""
    one = house(RULES.model_copy(update={"digest_time": "10:30"})).wait(20 * 24 * 60)

    assert sum(message.thread.startswith("digest") for message in one.messages) == 20


def test_the_outside_hears_a_sign_of_life() -> None:
    """Every five minutes as retained state, with when the next is to be expected and no code in it."""
    one = house(RULES.model_copy(update={"heartbeat_min": 5.0})).wait(30)
    beats = [
        json.loads(each.document) for each in gather(one.effects, PublishState) if each.tail == "heartbeat"
    ]

    assert len(beats) == 6
    assert beats[0] == {
        "site": "kestrel",
        "utc_ms": MONDAY_UTC_MS + 5 * MINUTE_MS,
        "next_within_s": 300,
        "open_emergencies": 0,
    }


def test_the_sign_of_life_goes_by_webhook_too() -> None:
    """Signed like any message; where the last has not been taken, no second one waits behind it."""
    address = "https://watcher.example.org/duskbell"
    one = house(RULES.model_copy(update={"heartbeat_min": 5.0, "heartbeat_webhook": address}))
    assert [(message.way, message.address) for message in one.messages] == [(Way.WEBHOOK, address)]
    one.wait(20)
    assert one.messages == []
    one.accept()


def test_a_house_without_supervision_is_left_alone() -> None:
    """No tests, no digest, no beat; and what was doubted is doubted no more once the table is gone."""
    one = house().wait(61).wait(20)
    assert Watched.PEOPLE in one.state.troubles
    one.tell(SettingsChanged(one.state.plan.model_copy(update={"supervision": None})))
    assert Watched.PEOPLE not in one.state.troubles
    one.wait(30 * 24 * 60)
    assert not any("TEST" in message.subject for message in one.messages)


def test_an_unset_clock_makes_no_test_call() -> None:
    """Nobody is woken by a clock that begins in 1970 and passes ten o'clock."""
    one = House(
        make_plan(supervision=RULES, curtain=(), alarm=(), sensor=()), utc_ms=4 * DAY_MS, utc_trusted=False
    )
    one.wait(3 * 24 * 60)

    assert not any("TEST" in message.subject for message in one.messages)


@given(
    st.lists(st.sampled_from([-HOUR_MS, HOUR_MS, 30 * MINUTE_MS, 7 * HOUR_MS, DAY_MS, -DAY_MS]), max_size=8)
)
def test_a_jumping_clock_makes_no_storm(jumps: list[int]) -> None:
    """Each local day has one digest and at most one round of tests, whatever the clock does."""
    one = house(RULES.model_copy(update={"digest_time": "10:30"}))
    sent: list[SendMessage] = []
    for jump in jumps:
        one.utc_ms += jump
        one.wait(30)
        sent += one.messages
    rounds = sum("TEST" in message.subject for message in sent) / 3

    assert rounds <= 1 + sum(jump < 0 for jump in jumps)
    assert sum(message.thread.startswith("digest") for message in sent) <= len(jumps)


@pytest.mark.parametrize("weekday", WEEK)
def test_every_day_of_the_week_can_be_the_day(weekday: Any) -> None:  # noqa: ANN401 - a parameter
    """The first test comes on that day, within a week."""
    one = house(RULES.model_copy(update={"test_day": weekday}))
    for day in range(8):
        if codes_of(one.wait(24 * 60)):
            assert day % 7 == WEEK.index(weekday)
            return
    raise AssertionError("no test within eight days")


def test_today_has_its_paths_too() -> None:
    """Who is only called for today is tested as well."""
    steps = (make_step(0, "keeper"), make_step(0, "porter", response=Response.TODAY))

    assert sorted(codes_of(house(call=steps).wait(61))) == ["keeper", "porter"]


def test_a_test_can_be_asked_for_without_supervision() -> None:
    """It waits for its answer, says who did not give one, and ends with it; no path is doubted."""
    one = House(make_plan(curtain=(), alarm=(), sensor=()), utc_ms=MONDAY_UTC_MS).tell(
        TestCallAsked("keeper", "porter")
    )
    code = codes_of(one)["porter"]
    one.wait(14)
    assert Watched.PEOPLE not in one.state.troubles
    one.wait(2)
    assert one.state.troubles[Watched.PEOPLE] == "no answer from porter"
    one.tell(AnswerGiven(code, "porter", "page"))
    assert one.state.troubles == {}
    assert one.wait(30 * 24 * 60).state.troubles == {}
