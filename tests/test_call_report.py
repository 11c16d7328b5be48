"""What the calls came to: counted from stories of a house whose calls were counted by hand."""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent / "core"))

from makers import NOON_UTC_MS, House, make_entry, make_plan

from controller.call_report import (
    CallReport,
    EntryReport,
    describe_report,
    find_night,
    is_call,
    report_calls,
    write_report,
)
from controller.core.plan.alarm import AlarmEntry, Response
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.units import DAY_MS, HOUR_MS
from controller.core.vocabulary import AlarmShelved, AnswerGiven, Ledger, Note
from controller.edges.journal_schema import NoteLine

LONDON = ZoneInfo("Europe/London")
LOW, FINE = {"tank_oxygen": 3.0}, {"tank_oxygen": 8.0}
NAME = "tank oxygen low"


class Diary:
    """A house whose notes are kept, as the record keeps them."""

    def __init__(self, utc_ms: int = NOON_UTC_MS, **changes: Any) -> None:  # noqa: ANN401 - any key
        self.entry = make_entry(**changes)
        self.house = House(make_plan(alarm=(self.entry,), curtain=()), utc_ms=utc_ms)
        self.begin = utc_ms
        self.lines: list[NoteLine] = []

    def wait(self, minutes: float, speaking: dict[str, float]) -> Diary:
        """Let time pass by half minutes, so that each note has its instant."""
        for _ in range(round(minutes * 2)):
            self.house.wait(0.5, speaking=speaking)
            self.keep()
            self.house.accept()
        return self

    def keep(self) -> Diary:
        """Keep the notes of the last line."""
        house = self.house
        self.lines += [
            NoteLine(house.utc_ms, house.now, note.ledger, note.subject, note.rule, note.text, note.value)
            for note in house.effects
            if isinstance(note, Note) and note.ledger in {Ledger.ALARM, Ledger.CALL}
        ]
        return self

    def answer(self, person: str = "keeper") -> Diary:
        """Let a person answer."""
        self.house.tell(AnswerGiven(self.house.alarm().code, person, "page"))
        return self.keep()

    def shelve(self) -> Diary:
        """Let a person shelve it."""
        self.house.tell(AlarmShelved(NAME, 30, "keeper", "again"))
        return self.keep()

    def report(self) -> CallReport:
        """Report the whole story."""
        return report_calls(
            self.lines,
            {NAME: self.entry},
            from_utc_ms=self.begin,
            to_utc_ms=max(self.house.utc_ms, self.begin + 1),
            zone=LONDON,
            phrases=ENGLISH,
        )


def worst(report: CallReport) -> EntryReport:
    """Return the one entry of the worst."""
    (one,) = report.worst
    return one


def test_a_good_alarm_calls_for_no_change() -> None:
    """Called, answered in three minutes, over: one call, nothing to mend."""
    report = Diary().wait(3, LOW).wait(2, LOW).answer().wait(30, FINE).report()

    assert (report.calls, report.never_acted_on, report.fleeting, report.nights_broken, report.worst) == (
        1,
        0,
        0,
        0,
        (),
    )
    assert report.answered_within_min == pytest.approx(3.5, abs=1)
    assert report.calls_by_person == {"keeper": 1}
    assert report.others == {NAME: 1}, "no call is counted and not named"
    assert (
        write_report(report).splitlines()[-1] == f"Other calls, about which nothing is to be said: {NAME} 1"
    )


def test_an_alarm_over_before_anybody_came_is_counted() -> None:
    """Three minutes low, then fine by itself, answered by nobody: fleeting, with the delay that would spare it."""
    report = Diary().wait(3, LOW).wait(40, FINE).report()
    one = worst(report)

    assert (report.calls, one.never_acted_on, one.fleeting) == (1, 1, 1)
    assert one.setting == "on_delay_s"
    assert "`on_delay_s = " in one.advice


def test_the_proposed_delay_does_spare_it() -> None:
    """The same story with the proposed delay calls nobody."""
    advice = worst(Diary().wait(3, LOW).wait(40, FINE).report()).advice
    delay_s = float(advice.split("on_delay_s = ")[1].split("`")[0])

    assert Diary(on_delay_s=delay_s).wait(3, LOW).wait(40, FINE).report().calls == 0


def test_no_delay_is_proposed_where_there_is_no_time_for_it() -> None:
    """Half of the time to respond belongs to people."""
    assert worst(Diary(time_to_respond_min=3.0).wait(3, LOW).wait(40, FINE).report()).setting == "limit"


def test_trembling_asks_for_a_deadband() -> None:
    """Three times within an hour."""
    diary = Diary()
    for _ in range(4):
        diary.wait(3, LOW).wait(6, FINE)
    report = diary.report()

    assert report.chattering == (NAME,)
    assert worst(report).setting == "deadband"


