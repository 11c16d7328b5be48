"""The door of the deciding thread: a bounded queue that any edge may put events into.

When it is full the oldest readings go first, for newer ones are worth more; nothing else is ever dropped.
Events other than readings come at bounded rates (people, boards, troubles, refusals under a rate cap), and a
thread that has stopped taking them is ended by the watchdog within half a minute, so they need no bound.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from controller.core.vocabulary import Event, ReadingsTaken

# Some fifteen minutes of fifty sensors that speak every ten seconds; about a megabyte.
WAITING_MAX: Final = 5_000


@dataclass(frozen=True, slots=True)
class Inbound:
    """An event, and whom to tell once it has been committed to the journal.

    `committed` may be called from any thread and at most once; it is None when nobody waits.
    """

    event: Event
    committed: Callable[[], None] | None = None


class Inbox:
    """A first-in, first-out queue between the edges and the deciding thread.

    Parameters
    ----------
    waiting_max
        Number of waiting events from which on readings are dropped. At least 1.
    """

    def __init__(self, waiting_max: int = WAITING_MAX) -> None:
        assert waiting_max >= 1, "an inbox without room takes nothing"
        self._waiting_max = waiting_max
        # Two queues, joined by the order number, so that the oldest readings are found at once.
        self._readings: deque[tuple[int, Inbound]] = deque()
        self._others: deque[tuple[int, Inbound]] = deque()
        self._order = 0
        self._dropped = 0
        self._changed = threading.Condition()

    @property
    def dropped(self) -> int:
        """Number of readings events dropped since the start."""
        return self._dropped

    def __len__(self) -> int:
        """Count the events that wait."""
        return len(self._readings) + len(self._others)

    def put(self, event: Event, committed: Callable[[], None] | None = None) -> bool:
        """Queue an event; never waits for room.

        Parameters
        ----------
        event
            What has happened.
        committed
            Called once the event is in the journal. Also called when the readings it belongs to are dropped
            for want of room: they are given up, and whoever sent them need not keep them.

        Returns
        -------
        bool
            False when the event itself has been dropped: readings, while only other events wait.
        """
        inbound = Inbound(event, committed)
        given_up: Inbound | None = None
        with self._changed:
            queue = self._readings if isinstance(event, ReadingsTaken) else self._others
            queue.append((self._order, inbound))
            self._order += 1
            if len(self) > self._waiting_max and self._readings:
                given_up = self._readings.popleft()[1]
                self._dropped += 1
            self._changed.notify()
        # Outside the lock: the callback belongs to somebody else and may take its time.
        if given_up is not None and given_up.committed is not None:
            given_up.committed()
        return given_up is not inbound

    def take(self, timeout_s: float) -> Inbound | None:
        """Take the oldest event, waiting for one at most `timeout_s` [s]; None when none came.

        A timeout of zero or less does not wait.
        """
        with self._changed:
            if not self._changed.wait_for(self.__len__, timeout=max(timeout_s, 0.0)):
                return None
            if not self._others:
                return self._readings.popleft()[1]
            if not self._readings or self._others[0][0] < self._readings[0][0]:
                return self._others.popleft()[1]
            return self._readings.popleft()[1]
