"""A call as one text message: every part in it, never longer than one, and known beforehand how long it can get."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import NOON_UTC_MS, OXYGEN, START_MS, make_entry, make_sensor

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.lifecycle import Phase
from controller.core.alarms.notices import write_test
from controller.core.alarms.own_faults import OWN_FAULTS
from controller.core.alarms.septets import ONE_MESSAGE, count_septets, cut_message
from controller.core.alarms.short import (
    Listed,
    longest_short,
    write_flood,
    write_short,
)
from controller.core.alarms.wording import describe_fact, write_number
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.sensor_defaults import possible_range
from controller.core.signals.sense import UNHEARD
from controller.core.units import MINUTE_MS, Quantity
from controller.core.vocabulary import Stamp, Trust

STAMP = Stamp(START_MS + 10 * MINUTE_MS, NOON_UTC_MS + 10 * MINUTE_MS, 60, utc_trusted=True)
PROBE = make_sensor(OXYGEN, Quantity.OXYGEN, "mg/L", place="tank 1")
SENSE = UNHEARD._replace(value=3.126, trust=Trust.GOOD)
ALARM = Alarm(code="4821", occurrence=1, raised_ms=START_MS, raised_utc_ms=NOON_UTC_MS, ladder_ms=START_MS)
KINDS = [kind for kind in Kind if kind is not Kind.FAULT]


def short(
    entry: AlarmEntry, alarm: Alarm = ALARM, *, value: float | None = 3.126, stamp: Stamp = STAMP
) -> str:
    """Write the text message of an entry on the probe."""
    sense = SENSE._replace(value=value)
    return write_short(entry, alarm, sensor=PROBE, sense=sense, trouble=None, stamp=stamp)


def test_a_text_message_has_every_part_of_a_warning() -> None:
    """Source, hazard, value and limit, place, since, time left, action, code (Mileti & Sorensen 1990, ORNL-6609)."""
    assert short(make_entry()) == (
        "DUSKBELL EMERGENCY: tank oxygen low 3.13 mg/L (limit 5), tank 1, since 13:00 Sat. 30 min left. "
        "Open the oxygen bottle. Reply 4821"
    )


@pytest.mark.parametrize(
    ("name", "kind", "words"),
    [
        ("oxygen doubtful", Kind.DOUBTFUL, "EMERGENCY: tank oxygen cannot be trusted, tank 1"),
        ("Air pump off", Kind.SWITCH, "EMERGENCY: tank oxygen is off, tank 1"),
    ],
)
def test_what_is_said_of_a_sensor_names_the_sensor(name: str, kind: Kind, words: str) -> None:
    """Not "oxygen doubtful cannot be trusted"; what is over is the alarm, by its name."""
    entry = make_entry(name, kind=kind)

    assert words in short(entry, value=0.0)
    assert f"EMERGENCY: {name} OVER" in short(entry, replace(ALARM, phase=Phase.RETURNED), value=0.0)


@pytest.mark.parametrize("value", [3.1, 3.0, 0.0602, 31.26, 312.6, 1234.0])
def test_mail_and_text_say_the_same_digits(value: float) -> None:
    """One value is one number, however it is sent."""
    fact = describe_fact(make_entry(), PROBE, SENSE._replace(value=value), None)

    assert f" {fact}, tank 1" in short(make_entry(), value=value)


def test_the_place_is_not_said_twice() -> None:
    """A name that holds the place says it."""
    assert "tank 1, since" not in short(make_entry("Tank 1 oxygen low"))


def test_a_lapsed_answer_is_said() -> None:
    """It is STILL low."""
    assert "tank oxygen low STILL 3.13" in short(make_entry(), replace(ALARM, lapsed_by="keeper"))


@pytest.mark.parametrize(
    ("minutes", "words"), [(40.0, "30 min left"), (10.5, "Harm NOW"), (5.0, "Harm NOW"), (600.0, "9 h left")]
)
def test_the_time_left_is_counted_from_the_alarm(minutes: float, words: str) -> None:
    """Ten minutes have passed since it sounded."""
    assert words in short(make_entry(time_to_respond_min=minutes))


def test_a_clock_that_is_not_set_is_marked() -> None:
    """A time that may be wrong has a question mark."""
    assert "since 13:00?" in short(make_entry(), stamp=STAMP._replace(utc_trusted=False))


def test_unknown_is_never_a_number() -> None:
    """A silent sensor is UNKNOWN, whatever it said last."""
    text = short(make_entry(kind=Kind.MISSING))

    assert "UNKNOWN, no reading" in text
    assert "3.1" not in text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0254, "0.0254"),
        (3.126, "3.13"),
        (31.26, "31.3"),
        (312.6, "313"),
        (-0.5, "-0.5"),
        (0.0, "0"),
        (3.1, "3.1"),
        (1312.6, "1313"),
        (-0.00001, "0"),
        (100.0, "100"),
        (9.999, "10"),
    ],
)
def test_numbers_have_three_figures(value: float, text: str) -> None:
    """Never an exponent, which nobody reads at night."""
    assert write_number(value) == text


ENTRIES = st.builds(
    make_entry,
    st.text("Tank oxygen low", min_size=1, max_size=40),
    kind=st.sampled_from(KINDS),
    limit=st.floats(0.01, 19.99).map(lambda limit: round(limit, 2)),
    action=st.text("Start spare air ", min_size=1, max_size=60),
    response=st.sampled_from(Response),
    time_to_respond_min=st.floats(0.5, 20160),
)


@given(ENTRIES, st.none() | st.floats(*possible_range(PROBE)), st.floats(-99.99, 99.99), st.integers(0, 10**8),
       st.booleans(), st.booleans())  # fmt: skip
def test_no_message_is_longer_than_the_longest(
    entry: AlarmEntry,
    value: float | None,
    rate: float,
    later_ms: int,
    trusted: bool,  # noqa: FBT001
    lapsed: bool,  # noqa: FBT001
) -> None:
    """What the check reckons is never exceeded, whatever the sensor says and however late it is."""
    sense = SENSE._replace(value=value, rate_per_min=rate)
    stamp = Stamp(STAMP.house_ms + later_ms, STAMP.utc_ms + later_ms, 60, trusted)
    alarm = replace(ALARM, lapsed_by="keeper" if lapsed else "")
    text = write_short(entry, alarm, sensor=PROBE, sense=sense, trouble=None, stamp=stamp)

    assert count_septets(text) <= max(longest_short(entry, PROBE), 0)


@given(st.text("refused by the server: 550 {no such user} €", max_size=300))
def test_the_words_of_a_fault_are_cut_to_fit(trouble: str) -> None:
    """Hazard, action and code of every fault of Duskbell's own stay whole in one message."""
    for entry in OWN_FAULTS:
        text = write_short(entry, ALARM, sensor=None, sense=None, trouble=trouble, stamp=STAMP)
        assert count_septets(text) <= ONE_MESSAGE
        assert longest_short(entry, None) <= ONE_MESSAGE
        assert [part for part in (entry.name, entry.action.rstrip("."), "4821") if part not in text] == []


