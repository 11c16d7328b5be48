"""What is remembered comes back the same, from this version and from one before or after it."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import House

from controller.core.alarms.alarm import Alarm
from controller.core.curtain.drive import Drive
from controller.core.curtain.hold import Hold
from controller.core.plan.people import Way
from controller.core.remember import pack, unpack
from controller.core.state import Durable, Outstanding
from controller.core.vocabulary import AnswerGiven, HoldAsked, SendMessage, Started

TIMES = st.integers(0, 2**62)
NAMES = st.text(min_size=1, max_size=8)
POSITIONS = st.none() | st.floats(0, 100)
DRIVES = st.builds(
    Drive,
    drawn_percent=POSITIONS,
    from_percent=POSITIONS,
    target_percent=st.floats(0, 100),
    started_ms=TIMES,
    unasked_since_ms=st.none() | TIMES,
    recent_runs=st.lists(st.tuples(TIMES, TIMES), max_size=3).map(tuple),
)
MESSAGES = st.builds(SendMessage, NAMES, NAMES, st.sampled_from(Way), NAMES, NAMES, NAMES, NAMES)
DURABLES = st.builds(
    Durable,
    drives=st.dictionaries(NAMES, DRIVES, max_size=3),
    holds=st.dictionaries(NAMES, st.builds(Hold, st.floats(0, 100), TIMES, NAMES), max_size=2),
    alarms=st.dictionaries(NAMES, st.builds(Alarm), max_size=3),
    outstanding=st.dictionaries(NAMES, st.builds(Outstanding, MESSAGES, NAMES, TIMES), max_size=3),
    occurrences=st.integers(0, 10**9),
    effects_made=st.integers(0, 10**9),
)


@given(DURABLES)
def test_what_is_remembered_comes_back(durable: Durable) -> None:
    """Packing and unpacking changes nothing, and packs to the same bytes again."""
    again = unpack(pack(durable))

    assert (again, pack(again)) == (durable, pack(durable))


def test_a_house_in_the_middle_of_everything_comes_back() -> None:
    """An alarm that sounds, messages under way, a hold and a run are all there after a power cut."""
    house = House().report(0.0).wait(3, speaking={"tank_oxygen": 3.0})
    house.tell(HoldAsked("roof", 100.0, 60, "keeper"))
    durable = house.state.durable
    assert durable.outstanding
    assert durable.holds
    assert house.drive.command_id

    assert unpack(pack(durable)) == durable


def test_an_upgrade_in_the_middle_of_an_alarm_keeps_the_alarm() -> None:
    """A field that is new gets its default, one that is gone is ignored."""
    house = House().wait(3, speaking={"tank_oxygen": 3.0})
    document = json.loads(pack(house.state.durable))
    alarm = document["alarms"]["tank oxygen low"]
    del alarm["turn_of_list"], document["holds"]
    alarm["of_the_future"] = document["of_the_future"] = 1

    assert unpack(json.dumps(document).encode()).alarms["tank oxygen low"] == house.alarm()


@pytest.mark.parametrize(
    "document", [b"", b"{", b"[]", b'{"alarms": 3}', b"\xff\xfe", b'{"occurrences": "many"}']
)
def test_bytes_that_are_no_memory_are_refused(document: bytes) -> None:
    """Damage is an error by name, not a quiet empty memory."""
    with pytest.raises(ValueError, match=r".+"):
        unpack(document)


def test_numbers_of_effects_and_alarms_go_on_after_a_restart() -> None:
    """No name of an effect and no code comes twice in the life of the house."""
    house = House().wait(3, speaking={"tank_oxygen": 3.0})
    made, code = house.state.durable.effects_made, house.alarm().code
    house.tell(AnswerGiven(code, "keeper", "page")).wait(3, speaking={"tank_oxygen": 8.0})
    house.restart(1).tell(Started()).wait(3, speaking={"tank_oxygen": 3.0})

    assert house.alarm().code != code
    assert {message.effect_id for message in house.messages}.isdisjoint(
        {f"e{number}" for number in range(made + 1)}
    )
