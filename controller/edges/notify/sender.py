"""Carries messages to the ways they are to go, each way on threads of its own, and tells what became of them.

A way that hangs holds back only its own messages. What has not been sent when the daemon stops stays open in
the journal and is sent after the next start.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Final

import structlog

from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.vocabulary import EffectDone, EffectFailed, Event, SendMessage
from controller.edges.notify.way import Outcome, WayAdapter
from controller.edges.troubles import Troubles

# Two, so that one slow server answer does not hold back the next person.
WORKERS_A_WAY: Final = 2

# A flood of twenty alarms to ten people. A message that finds no room is told as failed, and the call list
# goes on to the next step.
WAITING_MAX: Final = 200

Tell = Callable[[Event], object]
"""Puts an event into the inbox."""

_log = structlog.get_logger()


class Sender:
    """The messengers of the house.

    Parameters
    ----------
    tell
        Puts an event into the inbox. Called by any of the sender's threads.
    adapters
        The ways that are set up. A message by another way fails at once.
    """

    def __init__(self, tell: Tell, adapters: Mapping[Way, WayAdapter]) -> None:
        self._tell = tell
        self._adapters = dict(adapters)
        self._queues: dict[Way, queue.Queue[SendMessage | None]] = {}
        self._threads: list[threading.Thread] = []
        self._failing: dict[Way, str] = {}
        self._troubles = Troubles()
        self._lock = threading.Lock()
        self._stopped = False

    def send(self, message: SendMessage) -> None:
        """Take a message; its outcome comes as an event. Never waits. After `stop` it is left to the next start."""
        if self._stopped:
            return
        try:
            self._queue_of(message.way).put_nowait(message)
        except queue.Full:
            self._failed(message, f"{WAITING_MAX} messages already wait for {message.way.value}")

    def change(self, adapters: Mapping[Way, WayAdapter]) -> None:
        """Use these adapters from the next message on; one on its way is not disturbed."""
        with self._lock:
            self._adapters = dict(adapters)
            gone = [way for way in self._failing if way not in self._adapters]
        for way in gone:
            self._note_way(way, Outcome(accepted=True, text="it is not used any more"))

    def stop(self, timeout_s: float) -> bool:
        """Take no more messages, and wait for those on their way. Whether all ended in time [s]."""
        with self._lock:
            self._stopped = True
            queues = list(self._queues.values())
        for waiting in queues:
            _empty(waiting)
            with suppress(queue.Full):  # then there is something to wake up for
                for _ in range(WORKERS_A_WAY):
                    waiting.put_nowait(None)
        for thread in self._threads:
            thread.join(timeout_s / max(1, len(self._threads)))
        return not any(thread.is_alive() for thread in self._threads)

    def _queue_of(self, way: Way) -> queue.Queue[SendMessage | None]:
        with self._lock:
            if way not in self._queues:
                self._queues[way] = queue.Queue(WAITING_MAX)
                for number in range(WORKERS_A_WAY):
                    thread = threading.Thread(
                        target=self._work, args=(way,), name=f"{way.value}-{number}", daemon=True
                    )
                    self._threads.append(thread)
                    thread.start()
            return self._queues[way]

    def _work(self, way: Way) -> None:
        with self._lock:
            waiting = self._queues[way]
        while (message := waiting.get()) is not None and not self._stopped:
            self._carry(message)

    def _carry(self, message: SendMessage) -> None:
        with self._lock:
            adapter = self._adapters.get(message.way)
        if adapter is None:
            self._failed(message, f"{message.way.value} is not set up")
            return
        try:
            outcome = adapter.send(message)
        # A bug of ours in one adapter must not end the thread that all its messages need.
        except Exception as error:  # noqa: BLE001 - see above
            _log.exception("adapter failed", way=message.way.value, effect_id=message.effect_id)
            outcome = Outcome(accepted=False, text=f"a fault of Duskbell's own: {error!r}", way_works=False)
        self._note_way(message.way, outcome)
        if outcome.accepted:
            _log.info("message accepted", way=message.way.value, effect_id=message.effect_id)
            self._tell(EffectDone(message.effect_id, outcome.text))
        else:
            self._failed(message, outcome.text)

    def _failed(self, message: SendMessage, reason: str) -> None:
        _log.warning("message failed", way=message.way.value, effect_id=message.effect_id, reason=reason)
        self._tell(EffectFailed(message.effect_id, reason))

    def _note_way(self, way: Way, outcome: Outcome) -> None:
        """Tell once that a way has stopped working, and once that it works again."""
        with self._lock:
            if not outcome.accepted and not outcome.way_works:
                self._failing.setdefault(way, outcome.text)
            elif self._failing.pop(way, None) is None:
                return
            texts = [f"{failing.value}: {text}" for failing, text in self._failing.items()]
            if texts:
                self._troubles.begin(Watched.MESSAGES, "; ".join(texts))
            else:
                self._troubles.end(Watched.MESSAGES)
            for trouble in self._troubles.take():
                self._tell(trouble)


def _empty(waiting: queue.Queue[SendMessage | None]) -> None:
    try:
        while True:
            waiting.get_nowait()
    except queue.Empty:
        return
