"""An ear beside the daemon: hears what it hears, and sees which messages it decides on and hands over."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.vocabulary import (
    Effect,
    EffectFailed,
    Event,
    Ledger,
    Note,
    ReadingsTaken,
    SendMessage,
    Stamp,
    Started,
)
from simulators.memory import Moment

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork


class Ear:
    """Hears readings as the daemon does, and sees messages decided on and handed over."""

    def __init__(self, entries: dict[str, AlarmEntry]) -> None:
        self._entries = {name: one for name, one in entries.items() if one.response is Response.EMERGENCY}
        self._true_ms: dict[str, int] = {}
        self._waiting: dict[str, int] = {}
        self.raised_ms: dict[str, int] = {}
        self.answered_ms: dict[str, int] = {}
        self.late_ms: list[int] = []
        self.decided: dict[str, SendMessage] = {}
        self.handed: Counter[str] = Counter()
        self.refused: Counter[str] = Counter()
        self.starts: list[int] = []

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Hear the readings of a turn, and see what it decides."""
        now = run.now_utc_ms
        if isinstance(event, EffectFailed):
            self.refused[event.effect_id] += 1
        if isinstance(event, ReadingsTaken):
            self._hear(event, now)
        self.see(effects, now)
        del stamp

    def _hear(self, event: ReadingsTaken, now: int) -> None:
        values = {sample.sensor: sample.value for sample in event.samples}
        for name, entry in self._entries.items():
            if entry.sensor in values and entry.kind in {Kind.SWITCH, Kind.HIGH, Kind.LOW}:
                if is_true(entry, values[entry.sensor]):
                    self._true_ms.setdefault(name, now)
                else:
                    self._true_ms.pop(name, None)

    def see(self, effects: tuple[Effect, ...], now: int) -> None:
        """See what a turn has decided."""
        for effect in effects:
            if isinstance(effect, SendMessage):
                self.decided.setdefault(effect.effect_id, effect)
            elif isinstance(effect, Note) and effect.ledger is Ledger.CALL and effect.rule == "answered":
                self.answered_ms.setdefault(effect.subject, now)
            elif (
                isinstance(effect, Note)
                and (effect.ledger, effect.rule) == (Ledger.ALARM, "unacknowledged")
                and effect.subject in self._entries
                and effect.subject not in self.raised_ms
            ):
                self.raised_ms[effect.subject] = now
                self._waiting[effect.subject] = self._due_ms(effect.subject, now)

    def _due_ms(self, name: str, now: int) -> int:
        """Reckon when the alarm's time had come, by what the daemon has heard; now where that cannot be told."""
        true_ms = self._true_ms.get(name)
        due_ms = now if true_ms is None else true_ms + round(self._entries[name].on_delay_s * 1000)
        return min(max(due_ms, self.starts[-1]), now)

    @property
    def untold(self) -> tuple[str, ...]:
        """Emergencies of which no message has been handed over."""
        return tuple(self._waiting)

    def started(self, now: int) -> None:
        """Take note of a start: nothing is known any more, and what is true must be heard anew."""
        self._true_ms.clear()
        self.starts.append(now)

    def handed_over(self, message: SendMessage, now: int) -> None:
        """See a message reach the world: perhaps the first of an alarm that waits for one."""
        self.handed[message.effect_id] += 1
        for name in tuple(self._waiting):
            if name in message.text or name in message.subject:
                due_ms = self._waiting.pop(name)
                # Away in between: nobody could have handed it over before the start.
                self.late_ms.append(now - max(due_ms, self.starts[-1]))


class EarWatcher:
    """Shows the run to the ear."""

    def __init__(self, ear: Ear) -> None:
        self._ear = ear
        self._started_ms = -1

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """See a turn of the daemon."""
        self._look_at_start(run)
        self._ear.turn(run, stamp, event, effects)

    def handed(self, run: Clockwork, stamp: Stamp, effect: Effect) -> None:
        """See an effect reach the world, before the turn that it belongs to is shown as a whole."""
        del stamp
        self._look_at_start(run)
        if isinstance(effect, Note):
            self._ear.see((effect,), run.now_utc_ms)
        elif isinstance(effect, SendMessage):
            self._ear.handed_over(effect, run.now_utc_ms)

    def _look_at_start(self, run: Clockwork) -> None:
        """Tell the ear of a start, once, before anything that comes of it."""
        at, event = run.last_events[-1]
        if isinstance(event, Started) and self._started_ms != at:
            self._started_ms = at
            self._ear.started(at)

    def died(self, run: Clockwork, stamp: Stamp, event: Event) -> None:
        """See the daemon lose its power: what was committed in that turn has been decided."""
        if run.memory.doom is None or run.memory.doom.moment is not Moment.BEFORE_COMMIT:
            self._ear.turn(run, stamp, event, run.memory.committed)

    def minute(self, run: Clockwork) -> None:
        """See a minute end."""


def is_true(entry: AlarmEntry, value: float) -> bool:
    """Tell whether a value makes an entry's condition true, as the alarm list defines it."""
    if entry.kind is Kind.SWITCH:
        return (value >= 0.5) is (entry.alarm_when == "on")
    limit = entry.limit or 0.0
    return value > limit if entry.kind is Kind.HIGH else value < limit
