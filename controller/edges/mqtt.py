"""The MQTT edge: readings and board reports in, motor commands and states out.

Only the exact topics of the settings are subscribed. A reading is acknowledged to the broker once it has been
committed, so that one in flight survives a crash; a payload that cannot be read is acknowledged too, or it
would come back for ever. Commands go out at once or fail; states are kept and published again.
"""

from __future__ import annotations

import functools
import json
from typing import Final

import structlog
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from controller.core.plan.plan import Plan
from controller.core.units import SECOND_MS, HouseMs
from controller.core.vocabulary import (
    EffectFailed,
    Event,
    MoveCurtain,
    PayloadRefused,
    PublishState,
    SirenReported,
    SoundSiren,
)
from controller.edges.clock import BoardClock, Clock
from controller.edges.inbox import Inbox
from controller.edges.mqtt_connection import Connection
from controller.edges.mqtt_link import Link, guarded
from controller.edges.mqtt_outbox import Outbox
from controller.edges.mqtt_subscriptions import Subscriptions
from controller.edges.mqtt_trouble import Cause, Troubles, name_topics, tell_reason
from controller.edges.notify.siren import SirenWatch
from controller.edges.rate_cap import MESSAGES_PER_S, RateCap
from controller.wire.command import render_move
from controller.wire.route import Routes
from controller.wire.siren import render_siren
from controller.wire.topic import find_fault

TICK_AGE_MAX_S: Final = 90.0
"""Age of the last tick from which on the edge must be thought dead. [s] Between two tries to connect it does
not tick for 30 s, and a name or an address that does not answer takes its own time."""

MOVE_TICK_AGE_MAX_S: Final = 5.0
"""A connection whose loop has not turned for so long takes no commands. [s] It turns once a second."""

GOODBYE_TIMEOUT_S: Final = 2.0
"""Longest wait for the broker to take the last state on a clean stop. [s]"""

_ONLINE: Final = json.dumps({"state": "online"}).encode()
_VANISHED: Final = json.dumps({"state": "offline", "why": "connection lost"}).encode()
_STOPPED: Final = json.dumps({"state": "offline", "why": "stopped"}).encode()

