"""The motor of one curtain as a machine: a table of phases, and the rules for starting and stopping it.

Software is not a safety device. Duskbell asks; end switches, interlocks, isolator and the local selector
decide. The machine below keeps the asking modest: bounded runs, rest before turning round, no second try
after a jam, and a position that is unknown until something has shown it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from controller.core.curtain.wishes import Wish
from controller.core.plan.curtain import Actuator, Curtain
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS, HouseMs
from controller.core.vocabulary import CurtainReported, Limit, Run, Selector, Stamp

START_QUIET_MS: Final = 30 * SECOND_MS
"""After a start nothing moves for this long: the board may still be waking. [ms]"""

STAGGER_MS: Final = 10 * SECOND_MS
"""Two motors never start closer together than this, for the sake of the supply. [ms]"""

UNASKED_GRACE_MS: Final = 15 * SECOND_MS
"""A motor may still be reported moving this long after a run has ended. [ms]"""

MUTE_RETRY_MS: Final = 10 * MINUTE_MS
"""A board that did not answer is asked again after this. [ms]"""

END_TOLERANCE_PERCENT: Final = 1.0
"""Drawn means drawn to this: a 5 % gap loses a third of the heat saving (Vanthoor 2011, ch. 8). [%]"""

MID_TOLERANCE_PERCENT: Final = 3.0
"""A position between the ends need not be met more closely. [%]"""


class Phase(Enum):
    """What the motor is about."""

    IDLE = "idle"
    RUNNING = "running"
    MUTE = "mute"
    FAULTED = "faulted"
    LOCKED = "locked"


class Trigger(Enum):
    """What can happen to it."""

    COMMANDED = "commanded"
    ARRIVED = "arrived"
    REFUSED = "refused"
    SILENT = "silent"
    HEARD = "heard"
    CONTRADICTED = "contradicted"
    LOCKED = "locked"
    UNLOCKED = "unlocked"
    CLEARED = "cleared"
    RESTARTED = "restarted"


_I, _R, _M, _F, _L = Phase.IDLE, Phase.RUNNING, Phase.MUTE, Phase.FAULTED, Phase.LOCKED
_T = Trigger

TABLE: Final[dict[Phase, dict[Trigger, Phase]]] = {
    # Column order as in Trigger. A cell that names its own row says: this changes nothing.
    _I: {
        _T.COMMANDED: _R, _T.ARRIVED: _I, _T.REFUSED: _I, _T.SILENT: _I, _T.HEARD: _I,
        _T.CONTRADICTED: _F, _T.LOCKED: _L, _T.UNLOCKED: _I, _T.CLEARED: _I, _T.RESTARTED: _I,
    },
    _R: {
        _T.COMMANDED: _R, _T.ARRIVED: _I, _T.REFUSED: _I, _T.SILENT: _M, _T.HEARD: _R,
        _T.CONTRADICTED: _F, _T.LOCKED: _L, _T.UNLOCKED: _R, _T.CLEARED: _R,
        # After a restart nobody knows how far the run came: idle, position unknown.
        _T.RESTARTED: _I,
    },
    _M: {
        _T.COMMANDED: _R, _T.ARRIVED: _I, _T.REFUSED: _M, _T.SILENT: _M, _T.HEARD: _I,
        _T.CONTRADICTED: _F, _T.LOCKED: _L, _T.UNLOCKED: _I, _T.CLEARED: _I, _T.RESTARTED: _I,
    },
    # No second automatic try after a jam: only a person leads out of here, a restart does not.
    _F: {
        _T.COMMANDED: _F, _T.ARRIVED: _F, _T.REFUSED: _F, _T.SILENT: _F, _T.HEARD: _F,
        _T.CONTRADICTED: _F, _T.LOCKED: _F, _T.UNLOCKED: _F, _T.CLEARED: _I, _T.RESTARTED: _F,
    },
    _L: {
        _T.COMMANDED: _L, _T.ARRIVED: _L, _T.REFUSED: _L, _T.SILENT: _L, _T.HEARD: _L,
        # A restart does not turn the selector: only a report that says remote leads out.
        _T.CONTRADICTED: _F, _T.LOCKED: _L, _T.UNLOCKED: _I, _T.CLEARED: _L, _T.RESTARTED: _L,
    },
}  # fmt: skip

assert set(TABLE) == set(Phase), "every phase has a row"
assert all(set(row) == set(Trigger) for row in TABLE.values()), "every row answers every trigger"


@dataclass(frozen=True, slots=True)
class Drive:
    """What is known of one motor. Positions in drawn percent, None while unknown; times on the house axis."""

    phase: Phase = Phase.IDLE
    drawn_percent: float | None = None
    selector: Selector = Selector.REMOTE
    trouble: str = ""
    # The run under way, or the last one.
    run: Run = Run.STOP
    target_percent: float = 0.0
    from_percent: float | None = None
    command_id: str = ""
    started_ms: HouseMs = 0
    run_until_ms: HouseMs = 0
    confirmed: bool = False
    progress_ms: HouseMs = 0
    rule: str = ""
    # Memory between runs.
    ended_ms: HouseMs = 0
    not_before_ms: HouseMs = 0
    unasked_since_ms: HouseMs | None = None
    # The end switch that the resting curtain presses; why its position is in doubt; when it was run there for that.
    rests_on: Limit = Limit.NONE
    doubt: str = ""
    referenced_ms: HouseMs | None = None
    moves_day: int = 0
    moves_today: int = 0
    moves_total: int = 0
    motor_total_ms: int = 0
    recent_runs: tuple[tuple[HouseMs, HouseMs], ...] = ()


@dataclass(frozen=True, slots=True)
class Command:
    """A run the drive asks for; `run` STOP ends whatever is going on."""

    run: Run
    drawn_percent: float
    run_at_most_ms: int


def fire(drive: Drive, trigger: Trigger, **changes: object) -> Drive:
    """Follow the table and set `changes` in the same step. The one place where a phase changes."""
    return replace(drive, phase=TABLE[drive.phase][trigger], **changes)  # type: ignore[arg-type]  # names are checked by dataclass


def local_day(stamp: Stamp) -> int:
    """Return the number of the local civil day, for budgets that renew at midnight."""
    return (stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS) // (24 * HOUR_MS)


def travel_ms(curtain: Curtain, *, from_percent: float | None, to_percent: float) -> int:
    """Return how long the motor needs [ms], positive both ways; a whole travel when the start is unknown."""
    share = 1.0 if from_percent is None else abs(to_percent - from_percent) / 100.0
    return round(curtain.travel_time_s * SECOND_MS * share)


def plan_run(curtain: Curtain, drive: Drive, wish: Wish, stamp: Stamp) -> Command | None:
    """Plan a run towards the wish if it is worth one and everything allows it now; None if not.

    Whether waiting is needed, and until when, is told by `waits_until_ms`.
    """
    target = wanted_percent(curtain, drive, wish)
    if target is None or waits_until_ms(curtain, drive, wish, stamp) is not None:
        return None
    here = drive.drawn_percent
    run = direction(drive, target)
    at_most = expected = travel_ms(curtain, from_percent=here, to_percent=target)
    if curtain.actuator is Actuator.TARGET or target in {0.0, 100.0} or here is None:
        # To an end, or where the board stops by itself, time is only the ceiling.
        slack = curtain.travel_time_s * SECOND_MS * (curtain.running_time_ceiling - 1.0)
        at_most = round(expected + max(slack, 2 * SECOND_MS))
    return Command(run, target, at_most)


def direction(drive: Drive, target_percent: float) -> Run:
    """Return which way the motor must turn; from an unknown position towards the nearer end of the target."""
    here = drive.drawn_percent
    return Run.DRAW if (target_percent > 50.0 if here is None else target_percent > here) else Run.OPEN


def begin(
    drive: Drive, command: Command, stamp: Stamp, *, rule: str, command_id: str, follows: bool = False
) -> Drive:
    """Start the planned run and count it, unless it `follows` as a further part of a move that has been counted."""
    now, day = stamp.house_ms, local_day(stamp)
    counts = 0 if follows else 1
    return fire(
        drive,
        Trigger.COMMANDED,
        run=command.run,
        target_percent=command.drawn_percent,
        from_percent=drive.drawn_percent,
        command_id=command_id,
        started_ms=now,
        run_until_ms=now + command.run_at_most_ms,
        confirmed=False,
        progress_ms=now,
        rule=rule,
        moves_day=day,
        moves_today=(drive.moves_today if drive.moves_day == day else 0) + counts,
        moves_total=drive.moves_total + counts,
        unasked_since_ms=None,
        referenced_ms=now if drive.doubt else drive.referenced_ms,
    )


def wanted_percent(curtain: Curtain, drive: Drive, wish: Wish) -> float | None:
    """Return the position to run to, or None when the curtain is near enough or must stay.

    An unknown position is first made known at the nearer end when the board cannot report one.
    """
    target = wish.drawn_percent
    if target is None or drive.phase not in {Phase.IDLE, Phase.MUTE}:
        return None
    here = drive.drawn_percent
    if here is None:
        if curtain.actuator is Actuator.RELAYS and target not in {0.0, 100.0}:
            return 100.0 if target >= 50.0 else 0.0
        return target
    least = END_TOLERANCE_PERCENT if target in {0.0, 100.0} else curtain.smallest_move_percent
    if wish.least_percent is not None:
        least = wish.least_percent
    return target if abs(target - here) > least else None


def waits_until_ms(curtain: Curtain, drive: Drive, wish: Wish, stamp: Stamp) -> HouseMs | None:
    """Return when a wanted run may start if it may not start now [ms], or None if now is good.

    The waits: quiet after a start, a motor that still turns, rest before turning round, dwell between moves
    of comfort, the day's budget of moves, the motor's duty in any hour, a second try at a mute board.
    """
    now = stamp.house_ms
    until = drive.not_before_ms
    target = wanted_percent(curtain, drive, wish)
    if drive.unasked_since_ms is not None:
        until = max(until, drive.unasked_since_ms + UNASKED_GRACE_MS)
    if drive.ended_ms:
        if target is not None and direction(drive, target) is not drive.run:
            until = max(until, drive.ended_ms + round(curtain.rest_before_reversal_s * SECOND_MS))
        if not wish.urgent and not wish.own_pace:
            until = max(until, drive.ended_ms + round(curtain.dwell_min * MINUTE_MS))
    is_free = wish.urgent or wish.follows
    if not is_free and drive.moves_today >= curtain.moves_per_day and drive.moves_day == local_day(stamp):
        midnight_in = 24 * HOUR_MS - (stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS) % (24 * HOUR_MS)
        until = max(until, now + midnight_in)
    until = max(until, _duty_free_ms(curtain, drive, now))
    return until if until > now else None


def _duty_free_ms(curtain: Curtain, drive: Drive, now: HouseMs) -> HouseMs:
    """Return from when the motor has rested enough in the rolling hour [ms]."""
    window = now - HOUR_MS
    runs = [(max(start, window), end) for start, end in drive.recent_runs if end > window]
    excess = sum(end - start for start, end in runs) - round(curtain.duty_s_per_hour * SECOND_MS)
    for start, end in runs:
        if excess < 0:
            break
        if end - start > excess:
            # So much of this run must have left the hour.
            return start + excess + 1 + HOUR_MS
        excess -= end - start
    return 0


def end_run(
    drive: Drive, trigger: Trigger, now: HouseMs, *, rests_on: Limit = Limit.NONE, **changes: object
) -> Drive:
    """End the run under way by `trigger`, count its motor time, and keep the duty list to one hour."""
    runs = drive.recent_runs
    total = drive.motor_total_ms
    if drive.phase is Phase.RUNNING:
        runs = (*(run for run in runs if run[1] > now - HOUR_MS), (drive.started_ms, now))[-200:]
        total += now - drive.started_ms
    return fire(
        drive,
        trigger,
        ended_ms=now,
        recent_runs=runs,
        motor_total_ms=total,
        rests_on=rests_on,
        doubt="",
        **changes,
    )


def restart(drive: Drive, now: HouseMs) -> Drive:
    """Forget the position: after a restart nothing is known until the board or an end switch has shown it.

    A run that was under way may still go on at the board until its own time is over: that is not unasked.
    """
    quiet_until = now + START_QUIET_MS
    if drive.phase is not Phase.RUNNING:
        return fire(
            drive,
            Trigger.RESTARTED,
            drawn_percent=None,
            not_before_ms=quiet_until,
            unasked_since_ms=None,
            rests_on=Limit.NONE,
            doubt="",
        )
    return end_run(
        drive,
        Trigger.RESTARTED,
        min(now, drive.run_until_ms),
        drawn_percent=None,
        not_before_ms=quiet_until,
        unasked_since_ms=drive.run_until_ms if drive.run_until_ms > now else None,
    )


def is_abandoned(drive: Drive, wish: Wish) -> bool:
    """Whether a run under way is no longer wanted because somebody's hand or an urgent rule wants otherwise."""
    if drive.phase is not Phase.RUNNING or not wish.urgent or wish.drawn_percent is None:
        return False
    towards_draw = wish.drawn_percent > drive.target_percent + END_TOLERANCE_PERCENT
    towards_open = wish.drawn_percent < drive.target_percent - END_TOLERANCE_PERCENT
    return (towards_draw and drive.run is Run.OPEN) or (towards_open and drive.run is Run.DRAW)


