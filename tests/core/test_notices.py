"""What is told besides a call fits one text message each, and is cut in its free text alone."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from makers import NOON_UTC_MS, START_MS, House, make_entry, make_plan, make_step

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.notices import (
    longest_notices,
    longest_of_the_house,
    short_answered,
    short_back,
    short_out,
    short_over,
    short_restarted,
    short_shelved,
)
from controller.core.alarms.own_faults import OWN_FAULTS
from controller.core.alarms.septets import ONE_MESSAGE, count_septets
from controller.core.alarms.wording import span_words
from controller.core.plan.people import Person, Way
from controller.core.plan.phrases import ENGLISH
from controller.core.plan.plan import Plan
from controller.core.vocabulary import AlarmPutBack, AlarmShelved, AlarmTakenOut, AnswerGiven, Stamp
from controller.settings.files import check_lengths

STAMP = Stamp(START_MS, NOON_UTC_MS, 60, utc_trusted=False)
NAME, WHO, SECOND = "n" * 40, "p" * 20, "q" * 20
ENTRY = make_entry(NAME, action="Add air")
ALARM = Alarm(code="4821", occurrence=1, raised_ms=START_MS, raised_utc_ms=NOON_UTC_MS, answered_by=WHO)
LONG = st.text(max_size=400)


@given(LONG, st.floats(0.0, 500_000.0))
def test_every_notice_fits_and_keeps_all_but_its_free_text(free: str, minutes: float) -> None:
    """With the longest names, a clock that is not set and any free text: one message, names and code whole."""
    notices = {
        "answered": (short_answered(ENTRY, ALARM, free, STAMP), (NAME, "4821", WHO)),
        "over": (short_over(ENTRY, ALARM, free, minutes, STAMP), (NAME, "4821", WHO)),
        "over, unanswered": (
            short_over(ENTRY, replace(ALARM, answered_by=""), free, minutes, STAMP),
            (NAME, "code 4821"),
        ),
        "shelved": (short_shelved(NAME, WHO, minutes, free), (NAME, WHO, span_words(minutes))),
        "out": (short_out(NAME, WHO, SECOND, free), (NAME, WHO, SECOND)),
        "back": (short_back(NAME, WHO), (NAME, WHO)),
    }
    for text, parts in notices.values():
        assert count_septets(text) <= ONE_MESSAGE
        assert [part for part in parts if part not in text] == []


@given(st.lists(st.text("abc ", min_size=1, max_size=45), max_size=30), st.none() | st.floats(0.0, 500_000.0))
def test_a_restart_names_whole_alarms_and_counts_the_rest(names: list[str], away: float | None) -> None:
    """As many as fit; a code is never cut in two."""
    text = short_restarted(away, names, STAMP)

    assert count_septets(text) <= ONE_MESSAGE
    listed = next(count for count in range(len(names), -1, -1) if ", ".join(names[:count]) in text)
    assert listed == len(names) or f"and {len(names) - listed} more" in text


def test_what_the_check_measures_is_never_exceeded_in_english() -> None:
    """Duskbell's own faults, the longest name there may be, and what is about no alarm."""
    for entry in (*OWN_FAULTS, ENTRY):
        assert max(longest_notices(entry, [WHO]).values()) <= ONE_MESSAGE
    assert max(longest_of_the_house().values()) <= ONE_MESSAGE


def plan_by_text(**changes: str) -> Plan:
    """Make a house that is told by text, with some phrases changed."""
    people = tuple(
        Person(name=name, phone=f"+4477009001{number}") for number, name in enumerate((WHO, SECOND), 20)
    )
    return make_plan(
        person=people,
        call=(make_step(0, WHO, SECOND, ways=(Way.TEXT,)),),
        alarm=(ENTRY,),
    ).with_phrases(ENGLISH.model_copy(update=changes))


def test_a_phrase_that_would_not_fit_is_refused_by_the_check() -> None:
    """Each notice is measured with the longest name; the fault names the phrase."""
    assert list(check_lengths(plan_by_text())) == []
    for key in (
        "short_answered",
        "short_over",
        "short_shelved",
        "short_out",
        "back",
        "short_restarted",
        "test",
    ):
        found = [
            fault.text
            for fault in check_lengths(plan_by_text(**{key: getattr(ENGLISH, key) + " " + "y" * 90}))
        ]
        assert found
        assert all(f"`{key}`" in text for text in found)


def test_no_text_message_of_a_house_is_longer_than_one() -> None:
    """Call, answer, shelf, out of service, back and restart, with long names and long words."""
    house = House(plan_by_text()).wait(2, speaking={"tank_oxygen": 3.0})
    sent = list(house.messages)
    house.tell(AlarmTakenOut(NAME, WHO, SECOND, "r" * 300))
    sent += house.messages
    house.tell(AlarmPutBack(NAME, WHO))
    sent += house.messages
    house.tell(AlarmShelved(NAME, 30, WHO, "w" * 300))
    sent += house.messages
    house.tell(AlarmPutBack(NAME, WHO)).wait(3, speaking={"tank_oxygen": 3.0})
    sent += house.messages
    house.restart(30)
    sent += house.messages
    house.tell(AnswerGiven(house.alarm(NAME).code, WHO, "text"))
    sent += house.messages

    heads = ("EMERGENCY", "OUT OF SERVICE", "BACK IN SERVICE", "SHELVED", "SYSTEM", "ANSWERED")
    assert [head for head in heads if not any(head in message.text for message in sent)] == []
    assert max(count_septets(message.text) for message in sent) <= ONE_MESSAGE
