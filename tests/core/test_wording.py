"""What people are told: every part of a warning is there, and nothing reads as if all were well."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import (
    NOON_UTC_MS,
    OXYGEN,
    START_MS,
    House,
    make_entry,
    make_person,
    make_plan,
    make_sensor,
    make_step,
)

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.own_faults import OWN_FAULTS, with_own_faults
from controller.core.alarms.wording import (
    clock_words,
    describe_fact,
    explain_call,
    how_to_answer,
    local_time,
    write_answered,
    write_call,
    write_over,
)
from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.plan.page import Page
from controller.core.plan.reach import Modem
from controller.core.signals.sense import UNHEARD
from controller.core.units import MINUTE_MS, Quantity
from controller.core.vocabulary import Stamp, Trust

STAMP = Stamp(START_MS + 30 * MINUTE_MS, NOON_UTC_MS + 30 * MINUTE_MS, 60, utc_trusted=True)
PROBE = make_sensor(OXYGEN, Quantity.OXYGEN, "mg/L", place="tank 1")
SENSE = UNHEARD._replace(value=3.214, trust=Trust.GOOD)
ALARM = Alarm(code="4711", occurrence=1, raised_ms=START_MS, raised_utc_ms=NOON_UTC_MS, ladder_ms=START_MS)


def call(alarm: Alarm = ALARM, **changes: Any) -> tuple[str, str]:  # noqa: ANN401 - any key
    """Write the call for the good house's alarm."""
    entry = make_entry(**changes)
    fact = describe_fact(entry, PROBE, SENSE, None)
    return write_call(entry, alarm, fact, sensor=PROBE, site_name="Kestrel Wharf", stamp=STAMP)


def test_a_call_has_every_part_of_a_warning() -> None:
    """Source, hazard, value and limit, place, time left, first action, since when, code (Mileti & Sorensen 1990)."""
    subject, text = call()

    parts = ("DUSKBELL EMERGENCY", "tank oxygen low", "3.21 mg/L", "limit 5", "tank 1, Kestrel Wharf",
             "Harm in about 10 min", "First: Open the oxygen bottle.", "Since 13:00 Sat", "code 4711")  # fmt: skip
    assert [part for part in parts if part not in text] == []
    assert [part for part in ("EMERGENCY", "tank oxygen low", "4711") if part not in subject] == []


def test_the_time_left_counts_down_from_the_time_in_the_alarm_list() -> None:
    """Whoever is called last reads what is left, not what there was; and never less than nothing."""
    young = replace(ALARM, raised_ms=STAMP.house_ms, ladder_ms=STAMP.house_ms)
    old = replace(ALARM, raised_ms=STAMP.house_ms - 60 * MINUTE_MS)

    assert "Harm in about 40 min." in call(young)[1]
    assert "The 40 min until harm are over." in call(old)[1]
    assert "Nobody has answered" not in call(replace(young, turn_of_list=1))[1]


def test_a_call_says_that_nobody_has_answered() -> None:
    """Once the list has gone round, the text says for how long it has."""
    assert "Nobody has answered for 30 min" in call(replace(ALARM, turn_of_list=1))[1]
    assert "Nobody has answered" not in call()[1]


@pytest.mark.parametrize("response", Response)
def test_the_first_words_say_how_urgent_it_is(response: Response) -> None:
    """A phone shows the first words only."""
    assert call(response=response)[1].startswith(f"DUSKBELL {response.value.upper()}: ")


@pytest.mark.parametrize("kind", [kind for kind in Kind if kind is not Kind.FAULT])
@given(value=st.none() | st.floats(-50, 3000), rate=st.floats(-50, 50))
def test_every_fact_can_be_said(kind: Kind, value: float | None, rate: float) -> None:
    """Whatever is known or not, the fact is a sentence without a stray None."""
    entry = make_entry(kind=kind)
    text = describe_fact(entry, PROBE, SENSE._replace(value=value, rate_per_min=rate), None)

    assert text
    assert "None" not in text


def test_unknown_is_said_to_be_no_normal() -> None:
    """A missing reading is told in capitals."""
    entry = make_entry(kind=Kind.MISSING)
    text = describe_fact(
        entry, PROBE, SENSE._replace(trust=Trust.STALE, why="silent for more than 180 s"), None
    )

    assert text == "no reading of tank oxygen (silent for more than 180 s): value UNKNOWN, not normal"


