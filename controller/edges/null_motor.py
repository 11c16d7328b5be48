"""An ideal motor without hardware: it moves nothing and reports as a perfect board would.

Replays and dry runs use it in place of the boards. It has no clock of its own: the house time is handed in.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass

from controller.core.plan.curtain import Actuator, Curtain
from controller.core.plan.plan import Plan
from controller.core.units import SECOND_MS, HouseMs
from controller.core.vocabulary import CurtainReported, Limit, MoveCurtain, Run

_END_PERCENT = {Run.DRAW: 100.0, Run.OPEN: 0.0}


@dataclass(frozen=True, slots=True)
class _Leg:
    """One run: from a position, at one instant, to another at another. At rest both are the same."""

    from_percent: float
    from_house_ms: HouseMs
    to_percent: float
    to_house_ms: HouseMs

    def position_percent(self, now_house_ms: HouseMs) -> float:
        """Position at an instant not before the leg's start [%]."""
        if now_house_ms >= self.to_house_ms:
            return self.to_percent
        share = (now_house_ms - self.from_house_ms) / (self.to_house_ms - self.from_house_ms)
        return self.from_percent + share * (self.to_percent - self.from_percent)


class NullMotor:
    """The motors of all curtains of the settings; each curtain begins open.

    A motor runs evenly and stops after the travel, or after the command's longest run if that is shorter.
    A board that takes targets knows its position; a pair of relays knows its end switches at most.
    """

    def __init__(self, plan: Plan) -> None:
        self._curtains: dict[str, Curtain] = {curtain.name: curtain for curtain in plan.curtain}
        self._legs: dict[str, _Leg] = {name: _Leg(0.0, 0, 0.0, 0) for name in self._curtains}
        self._reports: list[tuple[HouseMs, int, CurtainReported]] = []
        self._order = 0

    def act(self, move: MoveCurtain, now_house_ms: HouseMs) -> None:
        """Take a command. One that has expired, or names no curtain of the settings, is left alone.

        Parameters
        ----------
        move
            The command.
        now_house_ms
            The house time, not before that of any earlier call. [ms]
        """
        curtain = self._curtains.get(move.curtain)
        if curtain is None or now_house_ms > move.not_after_house_ms:
            return
        # What the run that ends here would have reported later does not happen.
        self._reports = [
            report
            for report in self._reports
            if report[2].curtain != move.curtain or report[0] <= now_house_ms
        ]
        heapq.heapify(self._reports)
        leg = _plan_leg(curtain, move, self._legs[move.curtain], now_house_ms)
        self._legs[move.curtain] = leg
        if leg.to_house_ms > now_house_ms:
            self._report(curtain, move, leg, now_house_ms)
        self._report(curtain, move, leg, leg.to_house_ms)

    def due(self, now_house_ms: HouseMs) -> tuple[CurtainReported, ...]:
        """Take the reports that have come by now, oldest first."""
        taken = []
        while self._reports and self._reports[0][0] <= now_house_ms:
            taken.append(heapq.heappop(self._reports)[2])
        return tuple(taken)

    def next_due_ms(self) -> HouseMs | None:
        """House time of the next report [ms], or None when all is at rest."""
        return self._reports[0][0] if self._reports else None

    def _report(self, curtain: Curtain, move: MoveCurtain, leg: _Leg, at_house_ms: HouseMs) -> None:
        position_percent = leg.position_percent(at_house_ms)
        report = CurtainReported(
            curtain=curtain.name,
            drawn_percent=position_percent if curtain.actuator is Actuator.TARGET else None,
            moving=at_house_ms < leg.to_house_ms,
            limit=_find_limit(curtain, position_percent),
            command_id=move.effect_id,
        )
        heapq.heappush(self._reports, (at_house_ms, self._order, report))
        self._order += 1


def _plan_leg(curtain: Curtain, move: MoveCurtain, before: _Leg, now_house_ms: HouseMs) -> _Leg:
    here_percent = before.position_percent(now_house_ms)
    if move.run is Run.STOP:
        return _Leg(here_percent, now_house_ms, here_percent, now_house_ms)
    goal_percent = move.drawn_percent if curtain.actuator is Actuator.TARGET else _END_PERCENT[move.run]
    ms_per_percent = curtain.travel_time_s * SECOND_MS / 100
    travel_ms = round(abs(goal_percent - here_percent) * ms_per_percent)
    if travel_ms <= move.run_at_most_ms:
        return _Leg(here_percent, now_house_ms, goal_percent, now_house_ms + travel_ms)
    moved_percent = move.run_at_most_ms / ms_per_percent
    reached_percent = here_percent + (moved_percent if goal_percent > here_percent else -moved_percent)
    return _Leg(here_percent, now_house_ms, reached_percent, now_house_ms + move.run_at_most_ms)


def _find_limit(curtain: Curtain, position_percent: float) -> Limit:
    if not curtain.has_limit_report:
        return Limit.NONE
    return {0.0: Limit.OPEN, 100.0: Limit.DRAWN}.get(position_percent, Limit.NONE)