NAMES = st.lists(
    st.builds(Listed, st.text("Tank 1 oxygen low", min_size=1, max_size=40), st.integers(1000, 9999).map(str),
              st.text("Go and look", max_size=60)), min_size=1, max_size=30)  # fmt: skip


@given(NAMES, st.sampled_from([ONE_MESSAGE, 1500]))
def test_a_flood_fits_and_counts(alarms: list[Listed], most: int) -> None:
    """The first with its action is whole; of the others as many as fit, and the rest are counted."""
    text = write_flood(Response.EMERGENCY, alarms, septets_most=most)
    bare = write_flood(Response.EMERGENCY, [alarms[0], *alarms[1:]], septets_most=0)

    assert count_septets(text) <= max(most, count_septets(bare))
    assert alarms[0].code in text
    assert f"{len(alarms)} alarms at once" in text
    listed = sum(f"{each.name} {each.code}" in text for each in alarms[1:])
    assert "see the page" in text or listed == len(alarms) - 1


def test_a_test_says_that_there_is_no_danger() -> None:
    """In its first words, with the code and until when."""
    subject, text = write_test("3210", 15.0, STAMP)

    assert text.startswith("DUSKBELL TEST (no danger): call test Sat 13:10. Reply 3210 within 15 min")
    assert "3210" in subject
    assert count_septets(text) <= ONE_MESSAGE


@given(st.text(max_size=400))
def test_a_text_is_cut_to_one_message(text: str) -> None:
    """What fits stays as it is; what does not ends in dots."""
    cut = cut_message(text)

    assert count_septets(cut) <= ONE_MESSAGE
    assert cut == text or cut.endswith("...")
