"""Values that people enter: kept as nitrogen, corrected without losing the old one, reminded of, and forgotten."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import House, gather, make_entry
from waters import ALKALINITY, AMMONIA, PH, UNIONISED, WARMTH, make_tank_plan

from controller.core.alarms.lifecycle import Phase
from controller.core.enter import EntryRefused, check_entry, find_age_ms
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.remember import pack, unpack
from controller.core.roll import call_roll
from controller.core.state import Entry
from controller.core.step import first_state
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, Basis
from controller.core.vocabulary import Ledger, Note, Stamp, Started, Trust, ValueEntered, Woken
from controller.water_report import describe_waters


def due_entry(**changes: Any) -> AlarmEntry:  # noqa: ANN401 - any key
    """Make the reminder of the ammonia test."""
    words: dict[str, Any] = {
        "name": "ammonia test due", "kind": Kind.DUE, "sensor": AMMONIA, "limit": None, "deadband": 0.0,
        "response": Response.TODAY, "on_delay_s": 0.0, "off_delay_s": 0.0,
    }  # fmt: skip
    return make_entry(**(words | changes))


def begin(*entries: AlarmEntry) -> House:
    """Begin a house with a tank at noon."""
    return House(make_tank_plan(*entries))


def enter(house: House, value: float, **words: Any) -> House:  # noqa: ANN401 - any word of the event
    """Let the keeper enter total ammonia as nitrogen."""
    return house.tell(
        ValueEntered(
            **({"sensor": AMMONIA, "value": value, "person": "keeper", "basis": Basis.NITROGEN} | words)
        )
    )


def hear(house: House) -> House:
    """Let the tank's pH and temperature speak: 5.02 % of ammonia is un-ionised at pH 8.0 and 24 C."""
    return house.tell(_say({PH: 8.0, WARMTH: 24.0}))


def _say(values: dict[str, float]) -> Any:  # noqa: ANN401 - an event
    from controller.core.vocabulary import ReadingsTaken, Sample  # noqa: PLC0415 - beside its only use

    return ReadingsTaken(tuple(Sample(name, value) for name, value in values.items()))


def test_an_entered_value_is_a_reading() -> None:
    """It is trusted, has a value and an age, and the record says who entered it."""
    house = enter(begin(), 0.8)
    sense = house.state.senses[AMMONIA]

    assert (sense.value, sense.trust, sense.heard_ms) == (0.8, Trust.GOOD, house.now)
    assert house.notes == [f"{AMMONIA}: entered: keeper enters 0.8 mg/L as N"]


def test_before_anybody_has_entered_a_value_it_is_missing() -> None:
    """A kit that was never used is unknown, and says so."""
    sense = begin().state.senses[AMMONIA]

    assert (sense.value, sense.trust) == (None, Trust.MISSING)
    assert "nobody has entered" in sense.why


def test_another_basis_is_restated_and_kept_in_the_record() -> None:
    """1 mg/L as NH3 is kept as 0.822 mg/L as N (14.0067 / 17.0305); record and state keep what was typed."""
    house = enter(begin(), 1.0, basis=Basis.AMMONIA)
    entry = house.state.durable.entered[AMMONIA]

    assert entry.value == pytest.approx(0.8224, abs=0.0001)
    assert (entry.given, entry.basis) == (1.0, Basis.AMMONIA)
    assert house.notes == [f"{AMMONIA}: entered: keeper enters 1 mg/L as NH3, which is 0.8224 mg/L as N"]


def test_what_hangs_on_it_is_reckoned_at_once() -> None:
    """Total ammonia 1.0 at pH 8.0 and 24 C is 0.0502 mg/L un-ionised (UF/IFAS FA16)."""
    house = enter(hear(begin()), 1.0)

    assert house.state.senses[UNIONISED].value == pytest.approx(0.0502, abs=0.0001)


def test_an_alarm_on_the_derived_reading_sounds() -> None:
    """0.05 mg/L un-ionised, exceeded by an entry, calls the keeper."""
    entry = make_entry("ammonia", kind=Kind.HIGH, sensor=UNIONISED, limit=0.05, deadband=0.01, on_delay_s=0.0)
    house = enter(hear(begin(entry)), 1.2)

    assert house.told == ["keeper"]
    assert "0.0602 mg/L (limit 0.05)" in house.messages[0].text


