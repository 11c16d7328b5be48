"""Promises held against the house itself.

- Fish that run out of oxygen do so only after somebody was called.
- While nothing is wrong the curtain does what its settings say, by the true light, sun and temperatures.
- While nothing has ever been wrong, nobody is called in an emergency.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import Response
from controller.core.plan.curtain import Curtain
from controller.core.plan.part import Part
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.vocabulary import (
    Effect,
    Event,
    FaultCleared,
    HoldAsked,
    HoldReleased,
    SendMessage,
    Stamp,
)
from simulators.promises.broken import PromiseBroken
from simulators.promises.calls import CallPromises
from simulators.promises.motor import MotorPromises
from simulators.sun import elevation_deg

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

HARM_OXYGEN_MG_L: Final = 2.0
"""Carp are in distress below about this (common practice, no source); the alarms of the site stand at 4. [mg/L]"""

CALLED_WITHIN_MS: Final = 6 * HOUR_MS
"""An emergency call of the last hours counts as a call. [ms]"""

UP_MS: Final = 10 * MINUTE_MS
"""A daemon that has just begun cannot have called before. [ms]"""

CALM_MS: Final = 3 * HOUR_MS
"""So long after the last fault everything must follow the rules again. [ms]"""

MARGIN: Final = 1.06
"""Room for the error of the sensors. [1]"""


@dataclass(slots=True)
class HousePromises:
    """Watches fish and curtain."""

    calls: CallPromises
    motor: MotorPromises
    _bright_min: int = 0
    _mild_min: int = 0
    _night_min: int = 0
    _held_until_ms: int = 0
    _troubled: bool = False
    _judged: tuple[Curtain | None, bool] = (None, False)

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Follow holds, and see that nobody is woken for nothing."""
        if isinstance(event, HoldAsked):
            minutes = event.minutes if event.minutes == event.minutes else 0.0
            self._held_until_ms = stamp.house_ms + round(min(max(minutes, 1.0), 1440.0) * MINUTE_MS)
        elif isinstance(event, HoldReleased | FaultCleared):
            self._held_until_ms = min(self._held_until_ms, stamp.house_ms)
        self._troubled = self._troubled or bool(run.troubles)
        if self._troubled:
            return
        for effect in effects:
            if isinstance(effect, SendMessage):
                case = self.calls.alarms.hearing.cases.get(effect.thread.rpartition("/")[0])
                if case is not None and case.entry.response is Response.EMERGENCY:
                    raise PromiseBroken(run, "nobody is woken on a healthy day", effect.text)

    def minute(self, run: Clockwork) -> None:
        """Look at fish and curtain."""
        self._look_at_fish(run)
        if run.plan.curtain:
            self._look_at_curtain(run, run.plan.curtain[0])

    def _look_at_fish(self, run: Clockwork) -> None:
        """Fish in distress: somebody must have been called."""
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

    def _look_at_curtain(self, run: Clockwork, curtain: Curtain) -> None:
        """By true light and sun the curtain must stand where its settings want it."""
        light = run.world.weather.global_w_m2
        site = run.plan.site
        ceiling, heat = curtain.light_ceiling, curtain.hold_heat
        if self._judged[0] is not curtain:
            self._judged = (curtain, not _has_more_rules(curtain))
        if ceiling is None or heat is None or not self._judged[1]:
            return
        sun = 90.0
        if light < 50.0:
            sun = elevation_deg(
                run.now_utc_ms, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg
            )
        inside, outside = run.world.house.air_c, run.world.weather.outdoor_c
        cold = inside < heat.inside_below_c - 0.5 and inside - outside > heat.least_difference_c + 1.0
        bright = light > ceiling.draw_above_w_m2 * MARGIN + 20.0
        mild = heat.open_most_w_m2 * MARGIN + 10.0 < light < ceiling.open_below_w_m2 / MARGIN - 10.0
        night = sun < heat.night_below_deg - 1.0 and cold
        self._bright_min = self._bright_min + 1 if bright else 0
        self._mild_min = self._mild_min + 1 if mild else 0
        self._night_min = self._night_min + 1 if night else 0
        drawn = run.world.curtain.drawn_percent
        wait = curtain.dwell_min + 1.5 * curtain.travel_time_s / 60.0 + 5.0 + 5.0 * ceiling.filter_min
        wrong = ""
        if self._bright_min > wait + ceiling.draw_delay_min and drawn < ceiling.drawn_percent - 3.0:
            wrong = f"{light:.0f} W/m2 for {self._bright_min} min, and it is {drawn:.0f} % drawn"
        elif self._mild_min > wait + max(ceiling.open_delay_min, heat.open_delay_min) and drawn > 3.0:
            wrong = f"{light:.0f} W/m2 for {self._mild_min} min, and it is {drawn:.0f} % drawn"
        elif self._night_min > wait + heat.draw_delay_min and drawn < 97.0:
            wrong = f"night and cold for {self._night_min} min, and it is {drawn:.0f} % drawn"
        if wrong and self._is_calm(run, curtain):
            raise PromiseBroken(run, "the curtain follows its rules", wrong)

    def _is_calm(self, run: Clockwork, curtain: Curtain) -> bool:
        """Tell whether nothing excuses the curtain."""
        house_ms = run.clocks.house_ms(run.now_utc_ms)
        return (
            not run.troubles
            and not run.away
            and run.now_utc_ms - run.calm_since_ms > CALM_MS
            and house_ms > self._held_until_ms + HOUR_MS
            and house_ms - self.calls.alarms.hearing.restarted_ms > HOUR_MS
            and self.motor.moves_left(run, curtain.moves_per_day)
        )


def _has_more_rules(curtain: Curtain) -> bool:
    """Tell whether the settings have rules that are not judged here."""
    judged = {"light_ceiling", "hold_heat"}
    return any(isinstance(value, Part) for name, value in curtain if name not in judged)
