"""The MQTT edge: readings and board reports in, motor commands and states out.

Only the exact topics of the settings are subscribed. A reading is acknowledged to the broker once it has been
committed, so that one in flight survives a crash; a payload that cannot be read is acknowledged too, or it
would come back for ever. Commands go out at once or fail; states are kept and published again.
"""

from __future__ import annotations

import functools
import json
import threading
from collections.abc import Callable
from typing import Final, ParamSpec

import structlog
from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import MQTTProtocolVersion
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from controller.core.plan.plan import Plan
from controller.core.units import SECOND_MS, HouseMs
from controller.core.vocabulary import EffectFailed, Event, MoveCurtain, PayloadRefused, PublishState
from controller.edges.clock import Clock
from controller.edges.inbox import Inbox
from controller.edges.mqtt_link import Link, explain_failure
from controller.edges.mqtt_outbox import Outbox
from controller.edges.mqtt_subscriptions import Subscriptions
from controller.edges.mqtt_trouble import Cause, Losses, Troubles, name_topics
from controller.edges.rate_cap import MESSAGES_PER_S, RateCap
from controller.wire.command import render_move
from controller.wire.route import Routes
from controller.wire.topic import find_fault

TICK_AGE_MAX_S: Final = 90.0
"""Age of the last tick from which on the edge must be thought dead. [s] Between two tries to connect it does
not tick for 30 s, and a name or an address that does not answer takes its own time."""

MOVE_TICK_AGE_MAX_S: Final = 5.0
"""A connection whose loop has not turned for so long takes no commands. [s] It turns once a second."""

UNANSWERED_MAX: Final = 2
"""Tries in a row that the broker cuts short without a word, until the other version is tried."""

ANSWER_TIMEOUT_MS: Final = 5 * SECOND_MS
"""Longest wait for a broker's answer to a try to connect. [ms]"""

GOODBYE_TIMEOUT_S: Final = 2.0
"""Longest wait for the broker to take the last state on a clean stop. [s]"""

_ONLINE: Final = json.dumps({"state": "online"}).encode()
_VANISHED: Final = json.dumps({"state": "offline", "why": "connection lost"}).encode()
_STOPPED: Final = json.dumps({"state": "offline", "why": "stopped"}).encode()

_UNSUPPORTED_VERSION: Final = 132  # reason codes of MQTT 5.0, section 2.4
_TAKEN_OVER: Final = 142

_log = structlog.get_logger(__name__)
_P = ParamSpec("_P")


def _guarded(handler: Callable[_P, None]) -> Callable[_P, None]:
    """Keep whatever a handler raises away from the library's thread, which it would end."""

    @functools.wraps(handler)
    def guard(*args: _P.args, **kwargs: _P.kwargs) -> None:
        try:
            handler(*args, **kwargs)
        except Exception:  # noqa: BLE001 - our own mistake, whatever it is; it is written down
            _log.exception("a handler failed", handler=handler.__name__)

    return guard