def test_a_correction_takes_the_place_and_the_time_of_the_slip_and_the_record_keeps_both() -> None:
    """8 was meant as 0.8: the value changes, the time of the test does not, and both numbers stand in the record."""
    house = enter(begin(), 8.0)
    tested = house.now
    house.wait(30)
    enter(house, 0.8, corrects=True, person="deputy")

    assert house.state.senses[AMMONIA].value == 0.8
    assert house.state.senses[AMMONIA].heard_ms == tested
    assert house.notes == [
        f"{AMMONIA}: corrected: deputy corrects 8 mg/L as N (entered by keeper) to 0.8 mg/L as N"
    ]
    assert gather(house.effects, Note)[0].ledger is Ledger.HOUSE


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ({"sensor": PH}, "is not entered by hand"),
        ({"sensor": "no such"}, "is not entered by hand"),
        ({"basis": Basis.ITSELF}, "as N or NH3"),
        ({"basis": Basis.NITRATE}, "not NO3"),
        ({"value": -0.1}, "outside what is possible"),
        ({"value": 400.0}, "is it a slip, or another unit?"),
        ({"value": math.nan}, "no number"),
        ({"value": math.inf}, "no number"),
        ({"corrects": True}, "could be corrected"),
    ],
)
def test_what_cannot_be_is_refused_with_the_reason(words: dict[str, Any], why: str) -> None:
    """Nothing changes but the record, which says who tried and why it was refused."""
    house = begin()
    before = dict(house.state.senses)
    enter(house, **({"value": 0.8} | words))

    assert why in house.notes[0]
    assert "keeper entered a value that was refused" in house.notes[0]
    assert house.state.durable.entered == {}
    assert house.state.senses == before


def test_an_entry_without_a_name_is_refused() -> None:
    """Only a named person enters values."""
    house = enter(begin(), 0.8, person="  ")

    assert house.state.durable.entered == {}
    assert "without a name was refused" in house.notes[0]


def test_it_survives_a_restart() -> None:
    """After a power cut the value is there, as old as it is, and what hangs on it is reckoned again."""
    house = enter(hear(begin()), 1.0)
    tested = house.now
    hear(house.restart(away_min=60))

    assert house.state.senses[AMMONIA].value == 1.0
    assert house.state.senses[AMMONIA].heard_ms == tested
    assert house.state.senses[UNIONISED].trust is Trust.GOOD


def test_it_is_unknown_when_it_is_too_old() -> None:
    """Seven days after the test it is stale, also when Duskbell was away on that day; so is what hangs on it."""
    lived = enter(begin(), 0.8).wait(7 * 1440 + 1)
    away = enter(begin(), 0.8).restart(away_min=7 * 1440 + 1)

    for house in (lived, away):
        assert house.state.senses[AMMONIA].trust is Trust.STALE
        assert house.state.senses[UNIONISED].value is None
        assert house.state.senses[UNIONISED].trust in {Trust.STALE, Trust.MISSING}


