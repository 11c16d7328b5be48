"""The others on the broker in a test: sensors, boards, onlookers; and an ear at the daemon's inbox."""

from __future__ import annotations

import threading
from collections.abc import Callable
from types import TracebackType
from typing import NamedTuple, Self, TypeVar

from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from waiting import wait_until

from controller.core.plan.curtain import Curtain
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Form, Sensor
from controller.core.plan.site import Broker, Site
from controller.core.units import Quantity
from controller.core.vocabulary import Event
from controller.edges.inbox import Inbox

E = TypeVar("E")


class Heard(NamedTuple):
    """A message as an onlooker got it."""

    topic: str
    payload: bytes
    qos: int
    retained: bool


class Peer:
    """A plain client of the broker, connected while the `with` block lasts."""

    def __init__(
        self, port: int, *topics: str, client_id: str = "", version: int = 5, account: str = ""
    ) -> None:
        self.heard: list[Heard] = []
        self._subscribed = threading.Event()
        self._topics = topics
        protocol = MQTTProtocolVersion.MQTTv5 if version == 5 else MQTTProtocolVersion.MQTTv311
        self._client = Client(CallbackAPIVersion.VERSION2, client_id, protocol=protocol)
        if account:
            self._client.username_pw_set(account, account)
        self._client.on_message = self._on_message
        self._client.on_subscribe = lambda *_: self._subscribed.set()
        self._client.connect("127.0.0.1", port)

    def __enter__(self) -> Self:
        self._client.loop_start()
        wait_until(self._client.is_connected, "the peer is connected")
        if self._topics:
            self._client.subscribe([(topic, 1) for topic in self._topics])
            assert self._subscribed.wait(10)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._client.disconnect()
        self._client.loop_stop()
        self._client.on_message = self._client.on_subscribe = None

    def say(self, topic: str, payload: bytes | str, *, qos: int = 1, retain: bool = False) -> None:
        """Publish and wait until the broker has it."""
        self._client.publish(topic, payload, qos=qos, retain=retain).wait_for_publish(10)

    def say_often(self, topic: str, payload: bytes, times: int) -> None:
        """Publish without waiting, at QoS 0."""
        for _ in range(times):
            self._client.publish(topic, payload)

    def payloads(self, topic: str) -> list[bytes]:
        """Give what has been heard on one topic."""
        return [heard.payload for heard in self.heard if heard.topic == topic]

    def _on_message(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        self.heard.append(Heard(message.topic, bytes(message.payload), message.qos, message.retain))


class Ear:
    """Takes from an inbox as the engine would, and remembers; commits at once unless told not to."""

    def __init__(self, *, commits: bool = True) -> None:
        self.inbox = Inbox()
        self.commits = commits
        self.events: list[Event] = []
        self.uncommitted: list[Callable[[], None]] = []

    def listen(self) -> list[Event]:
        """Take all that waits; give everything taken so far."""
        while (inbound := self.inbox.take(0.0)) is not None:
            self.events.append(inbound.event)
            if inbound.committed is None:
                continue
            if self.commits:
                inbound.committed()
            else:
                self.uncommitted.append(inbound.committed)
        return self.events

    def of(self, kind: type[E]) -> list[E]:
        """Give the events of one kind taken so far."""
        return [event for event in self.listen() if isinstance(event, kind)]

    def wait_for(self, event: Event, *, within_s: float = 15.0) -> None:
        """Wait until this event has come."""

        def _come() -> bool:
            return event in self.listen()

        try:
            wait_until(_come, f"{event} comes", within_s=within_s)
        except AssertionError as error:
            raise AssertionError(f"{error}; came: {self.events}") from None

    def wait_for_kind(self, kind: type[E], count: int = 1, *, within_s: float = 15.0) -> list[E]:
        """Wait until so many events of one kind have come."""
        return wait_until(
            lambda: found if len(found := self.of(kind)) >= count else [],
            f"{count} {kind.__name__} have come",
            within_s=within_s,
        )


def number_sensor(name: str, topic: str) -> Sensor:
    """Make a thermometer that sends plain numbers."""
    return Sensor(name=name, quantity=Quantity.TEMPERATURE, unit="C", topic=topic)


AIR = number_sensor("air", "kw/air")
SENSORS = (
    AIR,
    Sensor(
        name="light",
        quantity=Quantity.LIGHT,
        unit="W/m2",
        topic="kw/light",
        form=Form.JSON,
        pointer="/v",
        unit_pointer="/u",
    ),
    Sensor(
        name="tank",
        quantity=Quantity.TEMPERATURE,
        unit="C",
        topic="kw/pack",
        form=Form.SENML,
        senml_name="tank/t",
    ),
)
CURTAIN = Curtain(name="main", light_sensor="light", command_topic="kw/motor/do", report_topic="kw/motor/is")


def make_plan(port: int, *, sensors: tuple[Sensor, ...] = SENSORS, **broker: object) -> Plan:
    """Make the settings of a small house whose broker is on this machine."""
    return Plan(
        site=Site(
            name="Kestrel Wharf",
            id="kestrel",
            latitude_deg=54.0,
            longitude_deg=-1.0,
            time_zone="Europe/London",
        ),
        broker=Broker.model_validate({"port": port, **broker}),
        sensor=sensors,
        curtain=(CURTAIN,),
    )
