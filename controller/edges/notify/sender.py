"""Carries messages to the ways they are to go, each way on threads of its own, and tells what became of them.

A way that hangs holds back only its own messages. Messages to one address go one after the other, in order, so
that nobody hears of an end before the begin. What has not been sent when the daemon stops stays open in the
journal and is sent after the next start.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable, Mapping
from typing import Final

import structlog

from controller.core.plan.people import Way
from controller.core.vocabulary import EffectDone, EffectFailed, Event, SendMessage, WayTried
from controller.edges.notify.way import Outcome, WayAdapter

# Two, so that one slow server answer does not hold back the next person.
WORKERS_A_WAY: Final = 2

# A flood of twenty alarms to ten people. A message that finds no room is told as failed, and the call list
# goes on to the next step.
WAITING_MAX: Final = 200

REFUSED_KEPT: Final = 500
"""So many refused messages are remembered, for those that only make sense after them."""

Tell = Callable[[Event], object]
"""Puts an event into the inbox."""

_log = structlog.get_logger()


class _Line:
    """Messages that wait for one way. One to an address is out at a time. For any thread."""

    def __init__(self) -> None:
        self._waiting: deque[SendMessage] = deque()
        self._busy: set[str] = set()
        self._changed = threading.Condition()
        self._over = False

    def put(self, message: SendMessage) -> bool:
        """Let a message wait; False if there is no room."""
        with self._changed:
            if len(self._waiting) >= WAITING_MAX:
                return False
            self._waiting.append(message)
            self._changed.notify()
            return True

    def take(self) -> SendMessage | None:
        """Wait for the first message whose address is free; None when it is over."""
        with self._changed:
            while not self._over:
                for message in self._waiting:
                    if message.address not in self._busy:
                        self._waiting.remove(message)
                        self._busy.add(message.address)
                        return message
                self._changed.wait()
            return None

    def free(self, address: str) -> None:
        """Let the next message to an address go."""
        with self._changed:
            self._busy.discard(address)
            self._changed.notify_all()

    def close(self) -> None:
        """Let nothing more go."""
        with self._changed:
            self._over = True
            self._waiting.clear()
            self._changed.notify_all()


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
        self._lines: dict[Way, _Line] = {}
        self._threads: list[threading.Thread] = []
        self._failing: dict[Way, str] = {}
        self._refused: deque[str] = deque(maxlen=REFUSED_KEPT)
        self._lock = threading.Lock()
        self._stopped = False

    def send(self, message: SendMessage) -> None:
        """Take a message; its outcome comes as an event. Never waits. After `stop` it is left to the next start."""
        if self._stopped:
            return
        if not self._line_of(message.way).put(message):
            self._failed(message, f"{WAITING_MAX} messages already wait for {message.way.value}")

    def change(self, adapters: Mapping[Way, WayAdapter]) -> None:
        """Use these adapters from the next message on; one on its way is not disturbed."""
        with self._lock:
            self._adapters = dict(adapters)
            gone = [way for way in self._failing if way not in self._adapters]
        for way in gone:
            self.note_way(way, Outcome(accepted=True, text="it is not used any more"))

    def stop(self, timeout_s: float) -> bool:
        """Take no more messages, and wait for those on their way. Whether all ended in time [s]."""
        with self._lock:
            self._stopped = True
            lines = list(self._lines.values())
        for line in lines:
            line.close()
        for thread in self._threads:
            thread.join(timeout_s / max(1, len(self._threads)))
        return not any(thread.is_alive() for thread in self._threads)

    def _line_of(self, way: Way) -> _Line:
        with self._lock:
            if way not in self._lines:
                line = self._lines[way] = _Line()
                for number in range(WORKERS_A_WAY):
                    thread = threading.Thread(
                        target=self._work, args=(line,), name=f"{way.value}-{number}", daemon=True
                    )
                    self._threads.append(thread)
                    thread.start()
            return self._lines[way]

    def _work(self, line: _Line) -> None:
        while (message := line.take()) is not None and not self._stopped:
            self._carry(message)
            line.free(message.address)

    def _carry(self, message: SendMessage) -> None:
        with self._lock:
            adapter = self._adapters.get(message.way)
            forerunner_refused = bool(message.after) and message.after in self._refused
        if forerunner_refused:
            self._failed(message, "what it was to follow was not taken")
            return
        if adapter is None:
            self._failed(message, f"{message.way.value} is not set up")
            return
        try:
            outcome = adapter.send(message)
        # A bug of ours in one adapter must not end the thread that all its messages need.
        except Exception as error:  # noqa: BLE001 - see above
            _log.exception("adapter failed", way=message.way.value, effect_id=message.effect_id)
            outcome = Outcome(accepted=False, text=f"a fault of Duskbell's own: {error!r}", way_works=False)
        self.note_way(message.way, outcome)
        if outcome.accepted:
            _log.info("message accepted", way=message.way.value, effect_id=message.effect_id)
            self._tell(EffectDone(message.effect_id, outcome.text, outcome.references))
        else:
            self._failed(message, outcome.text)

    def _failed(self, message: SendMessage, reason: str) -> None:
        with self._lock:
            self._refused.append(message.effect_id)
        _log.warning("message failed", way=message.way.value, effect_id=message.effect_id, reason=reason)
        self._tell(EffectFailed(message.effect_id, reason))

    def note_way(self, way: Way, outcome: Outcome) -> None:
        """Tell once that a way has stopped working, and once that it works again. For any thread."""
        with self._lock:
            if not outcome.accepted and not outcome.way_works:
                if way in self._failing:
                    return
                self._failing[way] = outcome.text
            elif self._failing.pop(way, None) is None:
                return
            self._tell(WayTried(way, self._failing.get(way)))
