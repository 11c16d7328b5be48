"""Promises about what a curtain does, held against the true house.

- While nothing is broken the curtain stands where the first of its settings' rules that surely holds wants it.
- Moist air is let out through the gap of the settings, and a gap is closed again.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.plan.curtain import Curtain, HumidityGap
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS
from controller.core.vocabulary import Effect, Event, Stamp
from simulators.boards import Selector
from simulators.promises.alarms import AlarmPromises
from simulators.promises.broken import PromiseBroken
from simulators.promises.motor import MotorPromises
from simulators.promises.rules import Rules, Wanted

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

CALM_MS: Final = 3 * HOUR_MS
"""So long after the last fault everything must follow the rules again. [ms]"""

SETTLES_MS: Final = HOUR_MS
"""And so long after a start of the daemon. [ms]"""

AWRY_PERCENT: Final = 3.0
"""Room about a position for feedback and travel. [%]"""

DRAWN_PERCENT: Final = 99.0
"""From here on it is drawn and holds heat. [%]"""


class CurtainPromises:
    """Watches the first curtain of the run."""

    def __init__(self, alarms: AlarmPromises, motor: MotorPromises) -> None:
        self._alarms = alarms
        self._motor = motor
        self._rules: Rules | None = None
        self._wanted: Wanted | None = None
        self._wanted_min = 0
        self._ajar_min = 0
        self._damp_min = 0
        self._gaps = (0, 0)

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Follow what people want of the curtain."""
        del run, effects
        if self._rules is not None:
            self._rules.hear(event, stamp.house_ms)

    def minute(self, run: Clockwork) -> None:
        """Look at the curtain."""
        if not run.plan.curtain:
            return
        curtain = run.plan.curtain[0]
        rules = self._rules
        if rules is None or rules.curtain is not curtain:
            rules = self._follow(curtain)
        if self._is_excused(run):
            rules.forget()
            self._wanted, self._wanted_min, self._ajar_min, self._damp_min = None, 0, 0, 0
            rules.pass_minute(run)
            return
        wanted = rules.pass_minute(run)
        self._wanted_min = self._wanted_min + 1 if wanted == self._wanted else 0
        self._wanted = wanted
        drawn = run.world.curtain.drawn_percent
        if wanted is not None and not curtain.dry_run:
            self._ask_place(run, curtain, wanted, drawn)
            if curtain.humidity_gap is not None and wanted.rule == "hold heat":
                self._ask_gap(run, curtain, curtain.humidity_gap, drawn, damp=rules.moist.on is True)
                return
        self._ajar_min = self._damp_min = 0

    def _follow(self, curtain: Curtain) -> Rules:
        """Follow these settings; what people have said stays said."""
        rules = Rules(curtain)
        if self._rules is not None:
            rules.keep_words_of(self._rules)
            rules.forget()
        self._rules = rules
        return rules

    def _is_excused(self, run: Clockwork) -> bool:
        """Tell whether something has been broken lately, or somebody works at the motor."""
        house_ms = run.clocks.house_ms(run.now_utc_ms)
        restarted_ms = self._alarms.hearing.restarted_ms
        return (
            run.broken > 0
            or run.away
            or (run.calm_since_ms > run.start_utc_ms and run.now_utc_ms - run.calm_since_ms <= CALM_MS)
            or house_ms - restarted_ms <= SETTLES_MS
            or run.world.board.selector is not Selector.REMOTE
        )

    def _ask_place(self, run: Clockwork, curtain: Curtain, wanted: Wanted, drawn: float) -> None:
        """Ask whether it stands where it is wanted, after the time that it may take."""
        wait_min = 1.5 * curtain.travel_time_s / 60.0 + 4.0
        if wanted.comfort:
            if not self._motor.moves_left(run, curtain.moves_per_day):
                return
            wait_min += curtain.dwell_min
        steps = curtain.staged_opening
        if steps is not None and wanted.most_percent == 0.0:
            wait_min += steps.first_wait_min + steps.wait_min * 100.0 / steps.step_percent
        if self._wanted_min <= wait_min:
            return
        room = AWRY_PERCENT
        if 0.0 < wanted.least_percent == wanted.most_percent < 100.0:
            room = max(room, curtain.smallest_move_percent + 1.0)
        if not wanted.least_percent - room <= drawn <= wanted.most_percent + room:
            house, weather = run.world.house, run.world.weather
            text = (
                f"{wanted.rule} for {self._wanted_min} min, and it is {drawn:.0f} % drawn; "
                f"{weather.global_w_m2:.0f} W/m2, {house.air_c:.1f} C inside, {weather.outdoor_c:.1f} C outside"
            )
            raise PromiseBroken(run, "the curtain follows its rules", text)

    def _ask_gap(
        self, run: Clockwork, curtain: Curtain, gap: HumidityGap, drawn: float, *, damp: bool
    ) -> None:
        """Ask whether moist air is let out, and the gap closed again."""
        travel_min = curtain.travel_time_s / 60.0
        stamp = run.clocks.stamp(run.now_utc_ms)
        day = (stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS) // DAY_MS
        if day != self._gaps[0]:
            self._gaps = (day, 0)
        ajar = 100.0 - gap.gap_percent - AWRY_PERCENT <= drawn < DRAWN_PERCENT
        if ajar:
            if self._ajar_min == 0:
                self._gaps = (day, self._gaps[1] + 1)
            self._ajar_min += 1
            self._damp_min = 0
        else:
            self._ajar_min = 0
            self._damp_min = self._damp_min + 1 if damp and drawn >= DRAWN_PERCENT else 0
        if self._ajar_min > gap.open_min + 2 * travel_min + 5.0:
            text = f"{drawn:.1f} % drawn for {self._ajar_min} min"
            raise PromiseBroken(run, "a gap is closed again", text)
        may_wait_min = gap.delay_min + gap.open_min + gap.pause_min + curtain.dwell_min + travel_min + 15.0
        if (
            self._damp_min > may_wait_min
            and self._gaps[1] < gap.most_per_day
            and self._motor.moves_left(run, curtain.moves_per_day)
        ):
            text = f"{run.world.house.humidity_percent:.0f} % for {self._damp_min} min, drawn and no gap"
            raise PromiseBroken(run, "moist air is let out", text)
