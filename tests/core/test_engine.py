"""One turn: decide, remember, act, in that order and no other, also when remembering fails."""

from __future__ import annotations

from dataclasses import replace

import pytest
from makers import START_MS, make_plan, say

from controller.core.remember import unpack
from controller.core.step import first_state
from controller.core.vocabulary import Effect, Event, SendMessage, Stamp, Started, Woken
from controller.engine import Engine, NotRecorded

LOW = say(tank_oxygen=3.0)


class Diary:
    """A record and a world in one, so that the order of things shows."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.documents: list[bytes] = []
        self.fails = False

    def commit(
        self, *, stamp: Stamp, event: Event, effects: tuple[Effect, ...], document: bytes | None
    ) -> None:
        """Remember a turn, or fail to."""
        if self.fails:
            raise NotRecorded("disk full")
        self.lines.append(f"commit {type(event).__name__} {len(effects)} {stamp.house_ms}")
        if document is not None:
            self.documents.append(document)

    def act(self, effect: Effect, stamp: Stamp) -> None:
        """Carry an effect out."""
        assert stamp.house_ms > 0
        self.lines.append(f"act {type(effect).__name__}")


def stamp(minute: float) -> Stamp:
    """Make the stamp of a minute of the story."""
    at = round(minute * 60_000)
    return Stamp(START_MS + at, 1_750_507_200_000 + at, 60, utc_trusted=True)


def test_nothing_is_acted_before_it_is_remembered() -> None:
    """Every turn commits first, with all its effects, and only then acts them, in their order."""
    diary = Diary()
    engine = Engine(first_state(make_plan()), act=diary.act, record=diary)
    effects = engine.turn(stamp(0), Started())

    assert diary.lines[0] == f"commit Started {len(effects)} {START_MS}"
    assert diary.lines[1:] == [f"act {type(effect).__name__}" for effect in effects]


def test_what_has_not_changed_is_not_written() -> None:
    """A quiet turn hands the record no document; a turn that raises an alarm hands it all that must last."""
    diary = Diary()
    engine = Engine(first_state(make_plan()), act=diary.act, record=diary)
    engine.turn(stamp(0), Started())
    engine.turn(stamp(0.1), LOW)
    written = len(diary.documents)
    engine.turn(stamp(0.2), Woken())
    assert len(diary.documents) == written
    engine.turn(stamp(1.2), LOW)
    assert unpack(diary.documents[-1]) == engine.state.durable
    assert "act SendMessage" in diary.lines


def test_a_house_without_a_record_is_kept_from_memory() -> None:
    """While the record fails people are still told, the failure is told too, and all is written once it works."""
    diary, told = Diary(), []
    engine = Engine(
        first_state(make_plan()),
        act=diary.act,
        record=diary,
        on_unrecorded=lambda at, error: told.append((at.house_ms, str(error))),
    )
    engine.turn(stamp(0), Started())
    engine.turn(stamp(0.1), LOW)
    diary.fails = True
    effects = engine.turn(stamp(1.2), LOW)
    assert any(isinstance(effect, SendMessage) for effect in effects)
    assert told == [(stamp(1.2).house_ms, "disk full")]
    diary.fails = False
    engine.turn(stamp(1.3), Woken())
    assert unpack(diary.documents[-1]) == engine.state.durable
    written = len(diary.documents)
    engine.turn(stamp(1.4), Woken())
    assert len(diary.documents) == written


def test_without_anybody_to_tell_a_failed_record_ends_the_turn() -> None:
    """The state stays what it was, and nothing is acted."""
    diary = Diary()
    engine = Engine(first_state(make_plan()), act=diary.act, record=diary)
    diary.fails = True
    before = engine.state
    with pytest.raises(NotRecorded, match="disk full"):
        engine.turn(stamp(0), Started())

    assert engine.state is before
    assert diary.lines == []


def test_a_bug_of_ours_is_neither_remembered_nor_acted() -> None:
    """What `step` cannot bear goes up to whoever stops the motors."""
    diary = Diary()
    broken = replace(first_state(make_plan()), roll=None)  # type: ignore[arg-type]  # a state no step can make
    engine = Engine(broken, act=diary.act, record=diary)
    with pytest.raises(AttributeError):
        engine.turn(stamp(0), LOW)

    assert diary.lines == []