def test_a_day_without_an_end_is_stale() -> None:
    """Answered and still wrong a day later."""
    diary = Diary(sound_again_min=10_080.0).wait(3, LOW).answer()
    diary.house.utc_ms += DAY_MS
    report = diary.report()

    assert (report.stale, worst(report).setting) == (1, "limit")


def test_shelving_and_lapsing_are_counted() -> None:
    """Each with the setting to look at."""
    shelved = Diary().wait(3, LOW).answer().shelve().wait(20, FINE).report()
    lapsed = (
        Diary(sound_again_min=5.0).wait(3, LOW).answer().wait(6, LOW).answer().wait(6, FINE).shelve().report()
    )

    assert (shelved.shelved, worst(shelved).setting) == (1, "limit")
    assert worst(lapsed).lapsed == 1


def test_a_night_is_broken_once_however_often_it_rings() -> None:
    """From 23:00 on, ten calls: one night."""
    night = NOON_UTC_MS + 10 * HOUR_MS
    report = Diary(utc_ms=night).wait(30, LOW).report()

    assert report.calls_by_person["keeper"] >= 2
    assert (report.calls, report.nights_broken) == (1, 1)
    assert Diary().wait(30, LOW).report().nights_broken == 0


@pytest.mark.parametrize(
    ("local", "night"),
    [
        ("2026-06-15T22:00", "2026-06-15"), ("2026-06-15T21:59", ""), ("2026-06-16T05:59", "2026-06-15"),
        ("2026-06-16T06:00", ""), ("2026-03-29T02:30", "2026-03-28"), ("2026-10-25T01:30", "2026-10-24"),
    ],
)  # fmt: skip
def test_nights_are_local(local: str, night: str) -> None:
    """22:00 until before 06:00 by the clock on the wall, also when the clocks change."""
    at = datetime.fromisoformat(local).replace(tzinfo=LONDON).astimezone(UTC)

    assert find_night(round(at.timestamp() * 1000), LONDON) == night


def test_what_asks_nothing_is_no_call() -> None:
    """Who has it, and that it is over, is no call; in another language neither."""
    german = Phrases(emergency="NOTFALL")

    assert is_call("to keeper by email: DUSKBELL EMERGENCY: x", ENGLISH)
    assert is_call("to keeper by text: DUSKBELL TODAY: x", ENGLISH)
    assert not is_call("to keeper by email: DUSKBELL OVER: x", ENGLISH)
    assert not is_call("to keeper by email: DUSKBELL ANSWERED: x", ENGLISH)
    assert is_call("to keeper by email: DUSKBELL NOTFALL: x", german)


def test_the_report_reads_and_has_stable_keys() -> None:
    """Words for people, JSON for machines."""
    report = Diary().wait(3, LOW).wait(40, FINE).report()
    text = write_report(report)
    document = json.loads(json.dumps(describe_report(report)))

    assert "Calls in 0 days: 1" in text
    assert " 1. tank oxygen low: 1 call, 1 never acted on, 1 fleeting" in text
    assert {
        "calls",
        "calls_per_week",
        "nights_broken",
        "never_acted_on",
        "chattering",
        "worst",
    } <= document.keys()
    assert "No entry calls for a change." in write_report(report_calls(
        [], {}, from_utc_ms=0, to_utc_ms=DAY_MS, zone=LONDON, phrases=ENGLISH))  # fmt: skip


NOTES = st.lists(
    st.builds(
        NoteLine,
        st.integers(0, 10**12),
        st.just(0),
        st.sampled_from([Ledger.ALARM, Ledger.CALL]),
        st.sampled_from(["a", "b"]),
        st.sampled_from(["queued", "answered", "shelved", "unacknowledged"]),
        st.sampled_from(["has lasted long enough to sound: x [1234]", "has been over for long enough: x [1234]",
                         "has lasted long enough to sound: x [4321]", "was answered and is still wrong: x [1234]",
                         "to keeper by email: DUSKBELL EMERGENCY: x", "[]", ""]),
        st.none(),
    ),
    max_size=30,
)  # fmt: skip


@given(NOTES, st.booleans())
def test_any_record_can_be_reported(notes: list[NoteLine], known: bool) -> None:  # noqa: FBT001
    """Whatever stands in it, the report is made and no part is larger than the whole."""
    entries: dict[str, AlarmEntry] = (
        {name: make_entry(name, response=Response.TODAY) for name in "ab"} if known else {}
    )
    notes.sort(key=lambda line: line.utc_ms)
    report = report_calls(notes, entries, from_utc_ms=0, to_utc_ms=10**12, zone=LONDON, phrases=ENGLISH)

    assert 0 <= report.never_acted_on <= report.calls
    assert report.nights_broken <= sum(report.calls_by_person.values())
    assert write_report(report)
