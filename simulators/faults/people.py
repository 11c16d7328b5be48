"""Faults of people and of the paths to them, and what people do at the console."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from controller.core.plan.people import Person
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.vocabulary import AlarmShelved, AnswerGiven, HoldAsked, HoldReleased
from simulators.faults.kind import Cast, Kind, Mend
from simulators.paths import Path

FOR_EVER_MS: Final = 100 * 365 * 24 * HOUR_MS
HOURS: Final = 60.0
STRANGE_CODES: Final = ("", "   ", "0000", "12345", "٣٢١٠", "abcd", "1" * 400, "code 2129", "-1")
"""What people and machines may type for a code."""


def _path(key: str, value: float) -> Callable[[Cast], Mend]:
    """Make a fault that sets one figure of every path in use."""

    def begin(cast: Cast) -> Mend:
        paths = _paths(cast)
        before = [getattr(path, key) for path in paths]
        for path in paths:
            setattr(path, key, value)

        def mend() -> None:
            for path, old in zip(paths, before, strict=True):
                setattr(path, key, old)

        return mend

    return begin


def _paths(cast: Cast) -> list[Path]:
    ways = sorted({way.value for step in cast.run.plan.call for way in step.ways})
    return [cast.run.staff.path(way) for way in ways]


def _paths_down(cast: Cast) -> Mend:
    """Let every path refuse."""
    now = cast.run.now_utc_ms
    paths = _paths(cast)
    for path in paths:
        path.down_ms = ((now, FOR_EVER_MS),)

    def mend() -> None:
        for path in paths:
            path.down_ms = ()

    return mend


def _paths_hang(cast: Cast) -> Mend:
    """Let every path accept and hold what it is given until it is mended."""
    now = cast.run.now_utc_ms
    paths = _paths(cast)
    for path in paths:
        path.holds_when_down = True
        path.down_ms = ((now, now + 2 * HOUR_MS),)

    def mend() -> None:
        for path in paths:
            path.holds_when_down = False
            path.down_ms = ()

    return mend


def _dead_address(cast: Cast) -> Mend:
    """Let one person's addresses be refused for good."""
    person: Person = cast.dice.choice(cast.run.plan.person)
    paths = _paths(cast)
    for path in paths:
        path.dead_addresses |= {person.email, person.phone, person.webhook} - {""}

    def mend() -> None:
        for path in paths:
            path.dead_addresses = frozenset()

    return mend


def _everybody(key: str, value: float) -> Callable[[Cast], Mend]:
    """Make a fault that sets one figure of every person."""

    def begin(cast: Cast) -> Mend:
        people = list(cast.run.staff.people.values())
        before = [getattr(person, key) for person in people]
        for person in people:
            setattr(person, key, value)

        def mend() -> None:
            for person, old in zip(people, before, strict=True):
                setattr(person, key, old)

        return mend

    return begin


def _spans(key: str) -> Callable[[Cast], Mend]:
    """Make a fault that flattens a battery, or switches an automatic reply on."""

    def begin(cast: Cast) -> Mend:
        people = cast.run.staff.people
        person = people[cast.where] if cast.where else cast.dice.choice(list(people.values()))
        now = cast.run.now_utc_ms
        setattr(person, key, ((now, now + 8 * HOUR_MS),))

        def mend() -> None:
            setattr(person, key, ())

        return mend

    return begin


def _strange_answers(cast: Cast) -> Mend:
    """Let somebody type what is no code, and somebody without a name type what may be one."""
    run, dice = cast.run, cast.dice
    live = [True]

    def type_one() -> None:
        if not live[0]:
            return
        run.turn(AnswerGiven(dice.choice(STRANGE_CODES), "keeper", "command line"))
        for code in (str(dice.randrange(1000, 10000)), *run.staff.codes):
            run.turn(AnswerGiven(code, " ", "command line"))
        run.later(run.now_utc_ms + dice.randrange(1, 10) * MINUTE_MS, type_one)

    type_one()

    def mend() -> None:
        live[0] = False

    return mend


def _hold(cast: Cast) -> Mend:
    """Let somebody hold the curtain, and give it back."""
    run = cast.run
    percent = float(cast.where) if cast.where else cast.dice.choice((0.0, 30.0, 55.0, 100.0))
    run.turn(HoldAsked(run.curtain, percent, 600.0, "keeper"))
    return lambda: run.tell_later(run.now_utc_ms, HoldReleased(run.curtain, "keeper"))


def _shelve(cast: Cast) -> Mend:
    """Let somebody silence an alarm for as long as can be asked for, and forget it."""
    run = cast.run
    name = cast.where or cast.dice.choice([entry.name for entry in run.entries])
    run.turn(AlarmShelved(name, cast.dice.choice((5.0, 30.0, 1e9)), "keeper", "work on the tank"))
    return lambda: None


def _shelve_nameless(cast: Cast) -> Mend:
    """Let a shelf be asked for by nobody; it must not be granted."""
    run = cast.run
    name = cast.where or cast.dice.choice([entry.name for entry in run.entries])
    run.turn(AlarmShelved(name, 60.0, "", ""))
    return lambda: None


KINDS: Final = (
    Kind("paths down", "every way to reach people refuses", _paths_down, 5.0, 180.0),
    Kind("paths hang", "every way accepts and delivers hours later", _paths_hang, 30.0, 120.0),
    Kind("paths busy", "a way refuses most messages for the moment", _path("busy", 0.7), 30.0, 8 * HOURS),
    Kind("paths lose", "half the messages vanish after being accepted", _path("lost", 0.5), 60.0, 24 * HOURS),
    Kind("paths double", "half the messages come twice", _path("doubled", 0.5), 60.0, 24 * HOURS),
    Kind("address dead", "one person's address is refused", _dead_address, 60.0, 48 * HOURS),
    Kind("nobody answers", "nobody answers anything", _everybody("answers", 0.0), 60.0, 8 * HOURS),
    Kind(
        "everybody mistypes", "every code is mistyped at first", _everybody("mistypes", 1.0), 60.0, 12 * HOURS
    ),
    Kind("codes forgotten", "answers come without a code", _everybody("forgets_code", 1.0), 60.0, 4 * HOURS),
    Kind("battery flat", "a phone is off", _spans("flat_ms"), 60.0, 8 * HOURS),
    Kind("out of office", "an automatic reply answers for a person", _spans("away_ms"), 60.0, 8 * HOURS),
    Kind(
        "strange answers",
        "people type what is no code, and nobody signs it",
        _strange_answers,
        30.0,
        6 * HOURS,
    ),
    Kind("curtain held", "somebody holds the curtain", _hold, 20.0, 6 * HOURS),
    Kind("alarm shelved", "somebody silences an alarm and forgets it", _shelve, 5.0, 10.0),
    Kind("shelf without a name", "a shelf is asked for by nobody", _shelve_nameless, 5.0, 10.0),
)
"""What can go wrong with people and paths."""
