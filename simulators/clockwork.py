"""Virtual time: the real engine driven through a simulated house, minute by minute, from one seed.

The daemon's own `step` runs here, with the same engine as live; what is simulated is the world around it. All
times are whole milliseconds, all draws come from streams of the one seed, and nothing depends on hash order,
so the same seed gives the same bytes. The daemon may lose its power in the middle of a turn: then it is away
for a while, and begins again with what its record remembers.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from typing import Final, Protocol
from zoneinfo import ZoneInfo

from controller.core.alarms.own_faults import with_own_faults
from controller.core.plan.alarm import Watched
from controller.core.plan.plan import Plan
from controller.core.remember import unpack
from controller.core.sky.almanac import Almanac
from controller.core.step import first_state
from controller.core.vocabulary import (
    AlmanacArrived,
    Effect,
    EffectFailed,
    Event,
    Ledger,
    MoveCurtain,
    Note,
    Run,
    SendMessage,
    SettingsChanged,
    SoundSiren,
    Stamp,
    Started,
    TroubleSeen,
    Woken,
)
from controller.engine import Engine
from simulators.board_wire import BoardWire
from simulators.clocks import Clocks
from simulators.instruments import Instrument
from simulators.link import Link, Message
from simulators.memory import Killed, Memory
from simulators.people import Person
from simulators.siren import Siren
from simulators.staff import Staff
from simulators.tally import Tally
from simulators.world import World

MINUTE_MS: Final = 60_000
REPORT_IDLE_MIN: Final = 15
"""The board reports this often while its motor rests. [min]"""

BROKER_NOTICED_MS: Final = 30_000
"""A lost broker is noticed after one and a half keep-alives of 20 s. [ms]"""

TOLD_FOR_MS: Final = 3_600_000
"""A record that was set aside is told of for this long. [ms]"""

EVENTS_KEPT: Final = 10
"""Events kept for the story of a broken promise."""

CODE_LETTERS: Final = len("[1234]")
"""A note of an alarm ends with the code of its occurrence."""

TURNS_AT_ONCE: Final = 2_000
"""More turns than this at one instant, and the daemon goes in circles."""


class InCircles(Exception):  # noqa: N818 - named by what happened
    """The daemon asks to be woken at once, again and again."""


class Watcher(Protocol):
    """Looks on: promises, plots, demonstrations."""

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """See a turn of the daemon."""

    def handed(self, run: Clockwork, stamp: Stamp, effect: Effect) -> None:
        """See an effect reach the world."""

    def died(self, run: Clockwork, stamp: Stamp, event: Event) -> None:
        """See the daemon lose its power in a turn."""

    def minute(self, run: Clockwork) -> None:
        """See a minute end."""


class Clockwork:
    """One run: a daemon's engine, a world, people and paths, and the time between them.

    `away` says that the daemon has lost its power and not come back; `engine` is the last one that ran.
    `troubles` names the faults in force, of which `broken` break something; `calm_since_ms` is the true instant since
    when nothing has been broken.
    """

    def __init__(
        self,
        plan: Plan,
        world: World,
        instruments: Iterable[Instrument],
        *,
        almanac: Almanac | None,
        start_utc_ms: int,
        seed: int,
        people: Iterable[Person] = (),
        watchers: tuple[Watcher, ...] = (),
    ) -> None:
        self.plan = plan
        self.entries = with_own_faults(plan.alarm, plan.sensor)
        self.world = world
        self.instruments = tuple(instruments)
        self.seed = seed
        self.start_utc_ms = start_utc_ms
        self.now_utc_ms = start_utc_ms
        self.tally = Tally()
        self.last_events: list[tuple[int, Event]] = []
        self.staff = Staff(people, seed=seed)
        self.siren = Siren()
        self.link = Link(plan)
        self.wire = BoardWire(world, start_utc_ms)
        self.clocks = Clocks(ZoneInfo(plan.site.time_zone), start_utc_ms)
        self.memory = Memory()
        self.almanac = almanac
        self.curtain = plan.curtain[0].name if plan.curtain else ""
        self.troubles: list[str] = []
        self.broken = 0
        self.calm_since_ms = start_utc_ms
        self._standard_min = self.clocks.standard_offset_min()
        self._watchers = watchers
        self._agenda: list[tuple[int, int, Callable[[], None]]] = []
        self._order = 0
        self._turns_now = (0, 0)
        self._unrecorded = False
        self.away = False
        self._seen: set[tuple[str, str]] = set()
        self.engine = self._make_engine()
        self._begin(Started())

    # --- the daemon's life ------------------------------------------------------------------------------

    def _begin(self, started: Started) -> None:
        """Start the daemon with what its record remembers."""
        self.engine = self._make_engine()
        self._unrecorded = False
        self.away = False
        self.turn(started)
        if self.almanac is not None:
            self.turn(AlmanacArrived(self.almanac))
        if self.link.down:
            self.tell_later(self.now_utc_ms + BROKER_NOTICED_MS, TroubleSeen(Watched.BROKER, "no connection"))
        self.wire.report(self)

    def _make_engine(self) -> Engine:
        """Make an engine that remembers what the record holds."""
        document = self.memory.document
        return Engine(
            first_state(self.plan, None if document is None else unpack(document)),
            act=self._act,
            record=self.memory,
            on_unrecorded=self._note_unrecorded,
        )

    def crash(self, away_ms: int) -> None:
        """Let the daemon lose its power now, and come back after a while [ms]."""
        self.away = True
        self.memory.lose_power()
        self.tally.restarts += 1
        self.later(self.now_utc_ms + away_ms, lambda: self._return(self.now_utc_ms))

    def _return(self, now_ms: int) -> None:
        """Start the daemon again; its house axis misses the time away where the clock cannot tell it."""
        if not self.away:
            return
        last = self.memory.stamp
        away_ms = None
        if last is not None:
            before_ms = self.clocks.true_ms(last.house_ms)
            known = last.utc_trusted and self.clocks.trusted
            away_ms = now_ms + self.clocks.utc_error_ms - last.utc_ms if known else None
            if away_ms is not None and away_ms < 0:
                away_ms = None
            self.clocks.lost_ms += now_ms - before_ms - (away_ms or 0)
        self._begin(Started(away_ms))

    def lose_record(self, told_ms: int) -> None:
        """Let the record be found corrupt at the next start, which tells of it at an instant [ms]."""
        self.memory.forget()
        text = "the record was damaged and has been set aside; everything is unknown"
        self.tell_later(told_ms, TroubleSeen(Watched.JOURNAL, text))
        self.tell_later(told_ms + TOLD_FOR_MS, TroubleSeen(Watched.JOURNAL, None))

    def change_settings(self, plan: Plan) -> None:
        """Let the daemon take new settings."""
        self.plan = plan
        self.entries = with_own_faults(plan.alarm, plan.sensor)
        self.link.change(plan)
        self.turn(SettingsChanged(plan))

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
        self.wire.advance(end)
        day_minute = end // MINUTE_MS + self._standard_min
        self.world.advance(end, day_minute % 1440)
        self.tally.measure(self.world)
        if day_minute % REPORT_IDLE_MIN == 0 and not self.wire.reporting:
            self.wire.report(self)
        readings = []
        minute_utc = end // MINUTE_MS % 1440
        for instrument in self.instruments:
            if day_minute % instrument.every_min == 0:
                value = instrument.read(self.world, minute_utc, instrument.every_min * 60.0)
                if value is not None:
                    readings.append((instrument.name, value))
        if not self.link.down and not self.away:
            for event in self.link.listen(readings, end + self.clocks.utc_error_ms):
                self.turn(event)
        for watcher in self._watchers:
            watcher.minute(self)

    def _pass_to(self, end: int) -> None:
        """Let everything happen that is due before an instant, in order of time."""
        while True:
            wake = end if self.away else self.clocks.true_ms(self.engine.state.wake_ms)
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

    def tell_later(self, at_ms: int, event: Event) -> None:
        """Let the daemon have an event at an instant [ms]."""
        self.later(at_ms, lambda: self._tell(event))

    def _tell(self, event: Event) -> None:
        """Take a turn whose effects nobody here asks for."""
        self.turn(event)

    def turn(self, event: Event) -> tuple[Effect, ...]:
        """Take one turn of the engine, and show it to the watchers; nothing happens while it is away."""
        if self.away:
            return ()
        now = self.now_utc_ms
        stamp = self.clocks.stamp(now)
        self._count_turn(now)
        self.last_events.append((now, event))
        if len(self.last_events) > EVENTS_KEPT:
            del self.last_events[0]
        try:
            effects = self.engine.turn(stamp, event)
        except Killed:
            away_ms = MINUTE_MS if self.memory.doom is None else self.memory.doom.away_ms
            for watcher in self._watchers:
                watcher.died(self, stamp, event)
            self.crash(away_ms)
            return ()
        self.tally.turns += 1
        for watcher in self._watchers:
            watcher.turn(self, stamp, event, effects)
        if self._unrecorded and not self.memory.refuses:
            self._unrecorded = False
            self.tell_later(now, TroubleSeen(Watched.JOURNAL, None))
        return effects

    def deliver(self, message: Message) -> None:
        """Let a message reach the daemon, if the way is open."""
        if not self.link.down:
            for event in self.link.read(message, self.now_utc_ms + self.clocks.utc_error_ms):
                self.turn(event)

    def _count_turn(self, now: int) -> None:
        """Count the turns of one instant: a daemon that asks to be woken at once never lets time pass."""
        at, count = self._turns_now
        self._turns_now = (now, count + 1 if at == now else 1)
        if count > TURNS_AT_ONCE:
            raise InCircles(f"{count} turns at one instant")

    # --- effects ----------------------------------------------------------------------------------------

    def _act(self, effect: Effect, stamp: Stamp) -> None:
        """Carry an effect out in the simulated world."""
        for watcher in self._watchers:
            watcher.handed(self, stamp, effect)
        match effect:
            case MoveCurtain():
                if effect.run is not Run.STOP:
                    self.tally.moves += 1
                if self.link.down:
                    self.tell_later(self.now_utc_ms, EffectFailed(effect.effect_id, "there is no connection"))
                else:
                    self.wire.send(self, effect)
            case SendMessage():
                self.tally.messages += 1
                self.staff.send(self, effect)
            case SoundSiren():
                self.siren.command(self, effect)
            case Note(ledger=Ledger.ALARM) if effect.rule == "unacknowledged":
                occurrence = (effect.subject, effect.text[-CODE_LETTERS:])
                if occurrence not in self._seen:
                    self._seen.add(occurrence)
                    self.tally.alarms[effect.subject] = self.tally.alarms.get(effect.subject, 0) + 1
            case _:
                pass
        self.memory.handed_over(effect)

    def _note_unrecorded(self, stamp: Stamp, error: Exception) -> None:
        """Tell the daemon, as its loop does, that a turn could not be remembered."""
        del stamp
        if not self._unrecorded:
            self._unrecorded = True
            self.tell_later(self.now_utc_ms, TroubleSeen(Watched.JOURNAL, str(error)))

    def bring_board_up_to_now(self) -> None:
        """Let the board's time pass up to now, before something is done to it."""
        self.wire.advance(self.now_utc_ms)

    def report_now(self) -> None:
        """Let the board report out of turn, as it does when its selector is turned or its power comes back."""
        self.wire.report(self)
