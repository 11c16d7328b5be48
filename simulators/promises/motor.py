"""Promises about the curtain's motor, held against the board itself.

- A run is bounded by the travel time and the ceiling of the settings, expires, and says why.
- The motor rests before it turns round, dwells between two moves for comfort, and makes no more of them in a
  day than the settings allow. The further steps of an opening in steps, and the end of a humidity gap, belong to
  the move that began them; steps are kept apart by their own wait.
- Nothing is driven against an end switch that is pressed, while both are pressed, against the selector, or a
  third time against a jam.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, NamedTuple

from controller.core.plan.curtain import Curtain
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS
from controller.core.vocabulary import (
    CurtainReported,
    Effect,
    EffectFailed,
    Event,
    FaultCleared,
    Ledger,
    Limit,
    MoveCurtain,
    Note,
    Run,
    Selector,
    SettingsChanged,
    Stamp,
    Started,
)
from simulators.boards import Selector as BoardSelector
from simulators.motor import Direction
from simulators.promises.broken import PromiseBroken

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

COMFORT: Final = frozenset(
    {"light ceiling", "day's light sum", "hold heat at night", "hold heat in low light", "open"}
)
"""The rules whose moves wait for dwell and budget."""

OPEN, GAP = "open", "humidity gap"
HOLDS_HEAT: Final = frozenset({"hold heat at night", "hold heat in low light", GAP})
"""The rules after which the air above the curtain is cold."""

NEARLY_DRAWN_PERCENT: Final = 97.0
"""So far drawn, a gap included, it has held heat. [%]"""

COLD_MARGIN_C: Final = 2.5
"""Room for two thermometers and for what changes between two looks. [C]"""

STEP_MARGIN_PERCENT: Final = 5.0
"""A step of an opening may be so much longer than the settings say: small moves are not made. [%]"""

ON_THE_WAY_S: Final = 1.0
"""The rest is counted from the stop that was sent; it may be this long on its way to the board. [s]"""

TRIES_MOST: Final = 2
"""Runs against a jam before a person has looked."""


class _Move(NamedTuple):
    """A move that was begun: its command, when on the house axis [ms], the rule, and where to [%]."""

    effect_id: str
    at_ms: int
    rule: str
    to_percent: float


@dataclass(slots=True)
class MotorPromises:
    """Watches every command to the one curtain of the run."""

    _started: list[_Move] = field(default_factory=list)
    _day: int = -1
    _today: int = 0
    _report: CurtainReported | None = None
    _both: bool = False
    _tries: int = 0
    _losses: int = 0

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Follow reports and commands."""
        match event:
            case CurtainReported():
                self._report = event
                self._both = self._both or event.limit is Limit.BOTH
            case FaultCleared():
                self._report = None
                self._both = False
                self._tries = 0
            case Started():
                self._report = None
                if run.memory.losses != self._losses:
                    # Its own past is lost to it: dwell and budget begin anew.
                    self._losses = run.memory.losses
                    self._started.clear()
                    self._today, self._both, self._tries = 0, False, 0
            case SettingsChanged():
                self._started.clear()
                self._report = None
            case EffectFailed():
                if self._started and self._started[-1].effect_id == event.effect_id:
                    # It never reached the board: it was no move.
                    self._started.pop()
                    self._today -= 1
            case _:
                pass
        for effect in effects:
            if isinstance(effect, MoveCurtain) and effect.run is not Run.STOP:
                curtain = next((c for c in run.plan.curtain if c.name == effect.curtain), None)
                if curtain is not None:
                    self._see(run, curtain, stamp, effect, effects)

    def _see(
        self, run: Clockwork, curtain: Curtain, stamp: Stamp, move: MoveCurtain, effects: tuple[Effect, ...]
    ) -> None:
        """Hold one command against the settings and the board."""
        notes = [
            note
            for note in effects
            if isinstance(note, Note) and note.ledger is Ledger.CURTAIN and note.subject == curtain.name
        ]
        if not move.reason.strip() or not any(move.reason in note.text for note in notes):
            raise PromiseBroken(run, "every move has a reason", f"{move!r}")
        most_ms = curtain.travel_time_s * curtain.running_time_ceiling * SECOND_MS + 2 * SECOND_MS
        if not 0 < move.run_at_most_ms <= most_ms or not 0.0 <= move.drawn_percent <= 100.0:
            raise PromiseBroken(run, "no run is longer than the settings allow", f"{move!r}")
        life_ms = move.not_after_house_ms - stamp.house_ms
        if not 0 <= life_ms <= curtain.command_life_s * SECOND_MS or not move.not_after_utc_ms > 0:
            raise PromiseBroken(run, "every command expires", f"{move!r} lives for {life_ms} ms")
        self._ask_place(run, move)
        self._ask_rest(run, curtain, move)
        rule = next((note.rule for note in notes if move.reason in note.text), "")
        self._ask_dwell(run, curtain, stamp, move, rule)
        self._report = None

    def _ask_place(self, run: Clockwork, move: MoveCurtain) -> None:
        """Ask whether the way is free: selector, end switches, jam."""
        report = self._report
        if self._both:
            raise PromiseBroken(run, "nothing runs while the end switches contradict each other", f"{move!r}")
        if report is not None:
            end = Limit.DRAWN if move.run is Run.DRAW else Limit.OPEN
            if report.limit is end:
                raise PromiseBroken(run, "nothing is driven against a pressed end switch", f"{move!r}")
            if report.selector is not Selector.REMOTE:
                raise PromiseBroken(run, "the selector at the motor wins", f"{move!r} after {report!r}")
        world = run.world.curtain
        jam = world.jam_at_percent
        # What never comes to the motor pulls at nothing.
        heard = run.world.board.powered and not run.link.down and not run.link.board_down
        if (
            heard
            and jam is not None
            and min(world.drawn_percent, move.drawn_percent)
            <= jam
            <= max(world.drawn_percent, move.drawn_percent)
        ):
            self._tries += 1
            if self._tries > TRIES_MOST:
                raise PromiseBroken(run, "nobody pulls a third time against a jam", f"{move!r}")

    def _ask_rest(self, run: Clockwork, curtain: Curtain, move: MoveCurtain) -> None:
        """Ask whether the motor has rested before it turns round."""
        run.bring_board_up_to_now()
        board, link = run.world.board, run.link
        if board.selector is not BoardSelector.REMOTE and (link.down or link.board_down):
            # A hand runs the motor, and no word of it can come.
            return
        way = Direction.DRAW if move.run is Run.DRAW else Direction.OPEN
        if board.welded is not Direction.REST or board.last_run in {Direction.REST, way}:
            return
        if board.rested_s < curtain.rest_before_reversal_s - ON_THE_WAY_S:
            text = f"{move!r} after {board.rested_s:.1f} s, it must rest {curtain.rest_before_reversal_s:g} s"
            raise PromiseBroken(run, "the motor rests before it turns round", text)

    def _ask_dwell(
        self, run: Clockwork, curtain: Curtain, stamp: Stamp, move: MoveCurtain, rule: str
    ) -> None:
        """Ask whether a move for comfort has waited, and is within the day's budget."""
        now = stamp.house_ms
        day = (stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS) // (24 * HOUR_MS)
        if day != self._day:
            self._day, self._today = day, 0
        last = self._started[-1] if self._started else None
        self._started = [*self._started[-1:], _Move(move.effect_id, now, rule, move.drawn_percent)]
        if last is not None and self._belongs(run, curtain, last, move, rule, now):
            return
        if last is not None and rule == OPEN and last.rule in HOLDS_HEAT:
            self._ask_first_step(run, curtain, move)
        self._today += 1
        if rule not in COMFORT:
            return
        if last is not None:
            waited_ms = now - last.at_ms
            if waited_ms < curtain.dwell_min * MINUTE_MS:
                text = f"{move!r} {waited_ms / MINUTE_MS:.1f} min after the last, it must dwell {curtain.dwell_min:g}"
                raise PromiseBroken(run, "two moves for comfort are kept apart", text)
        if self._today > curtain.moves_per_day:
            text = f"{self._today} moves today, {curtain.moves_per_day} are allowed"
            raise PromiseBroken(run, "the day's budget of moves is kept", text)

    def _ask_first_step(self, run: Clockwork, curtain: Curtain, move: MoveCurtain) -> None:
        """Ask whether an opening into cold air begins with its first small step."""
        steps, house = curtain.staged_opening, run.world.house
        if steps is None or run.world.curtain.drawn_percent < NEARLY_DRAWN_PERCENT:
            return
        least = 100.0 - steps.first_step_percent - STEP_MARGIN_PERCENT
        difference_c = house.air_c - run.world.weather.outdoor_c
        if (
            not run.broken
            and difference_c > steps.difference_above_c + COLD_MARGIN_C
            and move.drawn_percent < least
        ):
            raise PromiseBroken(
                run, "an opening into cold air goes in small steps", f"{move!r}, {difference_c:.1f} C"
            )

    def _belongs(
        self, run: Clockwork, curtain: Curtain, last: _Move, move: MoveCurtain, rule: str, now: int
    ) -> bool:
        """Tell whether this is a further step of an opening, or the end of a gap; steps wait and are short."""
        steps = curtain.staged_opening
        if rule == GAP and last.rule == GAP and move.drawn_percent >= 100.0:
            return True
        if steps is None or rule != OPEN or last.rule != OPEN or not last.to_percent > 0.0:
            return False
        house, weather = run.world.house, run.world.weather
        cold = house.air_c - weather.outdoor_c > steps.difference_above_c + COLD_MARGIN_C
        if (
            cold
            and not run.broken
            and now - last.at_ms < min(steps.wait_min, steps.first_wait_min) * MINUTE_MS
        ):
            text = f"{move!r} {(now - last.at_ms) / MINUTE_MS:.1f} min after the last step"
            raise PromiseBroken(run, "the steps of an opening are kept apart", text)
        long = last.to_percent - move.drawn_percent > steps.step_percent + STEP_MARGIN_PERCENT
        if cold and long and not run.broken:
            raise PromiseBroken(
                run, "an opening into cold air goes in small steps", f"{move!r} after {last!r}"
            )
        return True

    def moves_left(self, run: Clockwork, moves_per_day: int) -> bool:
        """Tell whether the day's budget has moves left."""
        stamp = run.clocks.stamp(run.now_utc_ms)
        day = (stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS) // (24 * HOUR_MS)
        return day != self._day or self._today < moves_per_day
