"""All promises together, as a watcher of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.alarms.own_faults import with_own_faults
from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.plan.plan import Plan
from controller.core.units import HOUR_MS, SECOND_MS
from controller.core.vocabulary import Effect, Event, Stamp
from simulators.memory import Moment
from simulators.promises.alarms import AlarmPromises
from simulators.promises.broken import PromiseBroken
from simulators.promises.calls import CallPromises
from simulators.promises.curtain import CurtainPromises
from simulators.promises.heard import Hearing
from simulators.promises.house import HousePromises
from simulators.promises.motor import MotorPromises
from simulators.promises.order import OrderPromises

RECOVERS_MS: Final = 12 * HOUR_MS
"""Within this an alarm that is over must also have been answered: a night lies in it. [ms]"""

REFUSED_MS: Final = 2 * HOUR_MS
"""Whoever has guessed codes is refused for an hour, and the alarm of it lasts as long; with room. [ms]"""

PROVEN_LATER: Final = frozenset({Watched.PEOPLE, Watched.PATHS})
"""What the weekly test call finds, it may be the next one that clears."""

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork


class Promises:
    """Watches a run and raises `PromiseBroken` at the first promise that is broken."""

    def __init__(self, plan: Plan) -> None:
        self.alarms = AlarmPromises(Hearing(plan, with_own_faults(plan.alarm, plan.sensor)))
        self.calls = CallPromises(self.alarms)
        self.order = OrderPromises()
        self.motor = MotorPromises()
        self.curtain = CurtainPromises(self.alarms, self.motor)
        self.house = HousePromises(self.calls)
        # The alarms first: the others ask them what was heard.
        self._turns = (
            self.alarms.turn,
            self.calls.turn,
            self.order.turn,
            self.motor.turn,
            self.curtain.turn,
            self.house.turn,
        )

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """See a turn of the daemon."""
        for look in self._turns:
            look(run, stamp, event, effects)

    def handed(self, run: Clockwork, stamp: Stamp, effect: Effect) -> None:
        """See an effect reach the world."""
        self.order.handed(run, stamp, effect)

    def died(self, run: Clockwork, stamp: Stamp, event: Event) -> None:
        """See the daemon lose its power: what was committed has happened, the rest has not."""
        doom = run.memory.doom
        if doom is not None and doom.moment is not Moment.BEFORE_COMMIT:
            self.turn(run, stamp, event, run.memory.committed)

    def minute(self, run: Clockwork) -> None:
        """See a minute end."""
        self.alarms.minute(run)
        self.calls.minute(run)
        self.curtain.minute(run)
        self.house.minute(run)

    def ask_recovered(self, run: Clockwork) -> None:
        """After the faults: nothing is open that need not be.

        Raises
        ------
        PromiseBroken
            An alarm that calls people is up although it has not been so for long, or waits for an answer.
        """
        if run.away:
            raise PromiseBroken(run, "everything recovers", "the daemon is still away")
        now = run.clocks.house_ms(run.now_utc_ms)
        for name, status in self.alarms.statuses.items():
            if status.entry.response is Response.NOTE or not self._has_long_been_well(name, now):
                continue
            call = self.calls.calls.get(name)
            waits = call is not None and call.answered_ms is None
            # What sounded and could not be remembered before the power went is no alarm any more.
            up = status.up and not status.unsure
            if up or waits:
                what = "is up" if up else "waits for an answer"
                raise PromiseBroken(run, "everything recovers", f"{name} [{status.code}] still {what}")

    def _has_long_been_well(self, name: str, now: int) -> bool:
        """Tell whether an alarm has had every reason, and the time, to end and to be answered."""
        case = self.alarms.hearing.cases[name]
        delay_ms = round(case.entry.off_delay_s * SECOND_MS) + RECOVERS_MS
        if case.entry.kind is Kind.FAULT:
            if case.entry.of in PROVEN_LATER or (
                case.entry.of is Watched.MESSAGES and self.calls.refused - {""}
            ):
                # It is over when the way has carried again or the person has answered; nobody sends for that alone.
                return False
            if case.entry.of is Watched.REPLIES and now - self.calls.heard_ms <= REFUSED_MS:
                return False
            return case.entry.of not in self.alarms.parts
        return case.maybe_ms is None and case.well_ms is not None and now - case.well_ms > delay_ms
