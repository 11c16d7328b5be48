"""What a board's report, a refused command and the passing of time do to the drive."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from controller.core.curtain.drive import (
    END_TOLERANCE_PERCENT,
    MID_TOLERANCE_PERCENT,
    MUTE_RETRY_MS,
    UNASKED_GRACE_MS,
    Drive,
    Phase,
    Trigger,
    end_run,
    fire,
    reckoned_position,
    reported_position,
)
from controller.core.plan.curtain import Actuator, Curtain
from controller.core.signals.sense import NEVER
from controller.core.units import SECOND_MS, HouseMs
from controller.core.vocabulary import CurtainReported, Limit, Run, Selector

NO_PROGRESS_SHARE: Final = 0.15
"""A motor that runs this share of its travel time without moving the curtain has jammed (our choice)."""

NO_PROGRESS_LEAST_MS: Final = 20 * SECOND_MS
"""And never sooner than this. [ms]"""

PROGRESS_PERCENT: Final = 0.5
"""A smaller change of position is no progress. [%]"""


def hear(curtain: Curtain, drive: Drive, report: CurtainReported, now: HouseMs) -> tuple[Drive, str]:
    """Take a board's report in; return the drive and, if the motor must be stopped, why.

    The selector at the motor and contradictions come first; then position; then arrival.
    """
    if report.limit is Limit.BOTH:
        return _fault(curtain, drive, now, "both end switches are pressed at once")
    if report.selector is not drive.selector:
        drive = replace(drive, selector=report.selector)
        if report.selector is Selector.REMOTE:
            drive = fire(drive, Trigger.UNLOCKED, drawn_percent=None)
        else:
            return end_run(curtain, drive, Trigger.LOCKED, now, drawn_percent=report.drawn_percent), ""
    if drive.phase is Phase.RUNNING:
        return _hear_running(curtain, drive, report, now)
    here = reported_position(curtain, drive, report, now)
    if report.moving and report.selector is Selector.REMOTE:
        since = now if drive.unasked_since_ms is None else drive.unasked_since_ms
        if now - since >= UNASKED_GRACE_MS and drive.phase is not Phase.FAULTED:
            return _fault(curtain, drive, now, "the motor moves without being asked: a relay may be welded")
        return replace(drive, unasked_since_ms=since, drawn_percent=here), ""
    if drive.phase is Phase.MUTE:
        drive = fire(drive, Trigger.HEARD, trouble="")
    if here == drive.drawn_percent and drive.unasked_since_ms is None:
        return drive, ""
    return replace(drive, unasked_since_ms=None, drawn_percent=here), ""


def _hear_running(curtain: Curtain, drive: Drive, report: CurtainReported, now: HouseMs) -> tuple[Drive, str]:
    """Follow a run by its reports: progress, arrival, a stop on the way."""
    here = reported_position(curtain, drive, report, now)
    confirmed = drive.confirmed or report.moving or report.command_id == drive.command_id
    moved = here is not None and (
        drive.drawn_percent is None or abs(here - drive.drawn_percent) >= PROGRESS_PERCENT
    )
    drive = replace(
        drive,
        confirmed=confirmed,
        drawn_percent=here if moved else drive.drawn_percent,
        progress_ms=now if moved else drive.progress_ms,
    )
    end = {100.0: Limit.DRAWN, 0.0: Limit.OPEN}.get(drive.target_percent)
    at_end = end is not None and report.limit is end
    if at_end:
        return end_run(
            curtain, drive, Trigger.ARRIVED, now, drawn_percent=drive.target_percent, trouble=""
        ), ""
    if report.moving or not confirmed:
        return drive, ""
    if curtain.actuator is Actuator.TARGET and here is not None:
        tolerance = END_TOLERANCE_PERCENT if end is not None else MID_TOLERANCE_PERCENT
        if abs(here - drive.target_percent) <= tolerance:
            return end_run(curtain, drive, Trigger.ARRIVED, now, drawn_percent=here, trouble=""), ""
        if (
            drive.from_percent is not None
            and here == drive.from_percent
            and now - drive.started_ms < _patience_ms(curtain)
        ):
            # The board took the command and has not begun to move yet.
            return drive, ""
        return _fault(
            curtain, drive, now, f"it stopped at {here:.0f} % on the way to {drive.target_percent:.0f} %"
        )
    return drive, ""


def _patience_ms(curtain: Curtain) -> int:
    """Return how long a running motor may show no progress before it counts as jammed [ms]."""
    return max(NO_PROGRESS_LEAST_MS, round(NO_PROGRESS_SHARE * curtain.travel_time_s * SECOND_MS))


def pass_time(curtain: Curtain, drive: Drive, now: HouseMs) -> tuple[Drive, str]:
    """Let time pass over the drive; return it and, if the motor must be stopped, why.

    A run whose time is over has arrived only where time is the measure; where an end switch or a position
    was expected and did not come, the motor has jammed.
    """
    if drive.phase is not Phase.RUNNING:
        return drive, ""
    if not drive.confirmed and now >= drive.started_ms + round(curtain.report_within_s * SECOND_MS):
        text = f"the board has not answered within {curtain.report_within_s:g} s"
        drive = end_run(
            curtain,
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
            return end_run(curtain, drive, Trigger.ARRIVED, now, drawn_percent=here, trouble=""), ""
        ran_s = (now - drive.started_ms) / SECOND_MS
        return _fault(
            curtain, drive, now, f"it ran {ran_s:.0f} s without reaching {drive.target_percent:.0f} %"
        )
    if (
        curtain.actuator is Actuator.TARGET
        and drive.confirmed
        and now >= drive.progress_ms + _patience_ms(curtain)
    ):
        return _fault(
            curtain, drive, now, f"it runs but has not moved for {(now - drive.progress_ms) // SECOND_MS} s"
        )
    return drive, ""


def _fault(curtain: Curtain, drive: Drive, now: HouseMs, text: str) -> tuple[Drive, str]:
    """Give up on the motor until a person has looked."""
    faulted = end_run(
        curtain, drive, Trigger.CONTRADICTED, now, drawn_percent=None, trouble=text, unasked_since_ms=None
    )
    return faulted, text


def refuse(curtain: Curtain, drive: Drive, effect_id: str, now: HouseMs) -> Drive:
    """Take in that a command did not reach the board: it never ran, so the position is what it was."""
    if drive.phase is not Phase.RUNNING or drive.command_id != effect_id:
        return drive
    wait = now + round(curtain.report_within_s * SECOND_MS)
    return fire(drive, Trigger.REFUSED, drawn_percent=drive.from_percent, ended_ms=now, not_before_ms=wait)


def next_check_ms(curtain: Curtain, drive: Drive) -> HouseMs:
    """Return when `pass_time` next has something to do [ms]; NEVER while nothing runs."""
    if drive.phase is not Phase.RUNNING:
        return NEVER
    due = drive.run_until_ms
    if not drive.confirmed:
        due = min(due, drive.started_ms + round(curtain.report_within_s * SECOND_MS))
    elif curtain.actuator is Actuator.TARGET:
        due = min(due, drive.progress_ms + _patience_ms(curtain))
    return due


def needs_stop(drive: Drive) -> bool:
    """Whether a drive that has just left RUNNING left a motor that may still turn."""
    return drive.phase in {Phase.FAULTED, Phase.MUTE} and drive.run is not Run.STOP
