"""Faults of people and of the paths to them, and what people do at the console."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from controller.core.plan.alarm import Watched
from controller.core.plan.people import Person, Way
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.vocabulary import (
    AlarmShelved,
    AnswerGiven,
    HoldAsked,
    HoldReleased,
    ReplyReceived,
    TroubleSeen,
    Weather,
    WeatherTold,
)
from simulators.faults.kind import Cast, Kind, Mend
from simulators.paths import Path

FOR_EVER_MS: Final = 100 * 365 * 24 * HOUR_MS
HOURS: Final = 60.0
STRANGER: Final = "+447700900666"
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


def _modem_dead(cast: Cast) -> Mend:
    """Take the modem off its port: texts are refused at once, none come in, and its adapter says so."""
    run = cast.run
    path = run.staff.path(Way.TEXT.value)
    path.down_ms = ((run.now_utc_ms, FOR_EVER_MS),)
    run.tell_later(run.now_utc_ms + 20_000, TroubleSeen(Watched.MODEM, "the modem does not answer"))

    def mend() -> None:
        path.down_ms = ()
        run.tell_later(run.now_utc_ms + 20_000, TroubleSeen(Watched.MODEM, None))

    return mend


def _siren(key: str) -> Callable[[Cast], Mend]:
    """Make a fault of the siren's relay."""

    def begin(cast: Cast) -> Mend:
        run = cast.run
        setattr(run.siren, key, True)
        return lambda: run.siren.mend(run)

    return begin


def _texts(sender: str, *texts: str) -> Callable[[Cast], Mend]:
    """Let texts come from a number, again and again; `{code}` stands for the code of the last call."""

    def begin(cast: Cast) -> Mend:
        run, dice = cast.run, cast.dice
        live = [True]
        number = sender or run.plan.person[0].phone or "+447700900999"

        def write() -> None:
            if not live[0]:
                return
            for code in run.staff.codes or ("0000",):
                text = dice.choice(texts).format(code=code, wrong=f"{(int(code) + 1) % 10_000:04d}")
                run.turn(ReplyReceived(Way.TEXT, number, text))
            run.later(run.now_utc_ms + dice.randrange(4, 15) * MINUTE_MS, write)

        write()

        def mend() -> None:
            live[0] = False

        return mend

    return begin


def _old_code(cast: Cast) -> Mend:
    """Let a person text, again and again, the code of a call that is over."""
    run = cast.run
    old = tuple(code for code in run.staff.asked if code not in run.staff.codes)
    live = [True]

    def write() -> None:
        if not live[0]:
            return
        for code in old[-1:]:
            run.turn(ReplyReceived(Way.TEXT, run.plan.person[-1].phone or "+447700900999", code))
        run.later(run.now_utc_ms + 13 * MINUTE_MS, write)

    write()

    def mend() -> None:
        live[0] = False

    return mend


def _two_at_once(cast: Cast) -> Mend:
    """Let two people text the code of every call within a second."""
    run = cast.run
    live = [True]

    def write() -> None:
        if not live[0]:
            return
        for person in run.plan.person[:2]:
            for code in run.staff.codes:
                run.turn(ReplyReceived(Way.TEXT, person.phone or "+447700900999", code))
        run.later(run.now_utc_ms + 3 * MINUTE_MS, write)

    write()

    def mend() -> None:
        live[0] = False

    return mend


def _hold(cast: Cast) -> Mend:
    """Let somebody hold the curtain, and give it back."""
    run = cast.run
    percent = float(cast.where) if cast.where else cast.dice.choice((0.0, 30.0, 55.0, 100.0))
    run.turn(HoldAsked(run.curtain, percent, 600.0, "keeper"))
    return lambda: run.tell_later(run.now_utc_ms, HoldReleased(run.curtain, "keeper"))


def _say(weather: Weather) -> Callable[[Cast], Mend]:
    """Make somebody say what weather is coming, and take it back."""

    def begin(cast: Cast) -> Mend:
        run = cast.run
        run.turn(WeatherTold(weather, 24.0, "keeper"))
        return lambda: run.tell_later(run.now_utc_ms, WeatherTold(Weather.NONE, 0.0, "keeper"))

    return begin


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
    Kind("modem dead", "the modem is off its port", _modem_dead, 30.0, 12 * HOURS),
    Kind("siren relay dead", "the siren is told to sound and does not", _siren("dead"), 60.0, 24 * HOURS),
    Kind("siren stuck on", "the siren sounds on, whatever it is told", _siren("stuck"), 60.0, 24 * HOURS),
    Kind(
        "stranger texts",
        "somebody whose number nobody knows texts the codes",
        _texts(STRANGER, "{code}", "ok {code}", "{code}{code}"),
        10.0,
        4 * HOURS,
    ),
    Kind(
        "texts mistyped",
        "a person's texts have a digit wrong, a refusal, or a machine's words",
        _texts("", "{wrong}", "no {code} is not mine", "Automatic reply: about {code}, I am away"),
        10.0,
        2 * HOURS,
    ),
    Kind("old code texted", "a person texts the code of an alarm that is over", _old_code, 10.0, 4 * HOURS),
    Kind(
        "paths lose all", "every message vanishes after being accepted", _path("lost", 1.0), 60.0, 8 * HOURS
    ),
    Kind("two texts at once", "two people text every code within a second", _two_at_once, 10.0, 4 * HOURS),
    Kind("curtain held", "somebody holds the curtain", _hold, 20.0, 6 * HOURS, breaks=False),
    Kind(
        "storm told",
        "somebody says that a storm is coming",
        _say(Weather.STORM),
        60.0,
        12 * HOURS,
        breaks=False,
    ),
    Kind("snow told", "somebody says that it will snow", _say(Weather.SNOW), 60.0, 12 * HOURS, breaks=False),
    Kind("alarm shelved", "somebody silences an alarm and forgets it", _shelve, 5.0, 10.0),
    Kind("shelf without a name", "a shelf is asked for by nobody", _shelve_nameless, 5.0, 10.0),
)
"""What can go wrong with people and paths."""
