"""A limit on how fast one topic may speak, so that it cannot drown the others."""

from __future__ import annotations

import threading
from typing import Final

from controller.core.units import MINUTE_MS, SECOND_MS, HouseMs

MESSAGES_PER_S: Final = 50
"""Messages of one topic let through in a second. [1/s] Sensors speak every few seconds."""

BURST_MAX: Final = 300
"""Messages of one topic let through at once: five minutes of one a second, kept by the broker meanwhile."""

# A topic's account, in thousandths of a message, is filled by the millisecond.
_FULL: Final = BURST_MAX * SECOND_MS


class RateCap:
    """An account for each topic, filled with time and drawn upon by messages; time is handed in.

    Any thread may call.
    """

    def __init__(self) -> None:
        self._accounts: dict[str, tuple[int, HouseMs]] = {}
        self._dropped: dict[str, int] = {}
        self._said_house_ms: dict[str, HouseMs] = {}
        self._lock = threading.Lock()

    def admit(self, topic: str, now_house_ms: HouseMs) -> bool:
        """Let a message through, or count it as dropped."""
        with self._lock:
            left, since_house_ms = self._accounts.get(topic, (_FULL, now_house_ms))
            left = min(_FULL, left + (now_house_ms - since_house_ms) * MESSAGES_PER_S)
            admitted = left >= SECOND_MS
            self._accounts[topic] = (left - SECOND_MS if admitted else left, now_house_ms)
            if not admitted:
                self._dropped[topic] = self._dropped.get(topic, 0) + 1
            return admitted

    def take_dropped(self, now_house_ms: HouseMs) -> dict[str, int]:
        """Take the counts that are due to be told: for each topic once a minute at most."""
        with self._lock:
            due = [
                topic
                for topic in self._dropped
                if now_house_ms - self._said_house_ms.get(topic, now_house_ms - MINUTE_MS) >= MINUTE_MS
            ]
            for topic in due:
                self._said_house_ms[topic] = now_house_ms
            return {topic: self._dropped.pop(topic) for topic in due}

    def keep(self, topics: frozenset[str]) -> None:
        """Forget every topic but these."""
        with self._lock:
            self._accounts = {topic: self._accounts[topic] for topic in self._accounts.keys() & topics}
            self._dropped = {topic: self._dropped[topic] for topic in self._dropped.keys() & topics}
            self._said_house_ms = {
                topic: self._said_house_ms[topic] for topic in self._said_house_ms.keys() & topics
            }
