"""The entries that are built in where an emergency hangs on a sensor: an unknown value is never a normal one."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from makers import OXYGEN, House, make_doubtful, make_entry, make_missing, make_plan, make_sensor, make_step

from controller.core.alarms.lifecycle import Phase
from controller.core.alarms.own_faults import with_own_faults
from controller.core.alarms.septets import ONE_MESSAGE
from controller.core.alarms.short import longest_short
from controller.core.alarms.unknowns import find_first_emergencies, list_unknowns
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.units import Quantity

SENSOR = make_sensor(OXYGEN, Quantity.OXYGEN, "mg/L", place="tank 1")
BOTH = [Kind.MISSING, Kind.DOUBTFUL]


def list_added(*entries: AlarmEntry) -> list[tuple[str, Kind, Response]]:
    """List what is added to the entries for sensors."""
    return [(each.name, each.kind, each.response) for each in list_unknowns(entries, (SENSOR,))]


def test_an_emergency_brings_both_as_emergencies() -> None:
    """One entry in the file is enough: the two that say that nobody knows come with it."""
    assert list_added(make_entry()) == [
        ("tank oxygen missing", Kind.MISSING, Response.EMERGENCY),
        ("tank oxygen doubtful", Kind.DOUBTFUL, Response.EMERGENCY),
    ]


def test_nothing_is_added_beside_entries_of_ones_own() -> None:
    """An entry of the same kind on the same sensor stands in for the built-in one, whatever its response."""
    assert list_added(make_entry(), make_missing(), make_doubtful()) == []
    assert [kind for _, kind, _ in list_added(make_entry(), make_missing())] == [Kind.DOUBTFUL]
    assert list_added(make_entry(response=Response.TODAY)) == []
    assert list_added(make_entry(kind=Kind.FAULT, sensor="", limit=None, deadband=0.0)) == []


def test_names_in_the_file_are_left_alone() -> None:
    """Another entry of that name, whatever its capitals, keeps it."""
    other = make_entry("Tank Oxygen MISSING", limit=4.0, response=Response.TODAY)
    assert [name for name, _, _ in list_added(make_entry(), other)] == [
        "tank oxygen missing 2",
        "tank oxygen doubtful",
    ]


def test_a_value_entered_by_hand_is_never_doubtful() -> None:
    """What cannot be true is refused when it is entered."""
    entered = SENSOR.model_copy(update={"entered": True})
    assert [each.kind for each in list_unknowns((make_entry(),), (entered,))] == [Kind.MISSING]


def test_words_and_time_are_those_of_the_most_pressing_emergency() -> None:
    """Cause from the sensor, consequence and time to respond from the emergency that leaves the least time."""
    slow, quick = make_entry("slow", time_to_respond_min=90.0), make_entry("quick", time_to_respond_min=45.0)
    assert find_first_emergencies((slow, quick)) == (quick,)
    for each in list_unknowns((slow, quick), (SENSOR,)):
        assert each.time_to_respond_min == 45.0
        assert each.cause.startswith("tank oxygen: ")
        assert each.consequence == f'Nobody would know of "quick". {quick.consequence}'


@given(
    sensor=st.text("abc xyz", min_size=1, max_size=40),
    place=st.text("defg", max_size=24),
    minutes=st.floats(1, 20160),
    words=st.text("hijk", min_size=1, max_size=300),
    names=st.lists(st.sampled_from(["a missing", "A Missing", "a missing 2", "a doubtful"]), unique=True),
)
def test_what_is_added_fits_one_message_and_has_a_name_of_its_own(
    sensor: str, place: str, minutes: float, words: str, names: list[str]
) -> None:
    """However long the words of the file, the English call is one text message (160 septets, 3GPP TS 23.038)."""
    probe = make_sensor(sensor, Quantity.OXYGEN, "mg/L", place=place)
    base = make_entry("base", sensor=sensor, time_to_respond_min=minutes, cause=words, consequence=words)
    others = [make_entry(name, sensor=sensor, response=Response.TODAY) for name in names]
    entries = with_own_faults((base, *others), (probe,))
    added = [each for each in entries if each.kind in BOTH]

    assert [each.kind for each in added] == BOTH
    given_names = {name.casefold() for name in ("base", *names)}
    assert len({each.name.casefold() for each in added} - given_names) == len(BOTH)
    assert all(longest_short(each, probe) <= ONE_MESSAGE for each in added)


def test_with_one_entry_in_the_file_silence_is_an_emergency() -> None:
    """A sensor that falls silent calls until answered: stale after three intervals, and a minute more."""
    house = House(make_plan(alarm=(make_entry(),), call=(make_step(0, "keeper"),)))
    house.wait(5, speaking={"tank_oxygen": 7.0}).wait(3.9)
    assert house.alarm("tank oxygen missing").phase is Phase.NORMAL
    house.wait(0.2)
    assert house.alarm("tank oxygen missing").phase is Phase.UNACKNOWLEDGED
    assert house.told == ["keeper"]


def test_with_one_entry_in_the_file_doubt_is_an_emergency() -> None:
    """A value that cannot be true for ten minutes calls until answered."""
    house = House(make_plan(alarm=(make_entry(),), call=(make_step(0, "keeper"),)))
    house.wait(5, speaking={"tank_oxygen": 7.0}).wait(9, speaking={"tank_oxygen": 99.0})
    assert house.alarm("tank oxygen doubtful").phase is Phase.NORMAL
    house.wait(3, speaking={"tank_oxygen": 99.0})
    assert house.alarm("tank oxygen doubtful").phase is Phase.UNACKNOWLEDGED
