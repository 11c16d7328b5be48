"""Promises held against the house itself.

- Fish that run out of oxygen do so only after somebody was called.
- While nothing has ever been wrong, nobody is called in an emergency.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import Response
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.vocabulary import (
    Effect,
    Event,
    SendMessage,
    Stamp,
)
from simulators.promises.broken import PromiseBroken
from simulators.promises.calls import CallPromises

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

HARM_OXYGEN_MG_L: Final = 2.0
"""Carp are in distress below about this (common practice, no source); the alarms of the site stand at 4. [mg/L]"""

CALLED_WITHIN_MS: Final = 6 * HOUR_MS
"""An emergency call of the last hours counts as a call. [ms]"""

UP_MS: Final = 10 * MINUTE_MS
"""A daemon that has just begun cannot have called before. [ms]"""


@dataclass(slots=True)
class HousePromises:
    """Watches the fish, and the sleep of people."""

    calls: CallPromises
    _troubled: bool = False

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """See that nobody is woken for nothing."""
        del stamp, event
        self._troubled = self._troubled or bool(run.troubles)
        if self._troubled:
            return
        for effect in effects:
            if isinstance(effect, SendMessage):
                case = self.calls.alarms.hearing.cases.get(effect.thread.rpartition("/")[0])
                if case is not None and case.entry.response is Response.EMERGENCY:
                    raise PromiseBroken(run, "nobody is woken on a healthy day", effect.text)

    def minute(self, run: Clockwork) -> None:
        """Look at the fish: while they are in distress somebody must have been called."""
        least = min(tank.oxygen_mg_l for tank in run.world.tanks)
        if least >= HARM_OXYGEN_MG_L or run.away:
            return
        now = run.clocks.house_ms(run.now_utc_ms)
        if now - self.calls.alarms.hearing.restarted_ms < UP_MS:
            return
        for call in self.calls.calls.values():
            called_ms = call.last_ms if call.entry.response is Response.EMERGENCY else None
            if called_ms is not None and now - called_ms < CALLED_WITHIN_MS:
                return
        raise PromiseBroken(
            run,
            "fish run out of oxygen only after somebody was called",
            f"{least:.2f} mg/L, nobody was called",
        )
