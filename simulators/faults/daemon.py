"""Faults of the daemon's own ground: its power, its record, its clock, its settings, its table of the sun."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from controller.core.plan.alarm import Watched
from controller.core.plan.plan import Plan
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from controller.core.vocabulary import AlmanacArrived, TroubleSeen
from simulators.faults.kind import Cast, Kind, Mend
from simulators.memory import Awaits, Doom, Moment

HOURS: Final = 60.0


def _nothing() -> None:
    """Mend what mends itself."""


def _kill(moment: Moment, awaits: Awaits) -> Callable[[Cast], Mend]:
    """Make a fault that takes the daemon's power at a place of a turn."""

    def begin(cast: Cast) -> Mend:
        away_ms = cast.dice.choice((5 * SECOND_MS, MINUTE_MS, 10 * MINUTE_MS))
        cast.run.memory.doom = Doom(moment, awaits, away_ms)

        def mend() -> None:
            # What it waited for has not come.
            cast.run.memory.doom = None

        return mend

    return begin


def _crash(away_ms: int) -> Callable[[Cast], Mend]:
    """Make a fault that takes the daemon's power between two turns."""

    def begin(cast: Cast) -> Mend:
        cast.run.crash(away_ms)
        return _nothing

    return begin


def _crash_loop(cast: Cast) -> Mend:
    """Take the power every few seconds."""
    run = cast.run
    for number in range(8):
        run.later(run.now_utc_ms + number * 12 * SECOND_MS, lambda: run.crash(4 * SECOND_MS))
    return _nothing


def _crash_in_motion(cast: Cast) -> Mend:
    """Take the power while the motor runs, as soon as it does."""
    return _kill(Moment.WHILE_ACTING, Awaits.MOVE)(cast)


def _refuse(text: str) -> Callable[[Cast], Mend]:
    """Make a fault that lets the record refuse every turn."""

    def begin(cast: Cast) -> Mend:
        memory = cast.run.memory
        memory.refuses = text

        def mend() -> None:
            memory.refuses = ""

        return mend

    return begin


def _corrupt(cast: Cast) -> Mend:
    """Damage the record, and take the power: the daemon must begin with nothing."""
    run = cast.run
    run.crash(20 * SECOND_MS)
    run.lose_record(run.now_utc_ms + 21 * SECOND_MS)
    return _nothing


def _history(cast: Cast) -> Mend:
    """Let the history refuse, as it does first when the disk fills up."""
    run = cast.run
    run.turn(TroubleSeen(Watched.HISTORY, "the disk is full; readings are not kept"))
    return lambda: run.tell_later(run.now_utc_ms, TroubleSeen(Watched.HISTORY, None))


def _step(offset_ms: int) -> Callable[[Cast], Mend]:
    """Make a fault that sets the board's clock, and sets it right again."""

    def begin(cast: Cast) -> Mend:
        clocks = cast.run.clocks
        clocks.utc_error_ms += offset_ms

        def mend() -> None:
            clocks.utc_error_ms -= offset_ms

        return mend

    return begin


def _unset(cast: Cast) -> Mend:
    """Start the daemon without a network: its clock is days behind, and says so."""
    run = cast.run
    run.clocks.trusted = False
    run.clocks.utc_error_ms -= 3 * DAY_MS
    run.crash(30 * SECOND_MS)

    def mend() -> None:
        run.clocks.utc_error_ms += 3 * DAY_MS
        run.clocks.trusted = True

    return mend


def _settings_refused(cast: Cast) -> Mend:
    """Let somebody save settings with a mistake in them."""
    run = cast.run
    run.turn(TroubleSeen(Watched.SETTINGS, "1 mistake, the first: line 12: a comma is missing"))
    return lambda: run.tell_later(run.now_utc_ms, TroubleSeen(Watched.SETTINGS, None))


def _settings_changed(cast: Cast) -> Mend:
    """Let somebody change limits, delays and people while all is running, and change them back."""
    run = cast.run
    before = run.plan
    alarm = tuple(
        entry.model_copy(update={"limit": entry.limit * 1.01}) if entry.limit is not None else entry
        for entry in before.alarm
    )
    curtain = tuple(one.model_copy(update={"dwell_min": one.dwell_min + 5.0}) for one in before.curtain)
    run.change_settings(before.model_copy(update={"alarm": alarm, "curtain": curtain}))
    return lambda: run.change_settings(before)


def _person_leaves(cast: Cast) -> Mend:
    """Take one person off the roster while alarms may be open, and bring them back."""
    run = cast.run
    before = run.plan
    name = cast.where or before.person[0].name
    run.change_settings(_without(before, name))
    return lambda: run.change_settings(before)


