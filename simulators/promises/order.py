"""Promises about the order of things, and about crashes.

- Nothing reaches the world before it is remembered, unless the record itself refuses.
- After a crash, messages of which nothing was heard are sent again, and motor commands never are.
- No two commands share a name, and no message does but one that is sent again after a start.
- What is remembered stays small.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

from controller.core.units import HOUR_MS
from controller.core.vocabulary import (
    AlarmShelved,
    AnswerGiven,
    Effect,
    EffectDone,
    EffectFailed,
    Event,
    Ledger,
    MoveCurtain,
    Note,
    ReplyReceived,
    Run,
    SendMessage,
    SettingsChanged,
    Stamp,
    Started,
)
from simulators.promises.broken import PromiseBroken

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

DOCUMENT_BYTES_MOST: Final = 1_000_000
"""A state that grows past this is a leak: some sixty alarms and a few hundred messages fit many times."""

GIVEN_UP_MS: Final = HOUR_MS
"""A message of which nothing was heard for so long need not be sent again: the calls that follow say more. [ms]"""


SILENCED: Final = frozenset({"suppressed by design", "out of service", "shelved"})
"""While an alarm is one of these, its messages need not be sent again."""

FORGOTTEN_THREAD: Final = "answers"
"""A thank-you or a correction is sent once; nothing hangs on its arrival."""


@dataclass(slots=True)
class OrderPromises:
    """Watches the record and the way of every effect."""

    _pending: dict[str, tuple[SendMessage, int]] = field(default_factory=dict)
    _moves: set[str] = field(default_factory=set)
    _messages: set[str] = field(default_factory=set)
    _losses: int = 0

    def handed(self, run: Clockwork, stamp: Stamp, effect: Effect) -> None:
        """See an effect reach the world: it must have been committed."""
        del stamp
        if run.memory.refuses or not isinstance(effect, SendMessage | MoveCurtain):
            return
        if not any(effect is committed for committed in run.memory.committed):
            raise PromiseBroken(run, "nothing is sent before it is remembered", f"{effect!r}")

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Follow what is under way."""
        now = stamp.house_ms
        memory = run.memory
        match event:
            case Started():
                self._start(run, effects, now)
            case EffectDone() | EffectFailed():
                self._pending.pop(event.effect_id, None)
                if isinstance(event, EffectFailed):
                    # What was refused may go again under its own name, so that mail programs show it once.
                    self._messages.discard(event.effect_id)
            case AnswerGiven() | ReplyReceived():
                for effect in effects:
                    if (
                        isinstance(effect, Note)
                        and effect.ledger is Ledger.CALL
                        and effect.rule == "answered"
                    ):
                        self._drop(effect.subject)
            case AlarmShelved():
                self._drop(event.alarm)
            case SettingsChanged():
                self._pending.clear()
            case _:
                pass
        for effect in effects:
            if isinstance(effect, Note) and effect.ledger is Ledger.ALARM and effect.rule in SILENCED:
                self._drop(effect.subject)
        for effect in effects:
            if isinstance(effect, SendMessage):
                if effect.effect_id in self._messages and not isinstance(event, Started):
                    raise PromiseBroken(run, "no two messages share a name", f"{effect!r}")
                self._messages.add(effect.effect_id)
                if effect.thread == FORGOTTEN_THREAD:
                    continue
                self._pending[effect.effect_id] = (
                    effect,
                    self._pending.get(effect.effect_id, (effect, now))[1],
                )
            elif isinstance(effect, MoveCurtain):
                if effect.effect_id in self._moves:
                    raise PromiseBroken(run, "no command is given twice", f"{effect!r}")
                self._moves.add(effect.effect_id)
        if memory.document is not None and len(memory.document) > DOCUMENT_BYTES_MOST:
            raise PromiseBroken(run, "what is remembered stays small", f"{len(memory.document)} bytes")

    def _start(self, run: Clockwork, effects: tuple[Effect, ...], now: int) -> None:
        """Hold a start against what was under way before it."""
        if run.memory.losses != self._losses:
            # What was never remembered can neither be sent again nor be known by its name.
            self._losses = run.memory.losses
            self._pending.clear()
            self._moves.clear()
            self._messages.clear()
        for effect in effects:
            if isinstance(effect, MoveCurtain) and effect.run is not Run.STOP:
                raise PromiseBroken(run, "no motor command is given at a start", f"{effect!r}")
        sent = {effect.effect_id for effect in effects if isinstance(effect, SendMessage)}
        for effect_id, (message, queued_ms) in list(self._pending.items()):
            if effect_id in sent:
                continue
            if now - queued_ms < GIVEN_UP_MS:
                text = f"{effect_id} to {message.person} was not sent again: {message.text}"
                raise PromiseBroken(run, "after a crash unfinished messages are sent again", text)
            del self._pending[effect_id]

    def _drop(self, alarm: str) -> None:
        """Messages of an answered or shelved alarm need not be sent again."""
        self._pending = {
            effect_id: (message, queued_ms)
            for effect_id, (message, queued_ms) in self._pending.items()
            if message.thread.rpartition("/")[0] != alarm
        }