_log = structlog.get_logger(__name__)


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
        self._root = f"duskbell/{plan.site.id}"
        self._health_topic = f"{self._root}/health"
        self._inbox = inbox
        self._clock = clock
        # The network keeps the board's pace, also while a rehearsal lets house time run faster.
        self._pace: Clock = BoardClock("UTC", 0)
        self._troubles = Troubles(inbox)
        self._subscriptions = Subscriptions(Routes(plan), self._troubles)
        self._cap = RateCap()
        self._siren_watch = SirenWatch(plan.siren, inbox)
        self._outbox = Outbox(inbox, self._state_taken)
        self._refused_states: dict[str, str] = {}
        self._worked_house_ms: HouseMs = 0
        self._connection = Connection(
            broker=plan.broker,
            clock=self._pace,
            troubles=self._troubles,
            will_topic=self._health_topic,
            will_payload=_VANISHED,
            dress=self._dress,
            up=self._up,
            down=self._outbox.lost,
        )

    def start(self) -> None:
        """Begin to connect; returns at once. A broker that is not there is a trouble, not an error."""
        self._connection.start()

    def stop(self) -> None:
        """Publish that the house is offline, say goodbye, and end. May be called at any time."""
        if not self._connection.retire():
            return
        if self._connection.connected:
            self._outbox.keep(self._health_topic, _STOPPED)
            if not self._outbox.wait_settled(self._health_topic, GOODBYE_TIMEOUT_S):
                _log.warning("the broker did not take the last state")
        self._connection.end()
        self._outbox.lost()
        _log.info("stopped")

    def tick_age_s(self) -> float:
        """Age of the connection's last sign of life [s]; above `TICK_AGE_MAX_S` its thread is dead."""
        link = self._connection.link
        if link is None:
            return 0.0
        return (self._pace.house_ms() - link.ticked_house_ms) / SECOND_MS

    def change_plan(self, plan: Plan) -> None:
        """Take new settings: subscribe to what is new and unsubscribe from what is gone."""
        self._plan = plan
        self._siren_watch.change(plan.siren)
        routes = Routes(plan)
        self._subscriptions.change(routes, self._connection.link if self._connection.connected else None)
        self._cap.keep(routes.sensor_topics | routes.report_topics)

    def act(self, effect: MoveCurtain | SoundSiren | PublishState) -> None:
        """Carry out an effect; returns at once. What became of a command goes to the inbox."""
        match effect:
            case MoveCurtain():
                self._move(effect)
            case SoundSiren():
                self._sound(effect)
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
        if curtain is None:
            self._inbox.put(EffectFailed(move.effect_id, "there is no such curtain in the settings"))
            return
        self._command(move, curtain.command_topic, render_move(move, curtain.actuator))

    def _sound(self, sound: SoundSiren) -> None:
        siren = self._plan.siren
        if siren is None:
            self._inbox.put(EffectFailed(sound.effect_id, "there is no siren in the settings"))
            return
        # Watched even if it cannot be sent: a siren that stays silent is a trouble whatever the reason.
        self._siren_watch.told(sound, self._pace.house_ms())
        self._command(sound, siren.command_topic, render_siren(sound))

    def _command(self, effect: MoveCurtain | SoundSiren, topic: str, payload: bytes) -> None:
        """Hand a command to the connection, or say why that cannot be."""
        left_ms = effect.not_after_house_ms - self._clock.house_ms()
        reason = None
        if left_ms < 0:
            reason = "the command came too late to be sent"
        elif not self._connection.connected:
            reason = "there is no connection to the broker"
        elif self.tick_age_s() > MOVE_TICK_AGE_MAX_S:
            reason = "the connection to the broker does not move"
        else:
            reason = find_fault(topic)
        if reason is not None:
            self._inbox.put(EffectFailed(effect.effect_id, reason))
            return
        self._outbox.move(topic, payload, effect_id=effect.effect_id, expiry_s=max(1, left_ms // SECOND_MS))

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

    @guarded
    def _on_publish(
        self, link: Client, _data: object, mid: int, reason: ReasonCode, _properties: Properties
    ) -> None:
        if link is self._connection.link:
            self._outbox.published(mid, tell_reason(reason) if reason.is_failure else None)

    # --- the connection ---------------------------------------------------------------------------------

    def _dress(self, link: Link) -> None:
        link.on_message = self._on_message
        link.on_subscribe = self._on_subscribe
        link.on_publish = self._on_publish
        link.on_tick = self._on_tick

    def _up(self, link: Link) -> None:
        self._refused_states.clear()
        self._troubles.end(Cause.PUBLICATIONS)
        self._subscriptions.subscribe_all(link)
        self._outbox.connected(link)
        if not self._outbox.has(self._health_topic):
            self._outbox.keep(self._health_topic, _ONLINE)

    @guarded
    def _on_tick(self, now_house_ms: HouseMs) -> None:
        if now_house_ms - self._worked_house_ms < SECOND_MS:
            return
        self._worked_house_ms = now_house_ms
        self._connection.watch(now_house_ms)
        self._siren_watch.tick(now_house_ms)
        for topic, count in self._cap.take_dropped(now_house_ms).items():
            reason = f"{count} messages came faster than {MESSAGES_PER_S} a second and were dropped"
            _log.warning("messages dropped", topic=topic, count=count)
            for source in self._subscriptions.routes.sources(topic):
                self._inbox.put(PayloadRefused(topic, source, reason))

    # --- coming in --------------------------------------------------------------------------------------

    @guarded
    def _on_subscribe(
        self, link: Client, _data: object, mid: int, reasons: list[ReasonCode], _properties: Properties
    ) -> None:
        if link is self._connection.link:
            self._subscriptions.answered(mid, reasons)

    @guarded
    def _on_message(self, link: Client, _data: object, message: MQTTMessage) -> None:
        if link is not self._connection.link or not isinstance(link, Link):
            return
        acknowledge = None
        if message.qos > 0:
            acknowledge = functools.partial(
                self._acknowledge, link, self._connection.number, mid=message.mid, qos=message.qos
            )
        events = self._read(link, message)
        for event in events:
            if isinstance(event, SirenReported):
                self._siren_watch.heard(on=event.on, now_ms=self._pace.house_ms())
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
        if not self._cap.admit(topic, self._pace.house_ms()):
            return ()
        try:
            return routes.read(
                topic, bytes(message.payload), retained=message.retain, now_utc_ms=self._clock.utc_ms()
            )
        except Exception:  # noqa: BLE001 - our own mistake; a message that repeats it must not come back
            _log.exception("a message could not be read", topic=topic)
            return tuple(PayloadRefused(topic, source, "it could not be read") for source in sources)

    def _acknowledge(self, link: Link, number: int, *, mid: int, qos: int) -> None:
        # On another connection the number may stand for another message, one not yet committed.
        here = self._connection
        if here.connected and number == here.number and link is here.link:
            link.ack(mid, qos)