def reported_position(curtain: Curtain, drive: Drive, report: CurtainReported, now: HouseMs) -> float | None:
    """Return the drawn percent that a report shows, or what dead reckoning makes of the run; None if unknown."""
    shown = shown_position(curtain, report)
    if shown is not None:
        return shown
    if drive.phase is Phase.RUNNING and drive.from_percent is not None:
        return reckoned_position(curtain, drive, now)
    return drive.drawn_percent


def shown_position(curtain: Curtain, report: CurtainReported) -> float | None:
    """Return the drawn percent that the report itself shows, by an end switch or a measured position, or None."""
    if report.limit is Limit.DRAWN:
        return 100.0
    if report.limit is Limit.OPEN:
        return 0.0
    return report.drawn_percent if curtain.actuator is Actuator.TARGET else None


def reckoned_position(curtain: Curtain, drive: Drive, now: HouseMs) -> float | None:
    """Reckon where a run has come to from its start, direction and time; None if the start is unknown."""
    if drive.from_percent is None:
        return None
    way = (now - drive.started_ms) / (curtain.travel_time_s * SECOND_MS) * 100.0
    here = drive.from_percent + (way if drive.run is Run.DRAW else -way)
    low, high = sorted((drive.from_percent, drive.target_percent))
    return min(max(here, low), high)
