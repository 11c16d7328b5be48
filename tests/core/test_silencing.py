"""Who may silence or reset an alarm over the board's socket, and what is said when there is nothing to do."""

from __future__ import annotations

from types import SimpleNamespace
from typing import TYPE_CHECKING, Any, cast

import pytest
from makers import House, make_entry, make_plan

from controller.core.alarms.lifecycle import Phase
from controller.core.vocabulary import Event
from controller.talk import answer

if TYPE_CHECKING:
    from controller.daemon import Daemon

NAME = "tank oxygen low"
LOW, FINE = {"tank_oxygen": 3.0}, {"tank_oxygen": 8.0}


class Board:
    """A house behind the door of its socket: requests go in as `duskbell` sends them."""

    def __init__(self, *, latching: bool = False) -> None:
        self.house = House(make_plan(alarm=(make_entry(latching=latching),))).wait(2, speaking=LOW)
        self.clock = SimpleNamespace(stamp=lambda _: self.house.stamp)

    @property
    def engine(self) -> SimpleNamespace:
        """Give the state as the daemon does."""
        return SimpleNamespace(state=self.house.state)

    def put_and_wait(self, event: Event, _within_s: float) -> bool:
        """Take in what is asked for."""
        self.house.tell(event)
        return True

    def ask(self, do: str, person: str = "keeper", **words: object) -> tuple[bool, str]:
        """Ask, and give whether it was done and what is said."""
        request: dict[str, object] = {"do": do, "alarm": NAME, "person": person, "account": "root", **words}
        reply = answer(cast("Daemon", self), request)
        return bool(reply["ok"]), str(reply["text"])


ASKED: dict[str, dict[str, Any]] = {
    "acknowledge": {"code": "0000"},
    "shelve": {"minutes": 10, "reason": "cleaning"},
    "out-of-service": {"second": "deputy", "replacement": "hand meter"},
    "back": {},
    "reset": {},
}


@pytest.mark.parametrize("person", ["ghost", "root", "", " "])
@pytest.mark.parametrize("do", ASKED)
def test_who_is_not_in_the_list_of_people_silences_nothing(do: str, person: str) -> None:
    """Neither a made-up name nor the account of the shell counts, and the refusal asks for --person."""
    board = Board()
    done, said = board.ask(do, person, **ASKED[do])

    assert (done, board.house.alarm().phase) == (False, Phase.UNACKNOWLEDGED)
    assert (
        "is not among the people of the settings: keeper, deputy, porter; say who you are with --person"
        in said
    )


def test_a_named_person_silences_and_puts_back() -> None:
    """What is refused to nobody is done for somebody."""
    board = Board()
    assert board.ask("acknowledge", code=board.house.alarm().code)[0]
    assert board.ask("shelve", **ASKED["shelve"])[0]
    assert board.ask("back", "deputy")[0]
    assert board.ask("out-of-service", **ASKED["out-of-service"])[0]
    assert board.house.alarm().phase is Phase.OUT_OF_SERVICE


def test_a_reset_of_what_is_not_latched_says_so() -> None:
    """Nothing is claimed, and the record has the refusal."""
    board = Board()

    assert board.ask("reset") == (
        False, f"{NAME} is not latched (it is unacknowledged); there is nothing to reset",
    )  # fmt: skip


def test_a_latch_is_reset_once_it_is_answered() -> None:
    """Unanswered it says what comes first; answered it is reset, and the second time there is nothing left."""
    board = Board(latching=True)
    code = board.house.wait(3, speaking=FINE).alarm().code
    assert board.ask("reset") == (
        False, f"{NAME} is latched and nobody has answered it; acknowledge it first, then reset it",
    )  # fmt: skip
    assert board.ask("acknowledge", code=code)[0]
    assert board.ask("reset") == (True, f"{NAME} is reset")
    assert board.house.alarm().phase is Phase.NORMAL
    assert board.ask("reset")[0] is False


@pytest.mark.parametrize("minutes", [-5, 0, "nan", "inf"])
def test_a_shelf_for_no_time_is_refused(minutes: float | str) -> None:
    """It is not made a minute of."""
    board = Board()
    done, said = board.ask("shelve", minutes=minutes, reason="x")

    assert (done, board.house.alarm().phase) == (False, Phase.UNACKNOWLEDGED)
    assert said == f"an alarm is shelved for more than 0 minutes, not for {minutes}"


def test_a_shelf_is_not_made_longer_before_it_ends() -> None:
    """Not by the same person nor another; shorter is allowed, and so is a new one once it has sounded again."""
    board = Board()
    assert board.ask("shelve", minutes=60, reason="x")[0]
    board.house.wait(50, speaking=LOW)
    until_ms = board.house.alarm().shelved_until_ms
    for person in ("keeper", "deputy"):
        done, said = board.ask("shelve", person, minutes=60, reason="x")
        assert (done, board.house.alarm().shelved_until_ms) == (False, until_ms)
        assert "is shelved for 10 min more, and a shelf cannot be made longer" in said
    assert board.ask("shelve", minutes=5, reason="x")[0]
    board.house.wait(6, speaking=LOW)
    assert board.house.alarm().phase is Phase.UNACKNOWLEDGED
    assert board.ask("shelve", minutes=60, reason="x")[0]