def _without(plan: Plan, name: str) -> Plan:
    """Return the settings without a person; in the roster their stand-in takes their place."""
    steps = tuple(
        step.model_copy(update={"people": tuple(person for person in step.people if person != name)})
        for step in plan.call
    )
    return plan.model_copy(
        update={
            "person": tuple(person for person in plan.person if person.name != name),
            "call": tuple(step for step in steps if step.people),
            "duty": tuple(
                row.model_copy(update={"person": row.stand_in, "stand_in": ""}) if row.person == name else row
                for row in plan.duty
                if row.person != name or row.stand_in
            ),
        }
    )


def _sun_runs_out(cast: Cast) -> Mend:
    """Leave the daemon with a table of the sun that is over."""
    run = cast.run
    almanac = run.almanac
    if almanac is None:
        return _nothing
    old = type(almanac)(almanac.start_utc_ms - 1000 * DAY_MS, almanac.sun_height_cdeg, almanac.clear_sky_w_m2)
    run.almanac = old
    run.turn(AlmanacArrived(old))

    def mend() -> None:
        run.almanac = almanac
        run.turn(AlmanacArrived(almanac))

    return mend


KINDS: Final = (
    Kind(
        "power lost before commit",
        "the power goes before a turn is remembered",
        _kill(Moment.BEFORE_COMMIT, Awaits.ANY),
        5.0,
        10.0,
    ),
    Kind(
        "power lost after commit",
        "the power goes after a turn is remembered",
        _kill(Moment.AFTER_COMMIT, Awaits.ANY),
        5.0,
        10.0,
    ),
    Kind(
        "power lost before a message is remembered",
        "the power goes before a call is remembered",
        _kill(Moment.BEFORE_COMMIT, Awaits.MESSAGE),
        60.0,
        24 * HOURS,
    ),
    Kind(
        "power lost before a message is sent",
        "a call is remembered, and the power goes",
        _kill(Moment.AFTER_COMMIT, Awaits.MESSAGE),
        60.0,
        24 * HOURS,
    ),
    Kind(
        "power lost while messages are sent",
        "one of several messages goes out, and the power goes",
        _kill(Moment.WHILE_ACTING, Awaits.MESSAGE),
        60.0,
        24 * HOURS,
    ),
    Kind(
        "power lost before a move",
        "a move is remembered, and the power goes",
        _kill(Moment.AFTER_COMMIT, Awaits.MOVE),
        60.0,
        24 * HOURS,
    ),
    Kind(
        "power lost while the motor runs",
        "the motor begins to run, and the power goes",
        _crash_in_motion,
        60.0,
        24 * HOURS,
    ),
    Kind("daemon away for an hour", "the power is gone for an hour", _crash(HOUR_MS), 61.0, 62.0),
    Kind("crash loop", "the daemon dies every few seconds", _crash_loop, 5.0, 10.0),
    Kind(
        "disk full",
        "the record refuses every turn",
        _refuse("the disk is full; nothing can be remembered"),
        5.0,
        12 * HOURS,
    ),
    Kind(
        "card read-only",
        "the record cannot be written",
        _refuse("the record cannot be written: read-only"),
        5.0,
        12 * HOURS,
    ),
    Kind("record corrupt", "the record is damaged, and everything is forgotten", _corrupt, 5.0, 10.0),
    Kind("history full", "the history refuses", _history, 30.0, 12 * HOURS),
    Kind("clock an hour ahead", "the clock is set an hour ahead", _step(HOUR_MS), 30.0, 12 * HOURS),
    Kind("clock an hour behind", "the clock is set an hour back", _step(-HOUR_MS), 30.0, 12 * HOURS),
    Kind("clock years ahead", "the clock jumps by three years", _step(1100 * DAY_MS), 5.0, 120.0),
    Kind("clock not set", "the daemon starts with a clock that nobody has set", _unset, 30.0, 24 * HOURS),
    Kind("settings refused", "somebody saves settings with a mistake", _settings_refused, 10.0, 12 * HOURS),
    Kind("settings changed", "somebody changes limits and dwell", _settings_changed, 30.0, 12 * HOURS),
    Kind("person leaves", "somebody is taken off the roster", _person_leaves, 60.0, 24 * HOURS),
    Kind("sun table over", "the table of the sun has run out", _sun_runs_out, 60.0, 24 * HOURS),
)
"""What can go wrong with the daemon's own ground."""
