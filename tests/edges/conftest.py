"""What the edges' tests share: a real broker, and an edge that is always stopped."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

# These folders are no packages; the helpers beside this file are found by their folder.
sys.path.insert(0, str(Path(__file__).parent))

from brokers import MOSQUITTO, BrokerProcess, make_amqtt, make_mosquitto
from peers import Ear
from waiting import wait_until

from controller.core.plan.plan import Plan
from controller.edges.clock import BoardClock
from controller.edges.mqtt import MqttEdge

StartMosquitto = Callable[..., BrokerProcess]
StartEdge = Callable[..., MqttEdge]


@pytest.fixture
def start_mosquitto(tmp_path: Path) -> Iterator[StartMosquitto]:
    """Start a broker with extra lines of configuration; it is ended after the test."""
    if MOSQUITTO is None:
        pytest.skip("the program mosquitto is not installed")
    with contextlib.ExitStack() as stack:

        def _start(*lines: str, anonymous: bool = True) -> BrokerProcess:
            broker = make_mosquitto(tmp_path / "mosquitto", lines, anonymous=anonymous)
            stack.callback(broker.end, signal.SIGKILL)
            broker.start()
            return broker

        yield _start


@pytest.fixture
def mosquitto(start_mosquitto: StartMosquitto) -> BrokerProcess:
    """Give a running broker that lets anybody in."""
    return start_mosquitto()


@pytest.fixture
def old_broker(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[BrokerProcess]:
    """Give a running broker that knows MQTT 3.1.1 only and lets nobody hear `kw/secret`."""
    pytest.importorskip("amqtt", reason="the library amqtt is not installed")
    # It stumbles over the will in a CONNECT of MQTT 5 and neither answers nor closes the connection.
    monkeypatch.setattr("controller.edges.mqtt_connection.ANSWER_TIMEOUT_MS", 500)
    broker = make_amqtt(tmp_path / "amqtt", denied_topic="kw/secret")
    try:
        broker.start()
        yield broker
    finally:
        broker.end()


@pytest.fixture
def start_edge() -> Iterator[StartEdge]:
    """Start an edge, and wait for its connection unless told not to; it is stopped after the test."""
    with contextlib.ExitStack() as stack:

        def _start(plan: Plan, ear: Ear, *, waits: bool = True, clock: BoardClock | None = None) -> MqttEdge:
            edge = MqttEdge(plan, ear.inbox, clock or BoardClock("Europe/London", 0))
            stack.callback(edge.stop)
            edge.start()
            if waits:
                wait_until(lambda: is_settled(edge), "the edge is connected and subscribed")
            return edge

        yield _start


def is_settled(edge: MqttEdge) -> bool:
    """Tell whether the edge is connected and the broker has answered all its subscriptions."""
    return edge._connection.connected and not edge._subscriptions._asked
