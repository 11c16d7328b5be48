"""Alarms shelved, out of service or hidden by their cause: in company, never for ever, never the cause itself."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import OXYGEN, House, make_doubtful, make_entry, make_missing, make_plan, make_sensor

from controller.core.alarms.lifecycle import ACTIVE, Phase
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.roll import put_causes_first
from controller.core.units import Quantity
from controller.core.vocabulary import AlarmPutBack, AlarmReset, AlarmShelved, AlarmTakenOut, AnswerGiven
from controller.talk import tell_shelf

NAME, CAUSE = "tank oxygen low", "mains lost"
LOW, FINE = {"tank_oxygen": 3.0}, {"tank_oxygen": 8.0}
MAINS = make_sensor("mains", Quantity.SWITCH, "on/off")
PLAN = make_plan(
    sensor=(*make_plan().sensor, MAINS),
    alarm=(
        make_entry(suppressed_by=(CAUSE,)),
        make_missing(),
        make_entry(
            CAUSE, kind=Kind.SWITCH, sensor="mains", limit=None, deadband=0.0, on_delay_s=5.0, off_delay_s=5.0
        ),
    ),
    curtain=(),
)


def dark(minutes: float = 2.0, oxygen: float = 3.0) -> House:
    """Walk to a house without mains in which the oxygen falls."""
    house = House(PLAN).read(mains=1.0, tank_oxygen=8.0).wait(1, speaking={"mains": 1.0, "tank_oxygen": 8.0})
    return house.wait(minutes, speaking={"mains": 0.0, "tank_oxygen": oxygen})


def low() -> House:
    """Walk to an alarm that sounds."""
    return House(make_plan(alarm=(make_entry(), make_doubtful(on_delay_s=86_400.0)))).wait(2, speaking=LOW)


def take_out(
    house: House, person: str = "keeper", second: str = "deputy", instead: str = "portable meter"
) -> House:
    """Ask for the alarm to be taken out of service."""
    return house.tell(AlarmTakenOut(NAME, person, second, instead))


def test_a_shelf_is_told_to_a_second_person() -> None:
    """With name, time and reason; not to the one who did it."""
    house = low().tell(AlarmShelved(NAME, 30, "keeper", "probe is being cleaned"))

    assert house.told == ["deputy"]
    assert "SHELVED: tank oxygen low, by keeper for 30 min: probe is being cleaned" in house.messages[0].text


def test_a_shelf_longer_than_allowed_is_told_as_granted() -> None:
    """Sixty minutes for an emergency, and it says so; what is within bounds needs no word."""
    longer = tell_shelf(NAME, Response.EMERGENCY, 600.0)
    house = low().tell(AlarmShelved(NAME, 600, "keeper", "x"))

    assert longer == f"{NAME} is shelved for 60 min (the longest for an emergency); the shelf ends by itself"
    assert "for 60 min" in house.messages[0].text
    assert "longest" not in tell_shelf(NAME, Response.EMERGENCY, 60.0)


def test_a_shelf_by_somebody_else_is_told_to_the_first_on_the_list() -> None:
    """A name that is not on the list has nobody to leave out."""
    assert low().tell(AlarmShelved(NAME, 30, "visitor", "x")).told == ["keeper"]


@pytest.mark.parametrize(
    ("person", "second", "instead", "why"),
    [
        ("keeper", "keeper", "x", "two different persons"),
        ("keeper", " Keeper ", "x", "two different persons"),
        ("keeper", "", "x", "two different persons"),
        ("keeper", "stranger", "x", "no person 'stranger'"),
        ("keeper", "deputy", "  ", "what stands in its place"),
    ],
)
def test_nobody_takes_an_alarm_out_alone(person: str, second: str, instead: str, why: str) -> None:
    """Two different names, one of them known here, and a replacement; else it goes on calling."""
    house = take_out(low(), person, second, instead)

    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    assert [note for note in house.notes if why in note and "refused" in note]


def test_out_of_service_calls_nobody_until_it_is_put_back() -> None:
    """Still judged, told to the second person and another, and sounding again if it is still wrong."""
    house = take_out(low())
    assert (house.alarm().phase, house.alarm().replacement) == (Phase.OUT_OF_SERVICE, "portable meter")
    assert house.told == ["deputy", "porter"]
    assert "by keeper and deputy. Instead: portable meter" in house.messages[0].text
    house.wait(24 * 60, speaking=LOW)
    assert (house.told, house.alarm().phase) == ([], Phase.OUT_OF_SERVICE)
    house.tell(AlarmShelved(NAME, 5, "keeper", "x")).wait(10, speaking=LOW)
    assert house.alarm().phase is Phase.OUT_OF_SERVICE, "a shelf is no way back"
    house.tell(AlarmPutBack(NAME, "deputy"))
    assert (house.alarm().phase, house.alarm().occurrence, house.alarm().replacement) == (
        Phase.UNACKNOWLEDGED,
        2,
        "",
    )
    assert [message.person for message in house.messages if message.subject.startswith("DUSKBELL EM")] == [
        "keeper"
    ]


def test_put_back_in_order_is_normal() -> None:
    """What is over is over."""
    house = take_out(low()).wait(5, speaking=FINE).tell(AlarmPutBack(NAME, "keeper"))

    assert house.alarm().phase is Phase.NORMAL


def test_out_of_service_outlives_a_restart() -> None:
    """Nobody is called because the power failed."""
    house = take_out(low()).restart(30)
    house.wait(60, speaking=LOW)

    assert (house.alarm().phase, house.alarm().out_by) == (Phase.OUT_OF_SERVICE, "keeper and deputy")


def test_a_shelf_can_be_ended_early() -> None:
    """By a named person, with the alarm sounding at once if it is still wrong."""
    house = (
        low()
        .tell(AlarmShelved(NAME, 60, "keeper", "x"))
        .wait(1, speaking=LOW)
        .tell(AlarmPutBack(NAME, "deputy"))
    )

    assert house.alarm().phase is Phase.UNACKNOWLEDGED


def test_what_is_not_silenced_cannot_be_put_back() -> None:
    """It is said, and nothing changes."""
    house = low().tell(AlarmPutBack(NAME, "keeper"))

    assert "cannot put it back: it is unacknowledged" in house.notes[0]


def test_a_shelf_does_not_end_early_in_a_condition_that_has_just_begun() -> None:
    """At the end of a shelf the on-delay counts as ever: no spike sounds because a shelf ended."""
    house = low().tell(AlarmShelved(NAME, 10, "keeper", "x")).wait(9.7, speaking=FINE)
    house.wait(0.4, speaking=LOW)
    assert house.alarm().phase is Phase.NORMAL
    house.wait(3, speaking=LOW)
    assert house.alarm().phase is Phase.UNACKNOWLEDGED


def test_a_latch_does_not_slip_away_under_a_shelf() -> None:
    """Latched and over, it can be answered and reset, not shelved."""
    house = House(make_plan(alarm=(make_entry(latching=True),))).wait(2, speaking=LOW).wait(3, speaking=FINE)
    assert house.alarm().phase is Phase.LATCHED_UNACKNOWLEDGED
    house.tell(AlarmShelved(NAME, 5, "keeper", "x"))
    assert "cannot shelve it: it is latched unacknowledged" in house.notes[0]
    house.wait(10, speaking=FINE).tell(
        AnswerGiven(house.alarm().code, "keeper", "page"), AlarmReset(NAME, "keeper")
    )
    assert house.alarm().phase is Phase.NORMAL


def test_a_cause_hides_what_follows_from_it() -> None:
    """One call, for the cause, which names what follows; the consequence waits without calling anybody."""
    house = dark()
    assert (house.alarm(CAUSE).phase, house.alarm().phase) == (Phase.UNACKNOWLEDGED, Phase.SUPPRESSED)
    assert {message.thread for message in house.messages} == {f"{CAUSE}/1"}
    house.wait(5, speaking={"mains": 0.0, "tank_oxygen": 3.0})
    assert house.told == ["deputy"]
    assert "Follows from it, not called: tank oxygen low." in house.messages[0].text


def test_an_answer_for_the_cause_keeps_its_consequences_quiet() -> None:
    """Somebody is on the way; two calls for one thing are one too many."""
    house = dark()
    house.tell(AnswerGiven(house.alarm(CAUSE).code, "keeper", "page")).wait(
        29, speaking={"mains": 0.0, "tank_oxygen": 3.0}
    )

    assert (house.alarm(CAUSE).phase, house.alarm().phase, house.told) == (
        Phase.ACKNOWLEDGED,
        Phase.SUPPRESSED,
        [],
    )


def test_a_consequence_sounds_when_its_cause_is_over_and_it_is_not() -> None:
    """The mains is back and the pump is not: a call of its own."""
    house = dark().wait(1, speaking={"mains": 1.0, "tank_oxygen": 3.0})

    assert (house.alarm(CAUSE).phase, house.alarm().phase) == (Phase.RETURNED, Phase.UNACKNOWLEDGED)
    assert f"{NAME}/2" in {message.thread for message in house.messages}


def test_a_consequence_that_is_over_with_its_cause_is_normal() -> None:
    """Nobody hears of it."""
    house = (
        dark()
        .wait(3, speaking={"mains": 0.0, "tank_oxygen": 8.0})
        .wait(1, speaking={"mains": 1.0, "tank_oxygen": 8.0})
    )

    assert house.alarm().phase is Phase.NORMAL


@pytest.mark.parametrize(
    "silence", [AlarmShelved(CAUSE, 60, "keeper", "x"), AlarmTakenOut(CAUSE, "keeper", "deputy", "x")]
)
def test_a_silenced_cause_hides_nothing(silence: AlarmShelved | AlarmTakenOut) -> None:
    """A shelf on the cause must not be a shelf on all that follows."""
    house = dark().tell(silence)

    assert house.alarm().phase is Phase.UNACKNOWLEDGED


def test_an_alarm_that_sounded_first_is_hidden_when_its_cause_comes() -> None:
    """The order in which delays run out does not matter."""
    house = House(PLAN).read(mains=1.0).wait(2, speaking={"mains": 1.0, "tank_oxygen": 3.0})
    assert house.alarm().phase is Phase.UNACKNOWLEDGED
    house.wait(1, speaking={"mains": 0.0, "tank_oxygen": 3.0})
    assert (house.alarm(CAUSE).phase, house.alarm().phase) == (Phase.UNACKNOWLEDGED, Phase.SUPPRESSED)


def test_an_alarm_never_hides_itself() -> None:
    """Not even where settings that nobody has checked say so, alone or in a ring."""
    ring = make_plan(
        alarm=(make_entry("a", suppressed_by=("a", "b")), make_entry("b", limit=4.9, suppressed_by=("a", "c")),
               make_entry("c", limit=4.8, suppressed_by=("b",))),
    )  # fmt: skip
    house = House(ring).wait(2, speaking=LOW)

    assert [name for name in "abc" if house.alarm(name).phase is Phase.UNACKNOWLEDGED]


@given(st.lists(st.lists(st.sampled_from("abcde"), max_size=3), min_size=1, max_size=5))
def test_suppression_never_hides_its_cause(causes: list[list[str]]) -> None:
    """Whatever the list says: while anything is wrong, somebody is being called for something."""
    entries = tuple(
        make_entry("abcde"[index], limit=5.0 - index / 10, suppressed_by=tuple(each))
        for index, each in enumerate(causes)
    )
    house = House(make_plan(alarm=entries, curtain=())).wait(2, speaking=LOW)
    phases = {entry.name: house.alarm(entry.name).phase for entry in entries}

    assert Phase.UNACKNOWLEDGED in phases.values()
    for name, hidden in phases.items():
        if hidden is Phase.SUPPRESSED:
            assert any(phases[cause] in ACTIVE for cause in house.state.roll.causes_of[name])


@given(st.lists(st.lists(st.sampled_from("abcdefgh"), max_size=4), min_size=1, max_size=8))
def test_causes_are_judged_before_what_follows(causes: list[list[str]]) -> None:
    """Sorting loses no entry, and in a list without rings every cause stands first."""
    entries = {
        "abcdefgh"[index]: make_entry(
            "abcdefgh"[index], suppressed_by=tuple(name for name in each if name < "abcdefgh"[index])
        )
        for index, each in enumerate(causes)
    }
    backwards: dict[str, AlarmEntry] = dict(reversed(entries.items()))
    order = list(put_causes_first(backwards))

    assert sorted(order) == sorted(entries)
    for name, entry in entries.items():
        assert all(order.index(cause) < order.index(name) for cause in entry.suppressed_by)


def test_notes_can_be_hidden_too() -> None:
    """A note is written down once its cause is over."""
    note = make_entry("oxygen noted", sensor=OXYGEN, response=Response.NOTE, limit=4.0, suppressed_by=(NAME,))
    house = House(make_plan(alarm=(make_entry(), note))).wait(2, speaking=LOW)

    assert house.alarm("oxygen noted").phase is Phase.SUPPRESSED
