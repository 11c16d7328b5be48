"""What goes out over MQTT: states, of which only the latest matters, and commands, which never wait.

A state is kept here until the broker has taken it, and all states are published again after a reconnect; of
one topic at most one message is under way, so nothing piles up. A command is handed over at once or failed.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import structlog
from paho.mqtt.enums import MQTTErrorCode

from controller.core.vocabulary import EffectDone, EffectFailed
from controller.edges.inbox import Inbox
from controller.edges.mqtt_link import Link

TOPICS_MAX: Final = 200
"""States kept. A house has a handful; a flood of new tails must not fill the memory."""

_log = structlog.get_logger(__name__)


@dataclass(frozen=True, slots=True)
class _Flight:
    """A message handed to the library: a state on its topic, or a command with its effect."""

    topic: str
    effect_id: str | None = None


class Outbox:
    """States and commands on their way to the broker. Any thread may call.

    Parameters
    ----------
    inbox
        Hears what became of commands.
    on_state_taken
        Told of every state the broker has answered for: its topic, and the refusal or None.
    """

    def __init__(self, inbox: Inbox, on_state_taken: Callable[[str, str | None], None]) -> None:
        self._inbox = inbox
        self._on_state_taken = on_state_taken
        self._link: Link | None = None
        self._turn = 0  # counts connections, so that a late hand-over is known as one
        self._latest: dict[str, bytes] = {}
        self._flying: dict[str, bytes] = {}
        self._taken: dict[str, bytes] = {}
        self._flights: dict[int, _Flight] = {}
        self._early: dict[int, str | None] = {}
        # Never held while the library is called: it calls back under a lock of its own.
        self._lock = threading.Lock()
        self._settled = threading.Condition(self._lock)

    def keep(self, topic: str, payload: bytes) -> bool:
        """Make this the state of its topic, and send it if there is a connection; False when full."""
        with self._lock:
            if topic not in self._latest and len(self._latest) >= TOPICS_MAX:
                return False
            self._latest[topic] = payload
        self._send(topic)
        return True

    def has(self, topic: str) -> bool:
        """Tell whether a state is kept for `topic`."""
        return topic in self._latest

    def wait_settled(self, topic: str, timeout_s: float) -> bool:
        """Wait until the broker has the latest state of `topic`, at most `timeout_s` [s]."""
        with self._settled:
            return self._settled.wait_for(
                lambda: self._link is None or self._taken.get(topic) == self._latest.get(topic),
                timeout=timeout_s,
            )

    def move(self, topic: str, payload: bytes, *, effect_id: str, expiry_s: int) -> None:
        """Hand a command to the connection, or fail it at once; what becomes of it goes to the inbox."""
        with self._lock:
            link, turn = self._link, self._turn
        if link is None:
            self._inbox.put(EffectFailed(effect_id, "there is no connection to the broker"))
            return
        info = link.offer(topic, payload, expiry_s=expiry_s)
        if info.rc != MQTTErrorCode.MQTT_ERR_SUCCESS:
            self._inbox.put(EffectFailed(effect_id, "the connection to the broker does not take the command"))
            return
        self._claim(info.mid, _Flight(topic, effect_id), turn)

    def connected(self, link: Link) -> None:
        """Begin with a new connection: send every state again."""
        # The library would send its own unanswered messages after ours, old states over new ones.
        link.drop_out_messages()
        with self._lock:
            self._link = link
            self._turn += 1
            self._flying.clear()
            self._taken.clear()
            topics = tuple(self._latest)
        for topic in topics:
            self._send(topic)

    def lost(self) -> None:
        """Give up what is under way; commands among it have failed."""
        with self._settled:
            self._link = None
            self._turn += 1
            flights = tuple(self._flights.values())
            self._flights.clear()
            self._early.clear()
            self._settled.notify_all()
        for flight in flights:
            self._fail_lost(flight)

    def published(self, mid: int, refusal: str | None) -> None:
        """Hear from the library that a message has gone out (command) or has been answered (state)."""
        with self._lock:
            flight = self._flights.pop(mid, None)
            if flight is None:
                # Its hand-over has not yet returned; it will look here.
                self._early[mid] = refusal
                return
        self._land(flight, refusal)

    def _send(self, topic: str) -> None:
        with self._lock:
            link, turn = self._link, self._turn
            if link is None or topic in self._flying:
                return  # on connecting, or on landing, the latest goes out
            payload = self._flying[topic] = self._latest[topic]
        info = link.publish(topic, payload, qos=1, retain=True)
        if info.rc == MQTTErrorCode.MQTT_ERR_QUEUE_SIZE:  # not taken; any other answer leaves it queued
            _log.error("the library takes no more messages", topic=topic)
            with self._lock:
                self._flying.pop(topic, None)
            return
        self._claim(info.mid, _Flight(topic), turn)

    def _claim(self, mid: int, flight: _Flight, turn: int) -> None:
        with self._lock:
            late = turn != self._turn
            if not late and mid not in self._early:
                self._flights[mid] = flight
                return
            refusal = self._early.pop(mid, None)
        if late:
            self._fail_lost(flight)
        else:
            self._land(flight, refusal)

    def _land(self, flight: _Flight, refusal: str | None) -> None:
        if flight.effect_id is not None:
            self._inbox.put(EffectDone(flight.effect_id, "handed to the broker"))
            return
        with self._settled:
            sent = self._flying.pop(flight.topic, None)
            newer = sent is not None and sent != self._latest.get(flight.topic)
            if sent is not None:
                self._taken[flight.topic] = sent
            self._settled.notify_all()
        self._on_state_taken(flight.topic, refusal)
        if newer:
            self._send(flight.topic)

    def _fail_lost(self, flight: _Flight) -> None:
        if flight.effect_id is not None:
            self._inbox.put(
                EffectFailed(flight.effect_id, "the connection was lost before the command went out")
            )
