"""One incident on the real engine and the real journal, in a process that may die at any place.

Run as `python incident_story.py FOLDER` it tells on standard output what it hands over, until it is killed or
the story is told; run again on the same folder it goes on where the record left off.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "core"))

from makers import NOON_UTC_MS, make_plan, make_step, say

from controller.core.plan.people import Way
from controller.core.remember import unpack
from controller.core.step import first_state
from controller.core.units import MINUTE_MS, SECOND_MS
from controller.core.vocabulary import (
    AnswerGiven,
    Effect,
    EffectDone,
    Event,
    SendMessage,
    Stamp,
    Started,
    Woken,
)
from controller.edges.journal import Journal
from controller.engine import Engine

PLAN = make_plan(
    curtain=(),
    alarm=make_plan().alarm[:1],
    sensor=make_plan().sensor[3:],
    call=(
        make_step(0, "keeper", "deputy", ways=(Way.EMAIL,)),
        make_step(5, "keeper", "deputy", "porter", ways=(Way.EMAIL,)),
    ),
)
TURN_MS = 30 * SECOND_MS
LOW, GOOD = 3.0, 8.0
FALLS_AT, ANSWERED_AT, MENDED_AT, TURNS = 4, 20, 30, 40
"""In turns of half a minute: the oxygen falls, somebody answers, it is mended, and the story is told."""


@dataclass
class World:
    """What has reached the world, and what a test hears of it at once."""

    handed: list[SendMessage] = field(default_factory=list)
    tell: Callable[[SendMessage], object] = lambda _: None

    def take(self, message: SendMessage) -> None:
        """Take a message."""
        self.handed.append(message)
        self.tell(message)


@dataclass
class Life:
    """One life of the daemon: from a start to its death, or to the end of the story."""

    journal: Journal
    world: World
    now: int
    before_commit: Callable[[tuple[Effect, ...]], object] = lambda _: None
    after_commit: Callable[[], object] = lambda: None
    engine: Engine = field(init=False)

    def __post_init__(self) -> None:
        """Begin with what the record holds."""
        left = self.journal.load()
        self.engine = Engine(
            first_state(PLAN, None if left is None else unpack(left.document)), act=self._act, record=self
        )
        self._outcomes: list[Event] = []
        self.turn(Started(None if left is None else self.now - left.house_ms))

    @property
    def stamp(self) -> Stamp:
        """All clocks, now."""
        return Stamp(self.now, NOON_UTC_MS + self.now, 60, utc_trusted=True)

    def commit(
        self, *, stamp: Stamp, event: Event, effects: tuple[Effect, ...], document: bytes | None
    ) -> None:
        """Remember a turn, unless somebody dies over it."""
        self.before_commit(effects)
        self.journal.commit(stamp=stamp, event=event, effects=effects, document=document)
        self.after_commit()

    def _act(self, effect: Effect, stamp: Stamp) -> None:
        del stamp
        if isinstance(effect, SendMessage):
            self._outcomes.append(EffectDone(effect.effect_id, "taken"))
            self.world.take(effect)

    def turn(self, event: Event) -> None:
        """Take a turn, and then those of what became of its messages."""
        self.engine.turn(self.stamp, event)
        while self._outcomes:
            self.engine.turn(self.stamp, self._outcomes.pop(0))

    def tell_story(self) -> None:
        """Go on with the story from where the clock stands to its end."""
        for event in self._events():
            self.turn(event)

    def _events(self) -> Iterator[Event]:
        while self.now < TURNS * TURN_MS:
            self.now += TURN_MS
            at = self.now // TURN_MS
            if self.engine.state.wake_ms <= self.now:
                yield Woken()
            yield say(tank_oxygen=LOW if FALLS_AT <= at < MENDED_AT else GOOD)
            alarm = self.engine.state.durable.alarms.get("tank oxygen low")
            if at >= ANSWERED_AT and alarm is not None and alarm.code and not alarm.answered_by:
                yield AnswerGiven(alarm.code, "keeper", "page")


def open_journal(folder: Path) -> tuple[Journal, int]:
    """Open the record, and return the house time to go on from [ms]."""
    journal = Journal.open(folder, utc_ms=NOON_UTC_MS)
    left = journal.load()
    return journal, 0 if left is None else left.house_ms


def kinds_of(messages: Iterable[SendMessage]) -> set[tuple[str, str]]:
    """Return who was told what kind of thing."""
    return {(message.person, message.subject.split(":")[0]) for message in messages}


def main(folder: Path) -> None:
    """Tell the story on standard output."""
    journal, now = open_journal(folder)
    world = World(
        tell=lambda message: os.write(1, f"{message.effect_id} {message.person} {message.subject}\n".encode())
    )
    Life(journal, world, now + 2 * MINUTE_MS // 60).tell_story()
    os.write(1, b"told\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
