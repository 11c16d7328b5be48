"""What the demonstration stands on: a broker with or without mosquitto, and a catching mail server."""

from __future__ import annotations

import shutil
import smtplib
import subprocess
import sys
import threading
from contextlib import ExitStack
from email.message import EmailMessage
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from controller.core.plan.plan import Plan
from controller.edges.led_clock import ClockFile
from controller.settings.load import read_settings
from simulators.instruments import read_site
from simulators.live import brokers
from simulators.live.brokers import LOOPBACK, CannotShow, DemoBroker, free_port
from simulators.live.demo import FOLDERS, Demo, _take_folder
from simulators.live.greenhouse import STEPS_A_MINUTE, LiveGreenhouse
from simulators.live.mailbox import Mailbox
from simulators.site import SETTINGS
from simulators.sky import SyntheticSky
from simulators.world import World


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
    plan = Demo(tmp_path)._write_settings(1883, 25, tmp_path / "modem", old="true")
    shipped = read_settings(SETTINGS)

    assert isinstance(shipped, Plan)
    assert [sensor.name for sensor in plan.sensor] == [sensor.name for sensor in shipped.sensor]
    assert [entry.name for entry in plan.alarm] == [entry.name for entry in shipped.alarm]
    assert plan.broker.mqtt_3_only
    assert plan.mail is not None
    assert plan.mail.port == 25
    assert plan.modem is not None
    assert plan.modem.device == str(tmp_path / "modem")
    assert plan.page is not None
    assert plan.page.address == f"http://{LOOPBACK}:{plan.page.port}/"
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


def test_a_broker_that_ends_at_once_is_quoted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What the broker wrote of itself is the reason given, after other ports have been tried."""
    program = tmp_path / "mosquitto"
    program.write_text("#!/bin/sh\necho begun $2\necho 'Error: Address already in use'\nexit 1\n")
    program.chmod(0o755)
    ports: list[int] = []

    def count_ports() -> int:
        ports.append(free_port())
        return ports[-1]

    monkeypatch.setattr(brokers, "free_port", count_ports)
    monkeypatch.setattr(shutil, "which", lambda *_args, **_more: str(program))

    with pytest.raises(CannotShow, match="mosquitto ended at once: Error: Address already in use"):
        DemoBroker(tmp_path).__enter__()
    assert len(ports) == brokers.TRIES


def test_each_demonstration_has_a_folder_of_its_own(tmp_path: Path) -> None:
    """A second one does not touch the first one's folder; when one has ended, its folder is used anew."""
    with _take_folder(tmp_path) as first:
        (first / "journal").mkdir()
        (first / "journal" / "alarms.db").touch()
        (first / "duskbell.log").touch()
        with _take_folder(tmp_path) as second:
            assert (first.name, second.name) == ("demo-run", "demo-run-2")
        assert sorted(path.name for path in first.iterdir()) == ["duskbell.log", "journal", "lock"]
    with _take_folder(tmp_path) as again:
        assert [path.name for path in again.iterdir()] == ["lock"]
        assert again == first


def test_more_demonstrations_than_folders_are_refused_in_a_line(tmp_path: Path) -> None:
    """Who begins one too many is told what to do."""
    with ExitStack() as stack:
        for _ in range(FOLDERS):
            stack.enter_context(_take_folder(tmp_path))
        with pytest.raises(CannotShow, match="9 demonstrations run here already: end one of them first"):
            stack.enter_context(_take_folder(tmp_path))


def test_the_house_waits_until_it_has_been_heard(tmp_path: Path) -> None:
    """However late, a house that leads goes no further than a minute that nobody has taken in."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan)
    clock = ClockFile.create(tmp_path / "clock", utc_ms=0, rate=3600.0)
    sky = SyntheticSky(1, latitude_deg=54.0, longitude_deg=-1.0)
    world = World(1, sky, travel_s=300.0)
    house = LiveGreenhouse(plan, world, read_site(1), start_utc_ms=0, rate=3600.0, clock=clock)
    house._owed = 2
    went_on = threading.Event()

    def go_on() -> None:
        if house._may_go_on(STEPS_A_MINUTE, 5.0):
            went_on.set()

    waiter = threading.Thread(target=go_on)
    waiter.start()
    clock.count_heard()

    assert not went_on.wait(0.1)
    clock.count_heard()
    assert went_on.wait(5.0)
    waiter.join(5.0)
    assert house._owed == 2, "from here on it is counted anew"
