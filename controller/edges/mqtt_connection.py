"""Keeping one connection to the broker: which version of the protocol, how often it is lost, what is told.

MQTT 5 is tried first. Brokers that do not know it either say so, or stumble over it and close the connection
or forget it; then 3.1.1 has its turn, and the other again after that, ever more patiently.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Final

import structlog
from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags
from paho.mqtt.enums import MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from controller.core.plan.site import Broker
from controller.core.units import SECOND_MS, HouseMs
from controller.edges.clock import Clock
from controller.edges.mqtt_link import Link, explain_failure, guarded
from controller.edges.mqtt_trouble import Cause, Losses, Troubles, tell_reason

PATIENCE: Final = (2, 16)
"""Fewest and most tries in a row without an answer, until the other version is tried. Doubled each time."""

ANSWER_TIMEOUT_MS: Final = 5 * SECOND_MS
"""Longest wait for a broker's answer to a try to connect. [ms]"""

_UNSUPPORTED_VERSION: Final = 132  # reason codes of MQTT 5.0, section 2.4
_TAKEN_OVER: Final = 142

_log = structlog.get_logger(__name__)


class Connection:
    """The link in use, and its replacement by one of the other version.

    Parameters
    ----------
    broker
        Where to connect, and as whom.
    clock
        House time.
    troubles
        Told when there is no connection, and when somebody else uses our client id.
    will_topic, will_payload
        What the broker publishes when we vanish.
    dress
        Gives a new link its handlers for messages.
    up
        Called with the link when it is connected.
    down
        Called when the connection is lost; once for each `up`.
    """

    def __init__(
        self,
        *,
        broker: Broker,
        clock: Clock,
        troubles: Troubles,
        will_topic: str,
        will_payload: bytes,
        dress: Callable[[Link], None],
        up: Callable[[Link], None],
        down: Callable[[], None],
    ) -> None:
        self.link: Link | None = None
        """The link in use; what another one says is not heard."""
        self.connected = False
        """Whether the broker has accepted us and has not been lost since. Unlike the library's word, true."""
        self.number = 0
        """Counts connections made: an acknowledgement belongs to one."""
        self._broker = broker
        self._place = f"{broker.host}:{broker.port}"
        self._clock = clock
        self._troubles = troubles
        self._will_topic = will_topic
        self._will_payload = will_payload
        self._dress = dress
        self._up = up
        self._down = down
        self._losses = Losses()
        self._unanswered = 0
        self._patience = PATIENCE[0]
        self._refused_modern = False  # the broker has said itself that it does not know MQTT 5
        self._retired = False
        self._lock = threading.Lock()  # guards which link is ours, and whether there may be another

    def start(self) -> None:
        """Begin to connect; returns at once."""
        self._begin(MQTTProtocolVersion.MQTTv311 if self._broker.mqtt_3_only else MQTTProtocolVersion.MQTTv5)

    def retire(self) -> bool:
        """Make no other link from now on; False when there is none to end."""
        with self._lock:
            self._retired = True
            return self.link is not None

    def end(self) -> None:
        """Say goodbye and wait for the link's thread to end."""
        assert self._retired, "a connection is retired before it is ended"
        if self.link is not None:
            self.link.close()
        self.connected = False
        self.link = None

    def watch(self, now_house_ms: HouseMs) -> None:
        """Look after what only time tells; called by the link's own thread, about once a second."""
        if self._losses.are_over(now_house_ms):
            self._troubles.end(Cause.CLIENT_ID)
        link = self.link
        if link is not None and not link.answered and now_house_ms - link.tried_house_ms > ANSWER_TIMEOUT_MS:
            self._fail(f"the broker at {self._place} takes the connection and does not answer")
            self._unanswered += PATIENCE[0]
            if self._unanswered >= self._patience:
                self._change_version(link)
            else:
                link.cut()

    def _begin(self, version: MQTTProtocolVersion) -> None:
        link = Link(
            self._broker,
            version=version,
            clock=self._clock,
            will_topic=self._will_topic,
            will_payload=self._will_payload,
        )
        link.on_connect = self._on_connect
        link.on_connect_fail = self._on_connect_fail
        link.on_disconnect = self._on_disconnect
        link.on_mend = self._on_mend
        self._dress(link)
        with self._lock:
            if not self._retired:
                self.link = link
                link.open()

    def _change_version(self, link: Link) -> None:
        self._unanswered = 0
        if self._broker.mqtt_3_only:
            link.cut()
            return
        self._patience = min(2 * self._patience, PATIENCE[1])
        version = MQTTProtocolVersion.MQTTv311 if link.modern else MQTTProtocolVersion.MQTTv5
        _log.info("trying another version of the protocol", version=version.name)
        link.abandon()
        self._begin(version)

    def _fail(self, text: str) -> None:
        if self._troubles.begin(Cause.CONNECTION, text):
            _log.warning("not connected", why=text)

    @guarded
    def _on_connect(
        self,
        link: Client,
        _data: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if link is not self.link or not isinstance(link, Link):
            return
        link.answered = True
        self._unanswered = 0
        if reason.is_failure:
            if link.modern and reason.value == _UNSUPPORTED_VERSION:
                self._refused_modern = True
                self._change_version(link)
            else:
                self._fail(link.obstacle or f"the broker refuses the connection ({tell_reason(reason)})")
            return
        self._patience = PATIENCE[0]
        self.number += 1
        self.connected = True
        _log.info("connected", mqtt_5=link.modern, session_kept=flags.session_present)
        self._up(link)
        self._troubles.end(Cause.CONNECTION)

    @guarded
    def _on_connect_fail(self, link: Client, _data: object) -> None:
        if link is self.link and isinstance(link, Link):
            link.tick()
            self._fail(explain_failure(link, self._broker))

    @guarded
    def _on_disconnect(
        self,
        link: Client,
        _data: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if link is not self.link or not isinstance(link, Link):
            return
        if self.connected:
            _log.info("disconnected", reason=str(reason))
            self._lose(tell_reason(reason), taken_over=reason.value == _TAKEN_OVER)
            guessed = not (link.modern or self._refused_modern or self._broker.mqtt_3_only)
            if guessed and not self._retired:
                self._change_version(link)  # the older version was a guess, so the newer one has its turn
        elif not link.answered and not self._retired:
            self._unanswered += 1
            self._fail(f"the broker at {self._place} closes the connection without a word")
            if self._unanswered >= self._patience:
                self._change_version(link)
        # Else it is a refusal, already told, or the second telling of one loss: the library does both.

    @guarded
    def _on_mend(self, error: Exception) -> None:
        if self.connected:
            self._lose("something broke in our own loop", taken_over=False)
        if self.link is not None:
            self._fail(explain_failure(self.link, self._broker, error))

    def _lose(self, why: str, *, taken_over: bool) -> None:
        self.connected = False
        self._down()
        if self._retired:
            return
        self._fail(f"the connection to the broker was lost ({why})")
        now_ms = self._clock.house_ms()
        self._losses.note(now_ms, taken_over=taken_over)
        contest = self._losses.explain(self._broker.client_id, now_ms)
        if contest is not None and self._troubles.begin(Cause.CLIENT_ID, contest):
            _log.error("client id contested", client_id=self._broker.client_id)
