"""Drive the engine over a recording: what would the house have done, and why.

The same `step` as in the live daemon, with an ideal motor in place of the board, messages that are accepted
at once and a person who answers every call after some minutes. Sensors that the recording does not have are
left out, and so are the alarms on them: a recording cannot say that a sensor was missing if it never had it.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

from controller.core.alarms.lifecycle import SOUNDING
from controller.core.plan.alarm import Response
from controller.core.plan.curtain import Curtain
from controller.core.plan.plan import Plan
from controller.core.sky.almanac import Almanac
from controller.core.state import State
from controller.core.step import first_state
from controller.core.units import MINUTE_MS, HouseMs, UtcMs
from controller.core.vocabulary import (
    AlmanacArrived,
    AnswerGiven,
    CurtainReported,
    Effect,
    EffectDone,
    Event,
    Ledger,
    Limit,
    MoveCurtain,
    Note,
    ReadingsTaken,
    Run,
    Sample,
    SendMessage,
    Stamp,
    Started,
    Woken,
)
from controller.core.water.readings import make_recipes
from controller.core.why import Why, explain_curtains
from controller.edges.null_motor import NullMotor
from controller.engine import Engine

ANSWER_AFTER_MIN: Final = 5.0
"""How long the imagined person needs to answer a call, unless told otherwise (our choice). [min]"""

REPLAY_PERSON: Final = "replay"
"""The name in whose name the imagined person answers."""

OFFSET_STEP_MS: Final = 15 * MINUTE_MS
"""Every offset from UTC in use changes at a multiple of a quarter of an hour, so it is looked up once for each. [ms]"""


@dataclass(frozen=True, slots=True)
class Position:
    """A row of the positions file: where a curtain was sent, by which rule, and why."""

    utc_ms: UtcMs
    curtain: str
    drawn_percent: float
    rule: str
    reason: str


@dataclass(frozen=True, slots=True)
class Called:
    """An alarm that made somebody's phone ring: when it began to sound, and when the first message went."""

    alarm: str
    response: Response
    raised_utc_ms: UtcMs
    called_utc_ms: UtcMs


@dataclass(slots=True)
class Outcome:
    """What a replay showed. `called` are the alarms that made somebody's phone ring, `messages` counts all messages.

    `moves` counts as the day's budget does: an opening in steps is one move, a humidity gap is one, out and back;
    `starts` counts the starts of the motor, each of which is a row of `positions`.
    """

    moves: dict[str, int] = field(default_factory=dict)
    starts: dict[str, int] = field(default_factory=dict)
    positions: list[Position] = field(default_factory=list)
    alarms: list[tuple[UtcMs, str, str]] = field(default_factory=list)
    decisions: list[tuple[UtcMs, str, str, str]] = field(default_factory=list)
    sensor_notes: list[tuple[UtcMs, str, str]] = field(default_factory=list)
    called: list[Called] = field(default_factory=list)
    messages: int = 0

    @property
    def calls(self) -> int:
        """How many alarms made somebody's phone ring."""
        return len(self.called)


def limit_to(plan: Plan, recorded: Iterable[str]) -> Plan:
    """Leave out of `plan` the sensors that a recording does not have, and the alarms on them."""
    names = set(recorded)
    for water in plan.water:
        recipes = make_recipes(water, elevation_m=plan.site.elevation_m)
        names |= {recipe.name for recipe in recipes if names.issuperset(recipe.inputs)}
    return plan.model_copy(
        update={
            "sensor": tuple(sensor for sensor in plan.sensor if sensor.name in names),
            "alarm": tuple(entry for entry in plan.alarm if not entry.sensor or entry.sensor in names),
            # A recording has no people in it who could answer a test call.
            "supervision": None,
        }
    )


