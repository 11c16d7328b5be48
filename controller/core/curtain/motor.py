"""What a board's report, a refused command and the passing of time do to the drive."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite
from typing import Final

from controller.core.curtain.costs import saving_left
from controller.core.curtain.drive import (
    END_TOLERANCE_PERCENT,
    MID_TOLERANCE_PERCENT,
    MUTE_RETRY_MS,
    START_QUIET_MS,
    UNASKED_GRACE_MS,
    Drive,
    Phase,
    Trigger,
    end_run,
    fire,
    reckoned_position,
    reported_position,
    shown_position,
)
from controller.core.plan.curtain import Actuator, Curtain
from controller.core.signals.sense import NEVER
from controller.core.units import HOUR_MS, SECOND_MS, HouseMs
from controller.core.vocabulary import CurtainReported, Limit, Selector

NO_PROGRESS_SHARE: Final = 0.15
"""A motor that runs this share of its travel time without moving the curtain has jammed (our choice)."""

NO_PROGRESS_LEAST_MS: Final = 20 * SECOND_MS
"""And never sooner than this. [ms]"""

PROGRESS_PERCENT: Final = 0.5
"""A smaller change of position is no progress. [%]"""

CONTRADICTION_PERCENT: Final = 20.0
"""An end switch and a measured position further apart than this contradict each other (our choice). [%]"""

TOO_SOON_SHARE: Final = 0.5
"""An end switch that answers in less than this share of the travel time, from the other end, is stuck (our choice)."""

LET_GO_LASTS_MS: Final = 15 * SECOND_MS
"""An end switch that is pressed again within this has merely chattered (our choice). [ms]"""

LET_GO_AGAIN_MS: Final = 24 * HOUR_MS
"""After one reference run for a switch that let go at rest, none follows for this long (our choice). [ms]"""

REFUSED_RETRY_MS: Final = 60 * SECOND_MS
"""A command that did not reach its board is given again after this, while it is still wanted. [ms]"""


def hear(curtain: Curtain, drive: Drive, report: CurtainReported, now: HouseMs) -> tuple[Drive, str]:
    """Take a board's report in; return the drive and, if the motor must be stopped, why.

    The selector at the motor and contradictions come first; then position; then arrival.
    """
    report = _bound(report)
    if report.limit is Limit.BOTH:
        if drive.phase is Phase.FAULTED:
            return drive, ""
        return _fault(drive, now, "both end switches are pressed at once")
    if _is_contradicted(curtain, report) and drive.phase is not Phase.FAULTED:
        text = f"the {report.limit.value} end switch is pressed at {report.drawn_percent:.0f} % drawn"
        return _fault(drive, now, text)
    if report.selector is not Selector.REMOTE:
        return _hear_locked(curtain, drive, report, now), ""
    if drive.selector is not Selector.REMOTE:
        # Whoever has turned it back may still stand beside the motor.
        drive = fire(
            drive,
            Trigger.UNLOCKED,
            selector=Selector.REMOTE,
            drawn_percent=None,
            unasked_since_ms=None,
            not_before_ms=now + START_QUIET_MS,
            rests_on=Limit.NONE,
            doubt="",
        )
    if drive.phase is Phase.RUNNING:
        return _hear_running(curtain, drive, report, now)
    here = _steady(drive, reported_position(curtain, drive, report, now), report)
    if report.moving:
        since = now if drive.unasked_since_ms is None else drive.unasked_since_ms
        if now - since >= UNASKED_GRACE_MS and drive.phase is not Phase.FAULTED:
            return _fault(drive, now, "the motor moves without being asked: a relay may be welded")
        if since == drive.unasked_since_ms and here == drive.drawn_percent:
            return drive, ""
        return replace(drive, unasked_since_ms=since, drawn_percent=here), ""
    if drive.phase is Phase.MUTE:
        drive = fire(drive, Trigger.HEARD, trouble="")
    if drive.rests_on is not Limit.NONE and shown_position(curtain, report) is None:
        return _let_go(drive, now), ""
    rests_on = report.limit
    doubt = "" if here is not None else drive.doubt
    if (here, rests_on, doubt, None) == (
        drive.drawn_percent,
        drive.rests_on,
        drive.doubt,
        drive.unasked_since_ms,
    ):
        return drive, ""
    return replace(drive, unasked_since_ms=None, drawn_percent=here, rests_on=rests_on, doubt=doubt), ""


def _let_go(drive: Drive, now: HouseMs) -> Drive:
    """Doubt a position that only its end switch had shown, now that the switch is let go while the motor rests.

    The curtain may have slipped, been moved by hand, or the switch or its wire has come loose. The next run goes
    to an end and shows which; a switch that merely chatters is given the time to be pressed again first.
    """
    return replace(
        drive,
        unasked_since_ms=None,
        drawn_percent=None,
        rests_on=Limit.NONE,
        doubt=f"the {drive.rests_on.value} end switch let go while the motor rested",
        not_before_ms=max(drive.not_before_ms, now + LET_GO_LASTS_MS),
    )


def _is_contradicted(curtain: Curtain, report: CurtainReported) -> bool:
    """Whether end switch and measured position cannot both be right."""
    if curtain.actuator is not Actuator.TARGET or report.drawn_percent is None:
        return False
    end = {Limit.DRAWN: 100.0, Limit.OPEN: 0.0}.get(report.limit)
    return end is not None and abs(report.drawn_percent - end) > CONTRADICTION_PERCENT


def _bound(report: CurtainReported) -> CurtainReported:
    """Return the report with a position that is a position, or none."""
    here = report.drawn_percent
    if here is None or 0.0 <= here <= 100.0:
        return report
    return replace(report, drawn_percent=min(max(here, 0.0), 100.0) if isfinite(here) else None)


def _steady(drive: Drive, here: float | None, report: CurtainReported) -> float | None:
    """Return the position without the noise of a resting potentiometer, which would fill the record."""
    if here is None or drive.drawn_percent is None or report.limit is not Limit.NONE:
        return here
    return drive.drawn_percent if abs(here - drive.drawn_percent) < PROGRESS_PERCENT else here


def _hear_locked(curtain: Curtain, drive: Drive, report: CurtainReported, now: HouseMs) -> Drive:
    """Leave the motor to the hand at it, and follow only what the board shows of the position."""
    here = _steady(drive, shown_position(curtain, report), report)
    if drive.phase not in {Phase.LOCKED, Phase.FAULTED}:
        return end_run(
            drive,
            Trigger.LOCKED,
            now,
            selector=report.selector,
            drawn_percent=here,
            unasked_since_ms=None,
        )
    if report.selector is drive.selector and here == drive.drawn_percent:
        return drive
    return replace(drive, selector=report.selector, drawn_percent=here)


def _hear_running(curtain: Curtain, drive: Drive, report: CurtainReported, now: HouseMs) -> tuple[Drive, str]:
    """Follow a run by its reports: progress, arrival, a stop on the way."""
    here = reported_position(curtain, drive, report, now)
    known = drive.drawn_percent
    moved = here is not None and (known is None or abs(here - known) >= PROGRESS_PERCENT)
    confirmed = (
        drive.confirmed
        or report.moving
        or report.command_id == drive.command_id
        or (moved and known is not None)
    )
    drive = replace(
        drive,
        confirmed=confirmed,
        # Begun from an unknown position, the run counts from the first one heard of.
        from_percent=here if drive.from_percent is None else drive.from_percent,
        drawn_percent=here if moved else drive.drawn_percent,
        progress_ms=now if moved else drive.progress_ms,
    )
    end = {100.0: Limit.DRAWN, 0.0: Limit.OPEN}.get(drive.target_percent)
    if end is not None and report.limit is end:
        ran_ms = now - drive.started_ms
        whole_way = drive.from_percent == 100.0 - drive.target_percent
        if whole_way and ran_ms < TOO_SOON_SHARE * curtain.travel_time_s * SECOND_MS:
            return _fault(
                drive, now, f"the {end.value} end switch answered after {ran_ms / SECOND_MS:.0f} s: stuck?"
            )
        return _arrive(drive, now, drive.target_percent, rests_on=end), ""
    if here is None or curtain.actuator is not Actuator.TARGET:
        return drive, ""
    if report.moving:
        # Only a report can show that nothing moves; a board that speaks at start and end alone is no jam.
        still_ms = now - drive.progress_ms
        if still_ms < _patience_ms(curtain):
            return drive, ""
        return _fault(drive, now, f"it runs but has not moved for {still_ms // SECOND_MS} s")
    begun = drive.from_percent
    tolerance = (
        END_TOLERANCE_PERCENT
        if end is not None
        else min(MID_TOLERANCE_PERCENT, curtain.smallest_move_percent)
    )
    if (
        end is None
        and begun is not None
        and abs(drive.target_percent - begun) < curtain.smallest_move_percent
    ):
        # A gap or a small step has not been made before most of its way is gone.
        tolerance = min(tolerance, abs(drive.target_percent - begun) / 2)
    if abs(here - drive.target_percent) <= tolerance:
        return _arrive(drive, now, here), ""
    if not confirmed or (
        begun is not None
        and abs(here - begun) < PROGRESS_PERCENT
        and now - drive.started_ms < _patience_ms(curtain)
    ):
        # The board took the command, or has yet to, and has not begun to move.
        return drive, ""
    text = f"it stopped at {here:.0f} % on the way to {drive.target_percent:.0f} %"
    if drive.target_percent == 100.0 and here >= 50.0:
        text += f"; so it saves {saving_left(here) * 100:.0f} % of the heat it saves drawn"
    return _fault(drive, now, text)


def _arrive(drive: Drive, now: HouseMs, here: float | None, *, rests_on: Limit = Limit.NONE) -> Drive:
    """End a run where it was to end."""
    return end_run(drive, Trigger.ARRIVED, now, drawn_percent=here, trouble="", rests_on=rests_on)


def _patience_ms(curtain: Curtain) -> int:
    """Return how long a running motor may show no progress before it counts as jammed [ms]."""
    if curtain.stalled_after_s is not None:
        return round(curtain.stalled_after_s * SECOND_MS)
    return max(NO_PROGRESS_LEAST_MS, round(NO_PROGRESS_SHARE * curtain.travel_time_s * SECOND_MS))


def pass_time(curtain: Curtain, drive: Drive, now: HouseMs) -> tuple[Drive, str]:
    """Let time pass over the drive; return it and, if the motor must be stopped, why.

    A run whose time is over has arrived only where time is the measure; where an end switch or a position
    was expected and did not come, the motor has jammed. An end switch that lets go again after the run that was
    to show the position is not run after a second time.
    """
    if drive.phase is not Phase.RUNNING:
        if (
            drive.doubt
            and drive.phase is Phase.IDLE
            and drive.referenced_ms is not None
            and drive.referenced_ms + LET_GO_AGAIN_MS > now >= drive.not_before_ms
        ):
            return _fault(drive, now, f"{drive.doubt}, again after a run that met it")
        return drive, ""
    if not drive.confirmed and now >= drive.started_ms + round(curtain.report_within_s * SECOND_MS):
        text = f"the board has not answered within {curtain.report_within_s:g} s"
        drive = end_run(
            drive,
            Trigger.SILENT,
            now,
            drawn_percent=None,
            trouble=text,
            not_before_ms=now + MUTE_RETRY_MS,
        )
        return drive, text
    if now >= drive.run_until_ms:
        is_end = drive.target_percent in {0.0, 100.0}
        if curtain.actuator is Actuator.RELAYS and not (is_end and curtain.has_limit_report):
            here = drive.target_percent if is_end else reckoned_position(curtain, drive, now)
            return _arrive(drive, now, here), ""
        ran_s = (now - drive.started_ms) / SECOND_MS
        return _fault(drive, now, f"it ran {ran_s:.0f} s without reaching {drive.target_percent:.0f} %")
    return drive, ""


def _fault(drive: Drive, now: HouseMs, text: str) -> tuple[Drive, str]:
    """Give up on the motor until a person has looked."""
    faulted = end_run(
        drive, Trigger.CONTRADICTED, now, drawn_percent=None, trouble=text, unasked_since_ms=None
    )
    return faulted, text


def refuse(drive: Drive, effect_id: str, now: HouseMs) -> Drive:
    """Take in that a command did not reach the board: it never ran, so position and counts are what they were."""
    if drive.phase is not Phase.RUNNING or drive.command_id != effect_id:
        return drive
    return fire(
        drive,
        Trigger.REFUSED,
        drawn_percent=drive.from_percent,
        not_before_ms=now + REFUSED_RETRY_MS,
        referenced_ms=None if drive.doubt else drive.referenced_ms,
        moves_today=max(drive.moves_today - 1, 0),
        moves_total=max(drive.moves_total - 1, 0),
    )


def next_check_ms(curtain: Curtain, drive: Drive) -> HouseMs:
    """Return when `pass_time` next has something to do [ms]; NEVER while nothing runs."""
    if drive.phase is not Phase.RUNNING:
        return NEVER
    if drive.confirmed:
        return drive.run_until_ms
    return min(drive.run_until_ms, drive.started_ms + round(curtain.report_within_s * SECOND_MS))