class MqttEdge:
    """The house's end of the MQTT connection.

    Parameters
    ----------
    plan
        The settings. Broker and site id are read once; their change needs a restart.
    inbox
        Where events go.
    clock
        House time and UTC.
    """

    def __init__(self, plan: Plan, inbox: Inbox, clock: Clock) -> None:
        self._plan = plan
        self._broker = plan.broker
        self._place = f"{plan.broker.host}:{plan.broker.port}"
        self._root = f"duskbell/{plan.site.id}"
        self._health_topic = f"{self._root}/health"
        self._inbox = inbox
        self._clock = clock
        self._troubles = Troubles(inbox)
        self._subscriptions = Subscriptions(Routes(plan), self._troubles)
        self._losses = Losses()
        self._cap = RateCap()
        self._outbox = Outbox(inbox, self._state_taken)
        self._link: Link | None = None
        self._connection = 0  # counts connections: an acknowledgement belongs to one
        self._connected = False
        self._unanswered = 0  # tries in a row that the broker cut short without a word
        self._refused_modern = False  # whether the broker has said itself that it does not know MQTT 5
        self._stopping = False
        self._ticked_work_house_ms: HouseMs = 0
        self._refused_states: dict[str, str] = {}
        self._lock = threading.Lock()  # guards which link is ours, and whether there may be another

    def start(self) -> None:
        """Begin to connect; returns at once. A broker that is not there is a trouble, not an error."""
        assert self._link is None, "it is started once"
        self._begin_link(MQTTProtocolVersion.MQTTv5)

    def stop(self) -> None:
        """Publish that the house is offline, say goodbye, and end. May be called at any time."""
        with self._lock:
            self._stopping = True
            link = self._link
        if link is None:
            return
        if self._connected:
            self._outbox.keep(self._health_topic, _STOPPED)
            if not self._outbox.wait_settled(self._health_topic, GOODBYE_TIMEOUT_S):
                _log.warning("the broker did not take the last state")
        link.close()
        self._connected = False
        self._outbox.lost()
        self._link = None
        _log.info("stopped")

    def tick_age_s(self) -> float:
        """Age of the connection's last sign of life [s]; above `TICK_AGE_MAX_S` its thread is dead."""
        link = self._link
        if link is None:
            return 0.0
        return (self._clock.house_ms() - link.ticked_house_ms) / SECOND_MS

    def change_plan(self, plan: Plan) -> None:
        """Take new settings: subscribe to what is new and unsubscribe from what is gone."""
        self._plan = plan
        routes = Routes(plan)
        self._subscriptions.change(routes, self._link if self._connected else None)
        self._cap.keep(routes.sensor_topics | routes.report_topics)

    def act(self, effect: MoveCurtain | PublishState) -> None:
        """Carry out an effect; returns at once. What became of a move goes to the inbox."""
        match effect:
            case MoveCurtain():
                self._move(effect)
            case PublishState(tail, document):
                topic = f"{self._root}/{tail}"
                fault = find_fault(topic)
                if fault is not None:
                    _log.error("a state cannot be published", topic=topic, fault=fault)
                elif not self._outbox.keep(topic, document.encode()):
                    _log.error("too many states; this one is not published", topic=topic)

    # --- going out --------------------------------------------------------------------------------------

    def _move(self, move: MoveCurtain) -> None:
        curtain = next((c for c in self._plan.curtain if c.name == move.curtain), None)
        left_ms = move.not_after_house_ms - self._clock.house_ms()
        reason = None
        if curtain is None:
            reason = "there is no such curtain in the settings"
        elif left_ms < 0:
            reason = "the command came too late to be sent"
        elif not self._connected:
            reason = "there is no connection to the broker"
        elif self.tick_age_s() > MOVE_TICK_AGE_MAX_S:
            reason = "the connection to the broker does not move"
        elif (fault := find_fault(curtain.command_topic)) is not None:
            reason = fault
        if reason is not None or curtain is None:
            self._inbox.put(EffectFailed(move.effect_id, reason or "there is no such curtain"))
            return
        self._outbox.move(
            curtain.command_topic,
            render_move(move, curtain.actuator),
            effect_id=move.effect_id,
            expiry_s=max(1, left_ms // SECOND_MS),
        )

    def _state_taken(self, topic: str, refusal: str | None) -> None:
        if refusal is None and topic not in self._refused_states:
            return
        if refusal is None:
            self._refused_states.pop(topic, None)
        else:
            self._refused_states[topic] = refusal
        if self._refused_states:
            self._troubles.begin(
                Cause.PUBLICATIONS, f"the broker does not take {name_topics(self._refused_states)}"
            )
        else:
            self._troubles.end(Cause.PUBLICATIONS)

    @_guarded
    def _on_publish(
        self, link: Client, _data: object, mid: int, reason: ReasonCode, _properties: Properties
    ) -> None:
        if link is self._link:
            self._outbox.published(mid, str(reason) if reason.is_failure else None)

    # --- the connection ---------------------------------------------------------------------------------

    def _begin_link(self, version: MQTTProtocolVersion) -> None:
        link = Link(
            self._broker,
            version=version,
            clock=self._clock,
            will_topic=self._health_topic,
            will_payload=_VANISHED,
        )
        link.on_connect = self._on_connect
        link.on_connect_fail = self._on_connect_fail
        link.on_disconnect = self._on_disconnect
        link.on_message = self._on_message
        link.on_subscribe = self._on_subscribe
        link.on_publish = self._on_publish
        link.on_tick = self._on_tick
        link.on_mend = self._on_mend
        with self._lock:
            if self._stopping:
                return
            self._link = link
            link.open()

    def _not_connected(self, text: str) -> None:
        _log.warning("not connected", why=text)
        self._troubles.begin(Cause.CONNECTION, text)

    def _change_version(self, link: Link) -> None:
        # Some brokers that do not know MQTT 5 say so; others stumble over it, and close the connection or
        # forget it.
        self._unanswered = 0
        version = MQTTProtocolVersion.MQTTv311 if link.modern else MQTTProtocolVersion.MQTTv5
        _log.info("trying another version of the protocol", version=version.name)
        link.abandon()
        self._begin_link(version)

    @_guarded
    def _on_connect(
        self,
        link: Client,
        _data: object,
        flags: ConnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if link is not self._link or not isinstance(link, Link):
            return
        link.answered = True
        self._unanswered = 0
        if reason.is_failure:
            if link.modern and reason.value == _UNSUPPORTED_VERSION:
                self._refused_modern = True
                self._change_version(link)
                return
            self._not_connected(link.obstacle or f"the broker refuses the connection ({reason})")
            return
        self._connection += 1
        self._connected = True
        self._refused_states.clear()
        self._troubles.end(Cause.PUBLICATIONS)
        self._subscriptions.subscribe_all(link)
        self._outbox.connected(link)
        if not self._outbox.has(self._health_topic):
            self._outbox.keep(self._health_topic, _ONLINE)
        _log.info("connected", mqtt_5=link.modern, session_kept=flags.session_present)
        self._troubles.end(Cause.CONNECTION)

    @_guarded
    def _on_connect_fail(self, link: Client, _data: object) -> None:
        if link is not self._link or not isinstance(link, Link):
            return
        link.tick()
        self._not_connected(explain_failure(link, self._broker))

    @_guarded
    def _on_disconnect(
        self,
        link: Client,
        _data: object,
        _flags: DisconnectFlags,
        reason: ReasonCode,
        _properties: Properties | None,
    ) -> None:
        if link is not self._link or not isinstance(link, Link):
            return
        if link.answered:
            self._lose(str(reason), taken_over=reason.value == _TAKEN_OVER)
            if not link.modern and not self._refused_modern and not self._stopping:
                self._change_version(link)  # the older version was a guess, so the newer one has its turn
            return
        self._unanswered += 1
        self._not_connected(f"the broker at {self._place} closes the connection without a word")
        if self._unanswered >= UNANSWERED_MAX:
            self._change_version(link)

    @_guarded
    def _on_mend(self, error: Exception) -> None:
        link = self._link
        if link is not None:
            self._lose(type(error).__name__, taken_over=False)
            self._troubles.begin(Cause.CONNECTION, explain_failure(link, self._broker, error))

    def _lose(self, why: str, *, taken_over: bool) -> None:
        # The library tells a loss twice after a silence, and a refused connection as a loss too.
        if not self._connected:
            return
        self._connected = False
        self._outbox.lost()
        if self._stopping:
            return
        _log.warning("connection lost", why=why)
        self._troubles.begin(Cause.CONNECTION, f"the connection to the broker was lost ({why})")
        now_ms = self._clock.house_ms()
        self._losses.note(now_ms, taken_over=taken_over)
        contest = self._losses.explain(self._broker.client_id, now_ms)
        if contest is not None:
            _log.error("client id contested", client_id=self._broker.client_id)
            self._troubles.begin(Cause.CLIENT_ID, contest)

    @_guarded
    def _on_tick(self, now_house_ms: HouseMs) -> None:
        if now_house_ms - self._ticked_work_house_ms < SECOND_MS:
            return
        self._ticked_work_house_ms = now_house_ms
        link = self._link
        if link is not None and not link.answered and now_house_ms - link.tried_house_ms > ANSWER_TIMEOUT_MS:
            self._not_connected(f"the broker at {self._place} takes the connection and does not answer")
            self._change_version(link)
            return
        if self._losses.are_over(now_house_ms):
            self._troubles.end(Cause.CLIENT_ID)
        for topic, count in self._cap.take_dropped(now_house_ms).items():
            reason = f"{count} messages came faster than {MESSAGES_PER_S} a second and were dropped"
            _log.warning("messages dropped", topic=topic, count=count)
            for source in self._subscriptions.routes.sources(topic):
                self._inbox.put(PayloadRefused(topic, source, reason))

    # --- coming in --------------------------------------------------------------------------------------

    @_guarded
    def _on_subscribe(
        self, link: Client, _data: object, mid: int, reasons: list[ReasonCode], _properties: Properties
    ) -> None:
        if link is self._link:
            self._subscriptions.answered(mid, reasons)

    @_guarded
    def _on_message(self, link: Client, _data: object, message: MQTTMessage) -> None:
        if link is not self._link or not isinstance(link, Link):
            return
        acknowledge = None
        if message.qos > 0:
            acknowledge = functools.partial(
                self._acknowledge, link, self._connection, mid=message.mid, qos=message.qos
            )
        events = self._read(link, message)
        for event in events[:-1]:
            self._inbox.put(event)
        if events:
            self._inbox.put(events[-1], acknowledge)
        elif acknowledge is not None:
            acknowledge()

    def _read(self, link: Link, message: MQTTMessage) -> tuple[Event, ...]:
        """Read a message; whatever happens it gives events or none, so that it can be acknowledged."""
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return ()
        routes = self._subscriptions.routes
        sources = routes.sources(topic)
        if not sources:
            self._subscriptions.drop_foreign(link, topic)
            return ()
        if not self._cap.admit(topic, self._clock.house_ms()):
            return ()
        try:
            return routes.read(
                topic, bytes(message.payload), retained=message.retain, now_utc_ms=self._clock.utc_ms()
            )
        except Exception:  # noqa: BLE001 - our own mistake; a message that repeats it must not come back
            _log.exception("a message could not be read", topic=topic)
            return tuple(PayloadRefused(topic, source, "it could not be read") for source in sources)

    def _acknowledge(self, link: Link, connection: int, *, mid: int, qos: int) -> None:
        # On another connection the number may stand for another message, one not yet committed.
        if self._connected and connection == self._connection and link is self._link:
            link.ack(mid, qos)
