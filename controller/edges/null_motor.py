"""An ideal motor without hardware: it moves nothing and reports as a good board would.

Replays and dry runs drive it in place of a board. It reads no clock; time is handed in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from controller.core.plan.curtain import Curtain
from controller.core.plan.plan import Plan
from controller.core.units import SECOND_MS, HouseMs
from controller.core.vocabulary import CurtainReported, Limit, MoveCurtain, Run

REPORTS_A_RUN: Final = 8
"""Reports of progress in the course of a whole travel; enough to show that it moves."""


@dataclass(slots=True)
class _Motor:
    """One imagined motor."""

    travel_ms: int
    drawn_percent: float = 0.0
    from_percent: float = 0.0
    target_percent: float = 0.0
    started_ms: HouseMs = 0
    ends_ms: HouseMs = 0
    next_ms: HouseMs | None = None
    command_id: str | None = None


class NullMotor:
    """The imagined motors of all curtains of a plan. They begin open."""

    def __init__(self, plan: Plan) -> None:
        self._motors = {curtain.name: _make(curtain) for curtain in plan.curtain}

    def act(self, move: MoveCurtain, now_house_ms: HouseMs) -> None:
        """Take a command at once: start towards the target, or stop where it is."""
        motor = self._motors.get(move.curtain)
        if motor is None:
            return
        here = _position(motor, now_house_ms)
        motor.drawn_percent = motor.from_percent = here
        motor.command_id = move.effect_id
        motor.started_ms = now_house_ms
        motor.next_ms = now_house_ms
        if move.run is Run.STOP:
            motor.target_percent, motor.ends_ms = here, now_house_ms
            return
        motor.target_percent = move.drawn_percent
        way = abs(move.drawn_percent - here) / 100.0
        motor.ends_ms = now_house_ms + round(min(way * motor.travel_ms, float(move.run_at_most_ms)))

    def due(self, now_house_ms: HouseMs) -> tuple[CurtainReported, ...]:
        """Return the reports whose time has come, and go on to the next ones."""
        reports = []
        for name, motor in self._motors.items():
            if motor.next_ms is None or motor.next_ms > now_house_ms:
                continue
            here = motor.drawn_percent = _position(motor, now_house_ms)
            moving = now_house_ms < motor.ends_ms
            reports.append(CurtainReported(name, here, moving, _limit(here), command_id=motor.command_id))
            motor.next_ms = (
                min(motor.ends_ms, now_house_ms + max(SECOND_MS, motor.travel_ms // REPORTS_A_RUN))
                if moving
                else None
            )
        return tuple(reports)

    def next_due_ms(self) -> HouseMs | None:
        """Return when the next report is due [ms], or None while all rest."""
        return min(
            (motor.next_ms for motor in self._motors.values() if motor.next_ms is not None), default=None
        )


def _make(curtain: Curtain) -> _Motor:
    """Make the imagined motor of a curtain."""
    return _Motor(travel_ms=round(curtain.travel_time_s * SECOND_MS))


def _position(motor: _Motor, now: HouseMs) -> float:
    """Return where the motor has come to by now [%]."""
    moved = (min(now, motor.ends_ms) - motor.started_ms) / motor.travel_ms * 100.0
    if motor.target_percent >= motor.from_percent:
        return min(motor.from_percent + moved, motor.target_percent)
    return max(motor.from_percent - moved, motor.target_percent)


def _limit(drawn_percent: float) -> Limit:
    """Return the end switch pressed at a position."""
    if drawn_percent >= 100.0:
        return Limit.DRAWN
    return Limit.OPEN if drawn_percent <= 0.0 else Limit.NONE