def count_calls(house: House, days: int) -> list[int]:
    """Let days pass and list the local hours at which the keeper is reminded."""
    hours = []
    for _ in range(days * 24):
        house.wait(60)
        for message in house.messages:
            assert "test" in message.text
            hours.append((house.utc_ms + house.utc_offset_min * 60_000) % DAY_MS // HOUR_MS)
    return hours


def test_a_test_that_is_due_is_reminded_of_once_a_day_and_never_at_night() -> None:
    """Three and a half days after the test the reminders begin: one a day, between 8 and 21 o'clock local."""
    house = enter(begin(due_entry()), 0.8)

    assert count_calls(house, 3) == []
    hours = count_calls(house, 4)
    assert len(hours) in {3, 4}
    assert all(8 <= hour <= 20 for hour in hours)


def test_an_entry_ends_the_reminder() -> None:
    """Once the value is entered the alarm is over and nobody is reminded for days."""
    house = enter(begin(due_entry()), 0.8)
    count_calls(house, 5)
    assert house.alarm("ammonia test due").phase is Phase.UNACKNOWLEDGED
    enter(house, 0.5).wait(2)

    assert house.alarm("ammonia test due").phase is Phase.NORMAL
    assert count_calls(house, 3) == []


def test_a_reminder_that_is_only_written_down_calls_nobody() -> None:
    """With response note the alarm stands in the record and no message goes out."""
    house = enter(begin(due_entry(response=Response.NOTE)), 0.8)

    assert count_calls(house, 5) == []
    assert house.alarm("ammonia test due").phase is Phase.UNACKNOWLEDGED


def test_while_nobody_knows_the_hour_nobody_is_reminded() -> None:
    """With a clock that has not been set it may be the middle of the night."""
    house = begin(due_entry())
    house.utc_trusted = False

    assert count_calls(house, 2) == []


def wake_unset(house: House, *, away_min: float) -> House:
    """Lose power for a while and begin on a board whose clock stands where it stood: house time lacks the while."""
    house.state = first_state(house.state.plan, unpack(pack(house.state.durable)))
    house.utc_trusted = False
    house.tell(Started(None))
    house.utc_ms += round(away_min * MINUTE_MS)
    return house


def find_reported_age_days(house: House) -> float:
    """Read the age of the ammonia test from the status [d]."""
    age: float = describe_waters(house.state, house.stamp)["entered"][0]["age_days"]
    return age


def test_an_entry_is_as_old_as_the_clock_says_once_it_has_been_set() -> None:
    """Ten days without power and a board that began unset: with the clock set the test is stale, and due."""
    house = wake_unset(enter(hear(begin(due_entry())), 0.8), away_min=10 * 1440)
    assert house.state.senses[AMMONIA].trust is Trust.GOOD
    assert find_reported_age_days(house) == 0.0

    house.utc_trusted = True
    hear(house)

    assert (house.state.senses[AMMONIA].trust, house.state.senses[AMMONIA].why) == (
        Trust.STALE,
        "tested 10 days ago",
    )
    assert house.state.senses[UNIONISED].value is None
    assert find_reported_age_days(house) == pytest.approx(10.0, abs=0.01)
    assert house.told == ["keeper"]
    assert house.alarm("ammonia test due").phase is Phase.UNACKNOWLEDGED


def test_an_entry_that_is_due_and_not_yet_stale_is_reminded_of_too() -> None:
    """Four days without power: the value is still good, and a test is due; the rest of its days go on from there."""
    house = wake_unset(enter(begin(due_entry()), 0.8), away_min=4 * 1440)
    house.utc_trusted = True
    house.tell(Woken())

    assert house.state.senses[AMMONIA].trust is Trust.GOOD
    assert house.told == ["keeper"]
    # Seven days after the test it is stale, by the deadline alone.
    assert house.wait(3 * 1440 + 1).state.senses[AMMONIA].trust is Trust.STALE


def test_a_clock_that_goes_back_makes_no_entry_younger() -> None:
    """What was ten days old stays so when UTC goes back by nine, also through a restart and a correction."""
    house = wake_unset(enter(begin(), 0.8), away_min=10 * 1440)
    house.utc_trusted = True
    house.tell(Woken())
    house.utc_ms -= 9 * DAY_MS
    house.tell(Woken()).restart()
    enter(house, 0.7, corrects=True)

    assert house.state.senses[AMMONIA].trust is Trust.STALE
    assert find_reported_age_days(house) == pytest.approx(10.0, abs=0.01)


def test_a_time_that_was_never_trusted_ages_nothing() -> None:
    """An entry made before the clock was set has no UTC to go by: it is as old as house time says."""
    house = begin()
    house.utc_trusted = False
    enter(house, 0.8)
    house.utc_ms += 400 * DAY_MS
    house.utc_trusted = True
    house.tell(Woken()).wait(120)

    assert house.state.senses[AMMONIA].trust is Trust.GOOD
    assert find_reported_age_days(house) == pytest.approx(0.08, abs=0.01)


def test_a_clock_that_jumps_ahead_while_trusted_is_followed_within_the_hour() -> None:
    """A step of UTC forward counts at the next deadline; one of seconds writes nothing anew."""
    house = enter(begin(), 0.8)
    entered = house.state.durable.entered
    house.utc_ms += 30_000
    assert house.wait(61).state.durable.entered is entered

    house.utc_ms += 8 * DAY_MS
    assert house.wait(61).state.senses[AMMONIA].trust is Trust.STALE


@given(
    st.integers(0, 2**40), st.integers(0, 2**40), st.integers(0, 2**41), st.integers(0, 2**41), st.booleans()
)
def test_no_entry_is_ever_younger_than_house_time_says(
    house_ms: int,
    now: int,
    utc_ms: int,
    now_utc_ms: int,
    trusted: bool,  # noqa: FBT001 - drawn by name
) -> None:
    """The age is that of house time or, where both times of UTC are trusted, the larger of the two."""
    entry = Entry(1.0, 1.0, Basis.NITROGEN, "keeper", house_ms, utc_ms, trusted)

    age_ms = find_age_ms(entry, Stamp(now, now_utc_ms, 0, utc_trusted=True))
    assert age_ms == max(now - house_ms, now_utc_ms - utc_ms if trusted else now - house_ms)
    assert find_age_ms(entry, Stamp(now, now_utc_ms, 0, utc_trusted=False)) == now - house_ms


@given(
    st.sampled_from([AMMONIA, ALKALINITY, PH, "", "x" * 100]),
    st.one_of(st.floats(), st.floats(-1.0, 60.0)),
    st.sampled_from(list(Basis)),
    st.booleans(),
)
def test_whatever_is_entered_it_is_taken_or_refused(
    sensor: str,
    value: float,
    basis: Basis,
    corrects: bool,  # noqa: FBT001 - drawn by name
) -> None:
    """Any entry either becomes a possible value or is refused by name; nothing else happens."""
    roll = call_roll(make_tank_plan())
    check: Callable[[], Any] = lambda: check_entry(  # noqa: E731 - said once, used twice
        roll.sensors, roll.specs, {}, ValueEntered(sensor, value, "keeper", basis, corrects)
    )
    try:
        checked = check()
    except EntryRefused:
        return

    spec = roll.specs[sensor]
    assert spec.low <= checked.kept <= spec.high
