"""Which topics are heard: the exact ones of the settings, and what the broker said to each."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from typing import Final

import structlog
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from controller.edges.mqtt_link import Link
from controller.edges.mqtt_trouble import Cause, Troubles, name_topics, tell_reason
from controller.wire.route import Routes
from controller.wire.topic import find_fault

FOREIGN_MAX: Final = 500
"""Topics remembered as left over from an older session; one never holds more."""

_log = structlog.get_logger(__name__)


class Subscriptions:
    """The topics asked for and those refused. Any thread may call.

    Parameters
    ----------
    routes
        What each topic means; `change` replaces it.
    troubles
        Told which topics the broker refuses.
    """

    def __init__(self, routes: Routes, troubles: Troubles) -> None:
        self.routes = routes
        self._troubles = troubles
        self._asked: dict[int, tuple[str, ...]] = {}  # by number of the request
        self._refused: dict[str, str] = {}
        self._foreign: set[str] = set()
        # Held while subscribing, so that an answer finds its question; never while publishing.
        self._lock = threading.Lock()

    def subscribe_all(self, link: Link) -> None:
        """Subscribe to every topic; a kept session may lack some, and says nothing of what is refused."""
        with self._lock:
            self._asked.clear()
            self._foreign.clear()
            self._subscribe(link, _choose(self.routes))
            self._tell()

    def change(self, routes: Routes, link: Link | None) -> None:
        """Take new routes; on a connection, subscribe to what is new and unsubscribe from what is gone."""
        with self._lock:
            old, new = _choose(self.routes), _choose(routes)
            self.routes = routes
            self._foreign -= new.keys()
            gone = [topic for topic in old if topic not in new]
            for topic in gone:
                self._refused.pop(topic, None)
            if link is not None:
                if gone:
                    link.unsubscribe(gone)
                self._subscribe(link, {topic: qos for topic, qos in new.items() if old.get(topic) != qos})
            self._tell()

    def answered(self, mid: int, reasons: Sequence[ReasonCode]) -> None:
        """Hear the broker's answer to request number `mid`, a reason for each of its topics."""
        with self._lock:
            for topic, reason in zip(self._asked.pop(mid, ()), reasons, strict=False):
                if reason.is_failure:
                    self._refused[topic] = tell_reason(reason)
                    _log.error("subscription refused", topic=topic, reason=str(reason))
                else:
                    self._refused.pop(topic, None)
            self._tell()

    def drop_foreign(self, link: Link, topic: str) -> None:
        """Unsubscribe, once, from a topic that an older session still holds."""
        with self._lock:
            if topic not in self._foreign and len(self._foreign) < FOREIGN_MAX:
                self._foreign.add(topic)
                link.unsubscribe(topic)

    def _subscribe(self, link: Link, topics: dict[str, int]) -> None:
        if not topics:
            return
        if link.modern:
            _code, mid = link.subscribe([(topic, SubscribeOptions(qos=qos)) for topic, qos in topics.items()])
        else:
            _code, mid = link.subscribe(list(topics.items()))
        if mid is not None:
            self._asked[mid] = tuple(topics)

    def _tell(self) -> None:
        refused = self._refused | _find_faults(self.routes)
        if refused:
            self._troubles.begin(Cause.SUBSCRIPTIONS, f"these topics cannot be heard: {name_topics(refused)}")
        else:
            self._troubles.end(Cause.SUBSCRIPTIONS)


def _choose(routes: Routes) -> dict[str, int]:
    """Choose the quality of service for each topic that can be subscribed.

    Readings that came while we were away are wanted (QoS 1); where a curtain was then is not (QoS 0).
    """
    topics = dict.fromkeys(routes.report_topics, 0) | dict.fromkeys(routes.sensor_topics, 1)
    return {topic: qos for topic, qos in topics.items() if find_fault(topic) is None}


def _find_faults(routes: Routes) -> dict[str, str]:
    topics = routes.report_topics | routes.sensor_topics
    return {topic: fault for topic in topics if (fault := find_fault(topic)) is not None}
