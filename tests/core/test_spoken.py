"""A part of Duskbell that has said since the start that it is well is believed at once; silence alone is not."""

from __future__ import annotations

from typing import Any

from makers import House, make_entry, make_missing, make_plan, make_step

from controller.core.alarms.lifecycle import Phase
from controller.core.call import write_letter
from controller.core.draft import Draft
from controller.core.plan.alarm import Kind, Watched
from controller.core.vocabulary import EffectFailed, TroubleSeen

FINE = {"tank_oxygen": 7.0}
LOST = "broker lost"


def make_house() -> House:
    """Make a house in which the loss of the broker is an emergency, told after 5 s and over after 10 s."""
    lost = make_entry(
        LOST, kind=Kind.FAULT, of=Watched.BROKER, sensor="", limit=None, deadband=0.0, on_delay_s=5.0,
        off_delay_s=10.0,
    )  # fmt: skip
    return House(make_plan(alarm=(lost,), call=(make_step(0, "keeper"),)))


def test_a_fault_that_begins_and_ends_right_after_the_start_is_over_after_its_off_delay() -> None:
    """The edge has said that it is well: nobody waits for the two minutes that silence would take."""
    house = make_house().tell(TroubleSeen(Watched.BROKER, "refused")).wait(seconds=20)
    assert house.alarm(LOST).phase is Phase.UNACKNOWLEDGED

    house.tell(TroubleSeen(Watched.BROKER, None)).wait(seconds=9)
    assert house.alarm(LOST).phase is Phase.UNACKNOWLEDGED
    house.wait(seconds=2)
    assert house.alarm(LOST).phase is Phase.RETURNED


def test_a_word_that_it_is_well_counts_after_every_restart() -> None:
    """What was open before a restart is over as soon as its part says so; by silence it takes two minutes."""
    spoken, silent = (
        make_house().tell(TroubleSeen(Watched.BROKER, "refused")).wait(1).restart() for _ in range(2)
    )
    spoken.tell(TroubleSeen(Watched.BROKER, None)).wait(seconds=11)
    silent.wait(seconds=119)

    assert spoken.alarm(LOST).phase is Phase.RETURNED
    assert silent.alarm(LOST).phase is Phase.UNACKNOWLEDGED
    assert silent.wait(seconds=12).alarm(LOST).phase is Phase.RETURNED


def test_a_word_from_before_a_restart_counts_no_more() -> None:
    """Each start asks every part anew."""
    house = make_house().tell(TroubleSeen(Watched.BROKER, None))
    assert house.state.spoken == {Watched.BROKER}
    assert house.restart().state.spoken == frozenset()


def test_a_part_that_falls_ill_after_its_good_word_is_ill() -> None:
    """A good word is no promise: trouble after it sounds as ever."""
    house = make_house().tell(TroubleSeen(Watched.BROKER, None), TroubleSeen(Watched.BROKER, "refused"))
    assert house.wait(seconds=30).alarm(LOST).phase is Phase.UNACKNOWLEDGED


def test_a_message_accepted_by_the_path_that_failed_ends_the_fault_of_messages() -> None:
    """A mail that is taken right after the start shows that mails are taken: ten seconds later it is over."""
    house = House(make_plan(call=(make_step(0, "keeper"),))).read(tank_oxygen=3.0)
    house.wait(seconds=90, speaking={"tank_oxygen": 3.0}).restart()
    assert house.messages
    house.tell(*(EffectFailed(each.effect_id, "no route") for each in house.messages))
    house.wait(seconds=20, speaking={"tank_oxygen": 3.0})
    assert house.alarm("messages cannot be sent").phase is Phase.UNACKNOWLEDGED
    assert house.messages

    house.accept()
    assert house.state.settled_ms > house.now + 15_000
    house.wait(seconds=11, speaking={"tank_oxygen": 3.0})
    assert house.alarm("messages cannot be sent").phase is not Phase.UNACKNOWLEDGED


def test_a_call_before_the_part_has_spoken_says_what_was_known_last() -> None:
    """After a restart nothing is known of the broker: the call says so, and never that it is over."""
    house = make_house().tell(TroubleSeen(Watched.BROKER, "refused")).wait(1).restart()
    letter = write_letter(Draft(house.state, house.stamp), LOST, house.alarm(LOST))

    assert "unknown; before: refused" in letter.text
    assert "unknown; before: refused" in letter.short
    assert "over" not in letter.text.casefold()


def test_a_call_within_the_off_delay_is_worded_as_over() -> None:
    """A call while the condition is over and the alarm still sounds tells no harm and no time left."""
    changes: dict[str, Any] = {"on_delay_s": 0.0, "off_delay_s": 3600.0}
    fault = make_entry(
        LOST, kind=Kind.FAULT, of=Watched.BROKER, sensor="", limit=None, deadband=0.0, **changes
    )
    missing = make_missing(**changes)
    house = House(make_plan(alarm=(fault, missing), call=(make_step(0, "keeper"),)))
    house.wait(15).tell(TroubleSeen(Watched.BROKER, "refused")).wait(seconds=1)
    house.tell(TroubleSeen(Watched.BROKER, None)).wait(1, speaking=FINE)

    for entry in (fault, missing):
        alarm = house.alarm(entry.name)
        assert alarm.phase is Phase.UNACKNOWLEDGED
        letter = write_letter(Draft(house.state, house.stamp), entry.name, alarm)
        assert "Harm" not in letter.text
        assert "It is over, and nobody has answered" in letter.text
        assert "OVER, now" in letter.short


def test_a_call_after_a_restart_never_says_both_over_and_harm() -> None:
    """Whatever is known of the broker when a step comes due, over and harm stand in no message together."""
    for word in (None, TroubleSeen(Watched.BROKER, None), TroubleSeen(Watched.BROKER, "refused")):
        house = make_house().tell(TroubleSeen(Watched.BROKER, "refused")).wait(seconds=10).restart(20)
        if word is not None:
            house.tell(word)
        sent = [each.text for each in (*house.messages, *house.wait(15).messages)]
        assert sent
        assert not [text for text in sent if ": over." in text and "Harm" in text]
