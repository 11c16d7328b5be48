"""What is wrong with the broker, said once when it begins, when it changes and when it is over."""

from __future__ import annotations

import threading
from collections import deque
from enum import Enum
from typing import Final

from paho.mqtt.reasoncodes import ReasonCode

from controller.core.plan.alarm import Watched
from controller.core.units import MINUTE_MS, HouseMs
from controller.core.vocabulary import TroubleSeen
from controller.edges.inbox import Inbox

LOSSES_MAX: Final = 3
"""So many lost connections in a minute are no accident: most likely two programs fight for one client id."""

_NAMED_MAX: Final = 4  # topics named in a text; more would not fit into a message


# MQTT 5.0 section 2.4, table 2-6. The library gives the first where an older protocol or a closed line gives none.
_PLAIN_REASONS: Final = {
    0x80: "no reason given",
    0x8B: "it is shutting down",
    0x8D: "nothing came through in time",
    0x8E: "another program took our place",
}


class Cause(Enum):
    """What can be wrong, in the order it is told."""

    CONNECTION = "connection"
    CLIENT_ID = "client id"
    SUBSCRIPTIONS = "subscriptions"
    PUBLICATIONS = "publications"


class Troubles:
    """The causes in force. Any thread may begin or end one."""

    def __init__(self, inbox: Inbox) -> None:
        self._inbox = inbox
        self._texts: dict[Cause, str] = {}
        self._told: str | None = None
        self._lock = threading.Lock()

    def begin(self, cause: Cause, text: str) -> bool:
        """Say that something is wrong; the same words twice are said once. True when they are new."""
        with self._lock:
            new = self._texts.get(cause) != text
            self._texts[cause] = text
            self._tell()
            return new

    def end(self, cause: Cause) -> None:
        """Say that it is in order again; nothing is said if it was."""
        with self._lock:
            self._texts.pop(cause, None)
            self._tell()

    def _tell(self) -> None:
        text = "; ".join(self._texts[cause] for cause in Cause if cause in self._texts) or None
        if text != self._told:
            self._told = text
            self._inbox.put(TroubleSeen(Watched.BROKER, text))


class Losses:
    """Counts how often a connection was lost of late, and whether another program had taken our place.

    Not every broker says so: mosquitto 2.0 just closes the connection.
    """

    def __init__(self) -> None:
        self._seen: deque[tuple[HouseMs, bool]] = deque(maxlen=LOSSES_MAX)

    def note(self, now_house_ms: HouseMs, *, taken_over: bool) -> None:
        """Count one; `taken_over` if the broker named another program as the cause."""
        self._seen.append((now_house_ms, taken_over))

    def explain(self, client_id: str, now_house_ms: HouseMs) -> str | None:
        """Say what so many losses in a minute mean, or None if there are not so many."""
        if len(self._seen) < LOSSES_MAX or now_house_ms - self._seen[0][0] > MINUTE_MS:
            return None
        if all(taken_over for _at, taken_over in self._seen):
            return f"another program uses our client id {client_id}"
        return (
            f"the connection is lost again and again; perhaps another program uses our client id {client_id}"
        )

    def are_over(self, now_house_ms: HouseMs) -> bool:
        """Tell whether there was none in the last minute."""
        return not self._seen or now_house_ms - self._seen[-1][0] > MINUTE_MS


def tell_reason(reason: ReasonCode) -> str:
    """Say a reason of the broker in plain words; the standard's own name where that is plain enough."""
    return _PLAIN_REASONS.get(reason.value) or str(reason)


def name_topics(topics: dict[str, str]) -> str:
    """Name topics with the reason of each, a few by name and the rest by number."""
    named = [f"{topic} ({reason})" for topic, reason in sorted(topics.items())[:_NAMED_MAX]]
    if len(topics) > _NAMED_MAX:
        named.append(f"and {len(topics) - _NAMED_MAX} more")
    return ", ".join(named)
