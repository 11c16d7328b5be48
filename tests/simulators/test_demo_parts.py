"""What the demonstration stands on: a broker with or without mosquitto, and a catching mail server."""

from __future__ import annotations

import shutil
import smtplib
import subprocess
import sys
from email.message import EmailMessage
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from controller.core.plan.plan import Plan
from controller.settings.load import read_settings
from simulators.live.brokers import LOOPBACK, DemoBroker
from simulators.live.demo import Demo
from simulators.live.mailbox import Mailbox
from simulators.site import SETTINGS


def _round_trip(broker: DemoBroker) -> list[bytes]:
    """Publish a reading and hear it."""
    heard: list[bytes] = []
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: heard.append(message.payload)
    client.on_subscribe = lambda *_: client.publish("house/light", b"120", qos=1)
    client.on_connect = lambda *_: client.subscribe("house/light")
    client.connect(LOOPBACK, broker.port)
    for _ in range(200):
        client.loop(0.05)
        if heard:
            break
    client.disconnect()
    return heard


def test_mosquitto_is_taken_where_it_is(tmp_path: Path) -> None:
    """The machine's own broker comes first, and says so."""
    if not shutil.which("mosquitto", path="/usr/sbin:/usr/bin:/usr/local/sbin:/usr/local/bin"):
        pytest.skip("the program mosquitto is not installed")
    tmp_path.chmod(0o755)
    with DemoBroker(tmp_path) as broker:
        assert broker.kind == "mosquitto"
        assert broker.modern
        assert _round_trip(broker) == [b"120"]


# The embedded broker leaves sockets to the garbage collector, so it gets a process of its own.
WITHOUT_MOSQUITTO = """
import pathlib, shutil, sys
sys.path.insert(0, {folder!r})
shutil.which = lambda *_args, **_more: None
from test_demo_parts import _round_trip
from controller.core.plan.plan import Plan
from controller.settings.load import read_settings
from simulators.live.brokers import DemoBroker
with DemoBroker(pathlib.Path({tmp!r})) as broker:
    print(broker.kind.split()[0], broker.modern, _round_trip(broker))
"""


def test_without_mosquitto_the_embedded_broker_carries_readings(tmp_path: Path) -> None:
    """A machine without root still sees the demonstration."""
    program = WITHOUT_MOSQUITTO.format(folder=str(Path(__file__).parent), tmp=str(tmp_path))
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False, timeout=60
    )

    assert done.stdout.strip() == "amqtt False [b'120']", done.stderr


def test_the_demonstration_runs_on_the_demo_site_as_it_is_shipped(tmp_path: Path) -> None:
    """Its settings are the shipped ones but for places and patience, and `duskbell check` would take them."""
    plan = Demo(tmp_path)._write_settings(1883, 25, old="true")
    shipped = read_settings(SETTINGS)

    assert isinstance(shipped, Plan)
    assert [sensor.name for sensor in plan.sensor] == [sensor.name for sensor in shipped.sensor]
    assert [entry.name for entry in plan.alarm] == [entry.name for entry in shipped.alarm]
    assert plan.broker.mqtt_3_only
    assert plan.mail is not None
    assert plan.mail.port == 25
    assert all(sensor.interval_s == 1200 for sensor in plan.sensor if not sensor.entered)


def test_the_mailbox_keeps_what_it_is_given() -> None:
    """A message comes in once, with its subject, text and receivers."""
    message = EmailMessage()
    message["Subject"], message["Message-ID"] = "Oxygen", "<1@here>"
    message.set_content("low\n")
    with Mailbox() as mailbox, smtplib.SMTP(LOOPBACK, mailbox.port) as server:
        server.send_message(message, "a@example.org", ["b@example.org"])
        [letter] = mailbox.letters

    assert (letter.to, letter.subject, letter.message_id) == (("b@example.org",), "Oxygen", "<1@here>")
    assert letter.text.strip() == "low"