class Replay:
    """One run over a recording."""

    def __init__(
        self, plan: Plan, *, almanac: Almanac | None, start_utc_ms: UtcMs, answer_after_min: float
    ) -> None:
        self.outcome = Outcome(moves={curtain.name: 0 for curtain in plan.curtain})
        self._zone = ZoneInfo(plan.site.time_zone)
        self._start_utc_ms = start_utc_ms
        self._offset_from_ms: UtcMs = 0
        self._offset_min: int | None = None
        self._motor = NullMotor(plan)
        self._answer_after_ms = round(answer_after_min * MINUTE_MS)
        self._answers: list[tuple[HouseMs, str]] = []
        self._accepted: list[str] = []
        self._rung: set[tuple[str, int]] = set()
        self.engine = Engine(first_state(plan), act=self._act)
        self._turn(start_utc_ms, Started())
        if almanac is not None:
            self._turn(start_utc_ms, AlmanacArrived(almanac))
        for curtain in plan.curtain:
            self._begin_open(curtain, start_utc_ms)

    def _begin_open(self, curtain: Curtain, start_utc_ms: UtcMs) -> None:
        """Let every curtain begin open and known, so that its first move is a decision and no search."""
        self._turn(start_utc_ms, CurtainReported(curtain.name, 0.0, moving=False, limit=Limit.OPEN))
        self.outcome.positions.append(
            Position(start_utc_ms, curtain.name, 0.0, "start", "the replay begins with the curtain open")
        )

    def new_almanac(self, almanac: Almanac, utc_ms: UtcMs) -> None:
        """Hand over a further table of the sun."""
        self._turn(utc_ms, AlmanacArrived(almanac))

    def take(self, utc_ms: UtcMs, samples: tuple[Sample, ...]) -> None:
        """Let time pass to a row's instant and take the row in."""
        self.pass_to(utc_ms)
        self._turn(utc_ms, ReadingsTaken(samples))

    def pass_to(self, utc_ms: UtcMs) -> None:
        """Let everything happen that time alone brings before an instant."""
        house_ms = utc_ms - self._start_utc_ms
        while True:
            motor_ms = self._motor.next_due_ms()
            answer_ms = self._answers[0][0] if self._answers else None
            due = self.engine.state.wake_ms
            if motor_ms is not None and motor_ms < due:
                due = motor_ms
            if answer_ms is not None and answer_ms < due:
                due = answer_ms
            if due >= house_ms:
                return
            self._happen(due)

    def explain(self, utc_ms: UtcMs) -> tuple[Why, ...]:
        """Say why each curtain is where it is at an instant that it has come to."""
        return explain_curtains(self.engine.state, self._stamp(utc_ms))

    def _happen(self, due: HouseMs) -> None:
        """Let the one thing happen that is due."""
        utc_ms = due + self._start_utc_ms
        if self._answers and self._answers[0][0] <= due:
            _, code = heapq.heappop(self._answers)
            self._turn(utc_ms, AnswerGiven(code, REPLAY_PERSON, "replay"))
            return
        reports = self._motor.due(due)
        for report in reports:
            self._turn(utc_ms, report)
        if not reports:
            self._turn(utc_ms, Woken())

    def _turn(self, utc_ms: UtcMs, event: Event) -> None:
        """Take one turn, and then what the world answers at once."""
        self.engine.turn(self._stamp(utc_ms), event)
        while self._accepted:
            self.engine.turn(self._stamp(utc_ms), EffectDone(self._accepted.pop(0)))

    def _stamp(self, utc_ms: UtcMs) -> Stamp:
        """Make the stamp of an instant of the recording, whose clock is taken as right."""
        if self._offset_min is None or not 0 <= utc_ms - self._offset_from_ms < OFFSET_STEP_MS:
            self._offset_from_ms = utc_ms - utc_ms % OFFSET_STEP_MS
            offset = (
                datetime.fromtimestamp(self._offset_from_ms / 1000, tz=UTC).astimezone(self._zone).utcoffset()
            )
            self._offset_min = 0 if offset is None else round(offset.total_seconds() / 60)
        return Stamp(utc_ms - self._start_utc_ms, utc_ms, self._offset_min, utc_trusted=True)

    def _act(self, effect: Effect, stamp: Stamp) -> None:
        """Be the world: move the ideal motor, accept messages, gather what is worth telling."""
        match effect:
            case MoveCurtain():
                self._motor.act(effect, stamp.house_ms)
                if effect.run is not Run.STOP:
                    state: State = self.engine.state
                    drive = state.durable.drives[effect.curtain]
                    rule = drive.rule
                    self.outcome.moves[effect.curtain] = drive.moves_total
                    self.outcome.starts[effect.curtain] = self.outcome.starts.get(effect.curtain, 0) + 1
                    self.outcome.positions.append(
                        Position(stamp.utc_ms, effect.curtain, effect.drawn_percent, rule, effect.reason)
                    )
            case SendMessage():
                self.outcome.messages += 1
                self._accepted.append(effect.effect_id)
                self._plan_answer(stamp)
            case Note(ledger=Ledger.ALARM):
                self.outcome.alarms.append((stamp.utc_ms, effect.subject, effect.text))
            case Note(ledger=Ledger.SENSOR):
                self.outcome.sensor_notes.append((stamp.utc_ms, effect.subject, effect.text))
            case Note(ledger=Ledger.CURTAIN):
                self.outcome.decisions.append((stamp.utc_ms, effect.subject, effect.rule, effect.text))
            case _:
                pass

    def _plan_answer(self, stamp: Stamp) -> None:
        """Let the imagined person answer each new call in time."""
        for name, alarm in self.engine.state.durable.alarms.items():
            if alarm.phase not in SOUNDING or not alarm.told:
                continue
            if (name, alarm.occurrence) not in self._rung:
                self._rung.add((name, alarm.occurrence))
                entry = self.engine.state.roll.entries[name]
                self.outcome.called.append(Called(name, entry.response, alarm.raised_utc_ms, stamp.utc_ms))
            if all(code != alarm.code for _, code in self._answers):
                heapq.heappush(self._answers, (stamp.house_ms + self._answer_after_ms, alarm.code))