def test_a_fault_is_told_in_its_own_words() -> None:
    """What a part says of itself is the fact."""
    entry = make_entry(kind=Kind.FAULT, sensor="", of=Watched.BROKER)

    assert describe_fact(entry, None, None, "connection refused") == "connection refused"


def test_an_unset_clock_is_said_with_every_time() -> None:
    """A time that may be wrong is marked so."""
    assert clock_words(NOON_UTC_MS, STAMP) == "13:00 Sat"
    assert clock_words(NOON_UTC_MS, STAMP._replace(utc_trusted=False)) == "13:00 Sat (clock not set)"


@pytest.mark.parametrize(
    ("offset_min", "text"), [(0, "12:00"), (60, "13:00"), (330, "17:30"), (-210, "08:30")]
)
def test_times_are_local(offset_min: int, text: str) -> None:
    """Half-hour zones too."""
    assert f"{local_time(NOON_UTC_MS, offset_min):%H:%M}" == text


def test_the_others_learn_who_has_it() -> None:
    """Name, since when, what now, and when it would sound again."""
    alarm = replace(ALARM, answered_by="deputy")
    subject, text = write_answered(make_entry(), alarm, "3.2 mg/L (limit 5)", STAMP)

    assert "deputy" in subject
    assert [
        part for part in ("deputy has it since 13:30", "Now: 3.2 mg/L", "after 30 min") if part not in text
    ] == []


def test_over_says_whether_anybody_had_answered() -> None:
    """Over by itself still asks for the answer."""
    over = write_over(make_entry(), ALARM, "8 mg/L (limit 5)", STAMP)[1]
    answered = write_over(make_entry(), replace(ALARM, answered_by="keeper"), "8 mg/L (limit 5)", STAMP)[1]

    assert "It lasted 30 min. Nobody has answered yet: code 4711." in over
    assert "Answered by keeper." in answered


def test_a_mail_says_how_to_answer_and_to_stay_safe() -> None:
    """Cause, consequence, the command with the code, and a word for the person's own safety."""
    text = explain_call(make_entry(), how_to_answer(ALARM.code))

    parts = (
        "Air pump stopped.",
        "Fish die.",
        "duskbell acknowledge 4711",
        "safety first",
        "reply to this mail is not read",
    )
    assert [part for part in parts if part not in text] == []
    assert "page" not in text
    assert "by text" not in text


def test_a_mail_names_every_way_to_answer_from_where_the_person_is() -> None:
    """By text to the modem's number, on the page at its public address, at the command line."""
    plan = make_plan(
        modem=Modem(device="/dev/modem", number="+447700900999"),
        page=Page(address="https://glass.example.org/"),
        person=(make_person("keeper"),),
        call=(make_step(0, "keeper"),),
        alarm=(make_entry(),),
    )
    house = House(plan).wait(2, speaking={"tank_oxygen": 3.0})
    (mail,) = house.messages
    code = house.alarm().code

    parts = (
        f"by text message: {code} to +447700900999",
        f"on the page: https://glass.example.org/ with code {code}",
        f"duskbell acknowledge {code}",
        "A reply to this mail is not read.",
    )
    assert [part for part in parts if part not in mail.text] == []
    house.wait(5, speaking={"tank_oxygen": 8.0})
    (over,) = [message for message in house.messages if "OVER" in message.text]
    assert [part for part in parts if part not in over.text] == []


def test_no_code_leaves_by_the_broker() -> None:
    """Retained state tells what is wrong, never what answers it."""
    house = House(make_plan(alarm=(make_entry(),))).wait(2, speaking={"tank_oxygen": 3.0})
    documents = [effect.document for effect in house.effects if hasattr(effect, "document")]

    assert any("tank oxygen low" in document for document in documents)
    assert not any(house.alarm().code in document for document in documents)


def test_every_part_of_duskbell_is_watched() -> None:
    """Own faults have an entry each, unless the settings have their own."""
    own = make_entry("my broker", kind=Kind.FAULT, sensor="", of=Watched.BROKER)

    assert {entry.of for entry in OWN_FAULTS} == set(Watched)
    assert {entry.of for entry in with_own_faults((own,), ())} == set(Watched)
    assert [entry.name for entry in with_own_faults((own,), ()) if entry.of is Watched.BROKER] == [
        "my broker"
    ]
