"""Virtual time: the real engine driven through a simulated house, minute by minute, from one seed.

The daemon's own `step` runs here, with the same engine as live; what is simulated is the world around it. All
times are whole milliseconds, all draws come from streams of the one seed, and nothing depends on hash order,
so the same seed gives the same bytes.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from controller.core.alarms.lifecycle import SOUNDING
from controller.core.plan.plan import Plan
from controller.core.sky.almanac import Almanac
from controller.core.step import first_state
from controller.core.vocabulary import (
    AlmanacArrived,
    AnswerGiven,
    CurtainReported,
    Effect,
    EffectDone,
    EffectFailed,
    Event,
    Ledger,
    Limit,
    MoveCurtain,
    Note,
    ReadingsTaken,
    Run,
    Sample,
    Selector,
    SendMessage,
    Stamp,
    Started,
    Woken,
)
from controller.engine import Engine, Record
from simulators.boards import Report
from simulators.instruments import Instrument
from simulators.motor import Direction
from simulators.paths import Path
from simulators.people import Happening, Person
from simulators.world import World

MINUTE_MS: Final = 60_000
REPORT_RUNNING_MS: Final = 10_000
"""The board reports this often while the motor runs. [ms]"""

REPORT_IDLE_MIN: Final = 5
"""And this often while it rests. [min]"""

BOARD_LAG_MS: Final = 300
"""A command needs this long to the board, a report as long back. [ms]"""

COUNT_KEEPS: Final = 10
"""Events kept for the story of a broken promise."""

Watcher = Callable[["Clockwork", Stamp, Event, tuple[Effect, ...]], None]
"""Looks at every turn: promises, plots, demonstrations."""


@dataclass(slots=True)
class Tally:
    """What a run came to. Energy in kWh/m2 of floor, light in mol/m2, times in minutes."""

    minutes: int = 0
    turns: int = 0
    moves: int = 0
    messages: int = 0
    refused_messages: int = 0
    answers: int = 0
    alarms: dict[str, int] = field(default_factory=dict)
    oxygen_least_mg_l: float = 99.0
    air_least_c: float = 99.0
    air_most_c: float = -99.0
    canopy_mol_m2: float = 0.0
    heat_kwh_m2: float = 0.0


class Clockwork:
    """One run: a daemon's engine, a world, people and paths, and the time between them."""

    def __init__(  # noqa: PLR0913 - a run has these parts
        self,
        plan: Plan,
        world: World,
        instruments: Iterable[Instrument],
        *,
        almanac: Almanac | None,
        start_utc_ms: int,
        seed: int,
        people: Iterable[Person] = (),
        path: Path | None = None,
        watchers: tuple[Watcher, ...] = (),
        record: Record | None = None,
    ) -> None:
        self.plan = plan
        self.world = world
        self.instruments = tuple(instruments)
        self.start_utc_ms = start_utc_ms
        self.now_utc_ms = start_utc_ms
        self.tally = Tally()
        self.last_events: list[tuple[int, Event]] = []
        self.people = {person.name: person for person in people}
        self._path = path or Path(seed=seed, name="email")
        self._zone = ZoneInfo(plan.site.time_zone)
        self._standard_min = _standard_offset_min(self._zone, start_utc_ms)
        self._watchers = watchers
        self._agenda: list[tuple[int, int, Callable[[], None]]] = []
        self._order = 0
        self._board_ms = start_utc_ms
        self._curtain = plan.curtain[0].name if plan.curtain else ""
        self._reporting = False
        self._offset: tuple[int, int] = (-1, 0)
        self.engine = Engine(first_state(plan), act=self._act, record=record)
        self.turn(Started())
        if almanac is not None:
            self.turn(AlmanacArrived(almanac))
        self._report()

    # --- time -------------------------------------------------------------------------------------------

    def run(self, minutes: int, *, on_minute: Callable[[int], None] | None = None) -> Tally:
        """Let minutes pass; `on_minute` is told each one that has passed."""
        for minute in range(minutes):
            self.pass_minute()
            if on_minute is not None:
                on_minute(minute)
        return self.tally

    def pass_minute(self) -> None:
        """Let one minute pass: deadlines and agenda first, then the world, then the sensors speak."""
        end = self.now_utc_ms + MINUTE_MS
        self._pass_to(end)
        self._advance_board(end)
        day_minute = end // MINUTE_MS + self._standard_min
        self.world.advance(end, day_minute % 1440)
        self._measure()
        if day_minute % REPORT_IDLE_MIN == 0 and not self._reporting:
            self._report()
        samples = []
        minute_utc = end // MINUTE_MS % 1440
        for instrument in self.instruments:
            if day_minute % instrument.every_min == 0:
                value = instrument.read(self.world, minute_utc, instrument.every_min * 60.0)
                if value is not None:
                    samples.append(Sample(instrument.name, value))
        if samples:
            self.turn(ReadingsTaken(tuple(samples)))

    def _pass_to(self, end: int) -> None:
        """Let everything happen that is due before an instant, in order of time."""
        while True:
            wake = self.engine.state.wake_ms + self.start_utc_ms
            due = self._agenda[0][0] if self._agenda else end
            if min(wake, due) >= end:
                self.now_utc_ms = end
                return
            if due <= wake:
                self.now_utc_ms = max(due, self.now_utc_ms)
                heapq.heappop(self._agenda)[2]()
            else:
                self.now_utc_ms = max(wake, self.now_utc_ms)
                self.turn(Woken())

    def later(self, at_ms: int, what: Callable[[], None]) -> None:
        """Put something on the agenda; what is put on first comes first among equals."""
        self._order += 1
        heapq.heappush(self._agenda, (max(at_ms, self.now_utc_ms), self._order, what))

    def stamp(self) -> Stamp:
        """Read the simulated clocks."""
        now = self.now_utc_ms
        quarter = now // 900_000
        if self._offset[0] != quarter:
            offset = datetime.fromtimestamp(now / 1000, tz=UTC).astimezone(self._zone).utcoffset()
            self._offset = (quarter, 0 if offset is None else round(offset.total_seconds() / 60))
        return Stamp(now - self.start_utc_ms, now, self._offset[1], utc_trusted=True)

    def turn(self, event: Event) -> tuple[Effect, ...]:
        """Take one turn of the engine, and show it to the watchers."""
        stamp = self.stamp()
        self.last_events.append((stamp.utc_ms, event))
        if len(self.last_events) > COUNT_KEEPS:
            del self.last_events[0]
        effects = self.engine.turn(stamp, event)
        self.tally.turns += 1
        for watcher in self._watchers:
            watcher(self, stamp, event, effects)
        return effects

    def _tell(self, event: Event) -> None:
        """Take a turn whose effects nobody here asks for."""
        self.turn(event)

    # --- effects ----------------------------------------------------------------------------------------

    def _act(self, effect: Effect, stamp: Stamp) -> None:
        """Carry an effect out in the simulated world."""
        match effect:
            case MoveCurtain():
                self.later(stamp.utc_ms + BOARD_LAG_MS, lambda: self._command(effect))
                if effect.run is not Run.STOP:
                    self.tally.moves += 1
            case SendMessage():
                self.tally.messages += 1
                self._send(effect)
            case Note(ledger=Ledger.ALARM) if effect.rule == "unacknowledged":
                self.tally.alarms[effect.subject] = self.tally.alarms.get(effect.subject, 0) + 1
            case _:
                pass

    def _command(self, move: MoveCurtain) -> None:
        """Let the board have a command."""
        now = self.now_utc_ms
        self._advance_board(now)
        self.world.command(
            move.run.value,
            move.drawn_percent,
            move.run_at_most_ms / 1000.0,
            now_ms=now,
            not_after_ms=move.not_after_utc_ms,
        )
        self._report()

    def _advance_board(self, to_ms: int) -> None:
        """Let the board's time pass."""
        if to_ms > self._board_ms:
            self.world.board.advance((to_ms - self._board_ms) / 1000.0)
            self._board_ms = to_ms

    def _report(self) -> None:
        """Let the board report, and go on reporting while the motor runs."""
        self._advance_board(self.now_utc_ms)
        board = self.world.board
        report = board.report()
        self._reporting = report.moving is not Direction.REST
        self.turn(to_event(self._curtain, report))
        if self._reporting:
            wait = min(REPORT_RUNNING_MS, round(board.seconds_until_change() * 1000.0) + 50)
            self.later(self.now_utc_ms + wait, self._report)

    def _send(self, message: SendMessage) -> None:
        """Let a path carry a message to a person, who may answer."""
        carried = self._path.carry(now_ms=self.now_utc_ms, address=message.address)
        if carried.rejection is not None:
            self.tally.refused_messages += 1
            reason = carried.rejection.value
            self.later(self.now_utc_ms + 500, lambda: self._tell(EffectFailed(message.effect_id, reason)))
            return
        self.later(self.now_utc_ms + 500, lambda: self._tell(EffectDone(message.effect_id)))
        person = self.people.get(message.person)
        if person is None:
            return
        for at_ms in carried.arrivals_ms:
            self.later(at_ms, lambda: self._arrive(person, message))

    def _arrive(self, person: Person, message: SendMessage) -> None:
        """Let a message reach a phone: a call is answered at the console, in the person's time."""
        for event in person.receive(now_ms=self.now_utc_ms, text=message.text.splitlines()[0]):
            if event.happening is Happening.ANSWERED:
                code = "".join(letter for letter in event.text if letter.isdigit())
                self.later(event.at_ms, lambda code=code: self._answer(person.name, code))  # type: ignore[misc]

    def _answer(self, name: str, code: str) -> None:
        """Let a person answer, unless somebody already has."""
        open_codes = [
            alarm.code for alarm in self.engine.state.durable.alarms.values() if alarm.phase in SOUNDING
        ]
        if open_codes:
            self.tally.answers += 1
            self.turn(AnswerGiven(code, name, "command line"))

    def _measure(self) -> None:
        """Add the minute to the tally."""
        tally, world = self.tally, self.world
        tally.minutes += 1
        tally.oxygen_least_mg_l = min(tally.oxygen_least_mg_l, *(tank.oxygen_mg_l for tank in world.tanks))
        air = world.house.air_c
        tally.air_least_c = min(tally.air_least_c, air)
        tally.air_most_c = max(tally.air_most_c, air)
        tally.canopy_mol_m2 += world.house.photons_umol_m2_s * 60e-6
        tally.heat_kwh_m2 += world.house.heat_w_m2 / 60_000.0


def _standard_offset_min(zone: ZoneInfo, utc_ms: int) -> int:
    """Return the zone's standard offset, so that the keeper's day does not shift with the season [min]."""
    year = datetime.fromtimestamp(utc_ms / 1000, tz=UTC).year
    offsets = [datetime(year, month, 15, tzinfo=zone).utcoffset() or timedelta(0) for month in (1, 7)]
    return round(min(offsets).total_seconds() / 60)


def to_event(curtain: str, report: Report) -> CurtainReported:
    """Write a board's report in the daemon's words."""
    if report.at_open_limit and report.at_drawn_limit:
        limit = Limit.BOTH
    elif report.at_drawn_limit:
        limit = Limit.DRAWN
    else:
        limit = Limit.OPEN if report.at_open_limit else Limit.NONE
    moving = report.moving is not Direction.REST
    return CurtainReported(curtain, report.drawn_percent, moving, limit, Selector(report.selector.value))
