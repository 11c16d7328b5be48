"""The live greenhouse serves any settings: its sensors speak in their own form, its board obeys and reports."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from controller.core.plan.sensor import Mounted, Sensor
from controller.core.units import Quantity
from simulators.live.brokers import LOOPBACK, DemoBroker
from simulators.live.fitting import find_shown

SETTINGS = """
[site]
name = "Elm Row"
id = "elm-row"
latitude_deg = 47.0
longitude_deg = 8.0
time_zone = "Europe/Zurich"

[[sensor]]
name = "roof light"
quantity = "light"
unit = "klx"
topic = "elm/light"
mounted = "outside"

[[sensor]]
name = "pond oxygen"
quantity = "oxygen"
unit = "mg/L"
topic = "elm/pond"
form = "json"
pointer = "/o2/value"

[[curtain]]
name = "north"
light_sensor = "roof light"
actuator = "relays"
command_topic = "elm/curtain/set"
report_topic = "elm/curtain"
travel_time_s = 60

[curtain.light_ceiling]
"""


@pytest.fixture
def port(tmp_path: Path) -> Iterator[int]:
    """Run a broker on loopback."""
    with DemoBroker(tmp_path) as broker:
        yield broker.port


class Ear:
    """A client that hears everything and can speak."""

    def __init__(self, port: int) -> None:
        self.heard: list[tuple[str, bytes]] = []
        self._up = threading.Event()
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="ear")
        self._client.on_message = lambda _client, _data, message: self.heard.append(
            (message.topic, message.payload)
        )
        self._client.on_subscribe = lambda *_: self._up.set()
        self._client.connect(LOOPBACK, port)
        self._client.loop_start()
        self._client.subscribe("elm/#")
        assert self._up.wait(10.0)

    def say(self, topic: str, document: object) -> None:
        """Publish a command."""
        self._client.publish(topic, json.dumps(document), qos=0)

    def wait_for(self, topic: str, wanted: object, within_s: float = 20.0) -> bool:
        """Wait for a message that passes a test."""
        until = time.monotonic() + within_s
        while time.monotonic() < until:
            if any(where == topic and wanted(payload) for where, payload in list(self.heard)):  # type: ignore[operator]
                return True
            time.sleep(0.02)
        return False

    def close(self) -> None:
        """Hang up."""
        self._client.disconnect()
        self._client.loop_stop()


@pytest.mark.slow
def test_any_settings_are_served(tmp_path: Path, port: int) -> None:
    """Sensors of strange settings publish in their unit and form; a pair of relays draws when told, and says so."""
    path = tmp_path / "elm.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    words = ("--rate", "600", "--host", LOOPBACK, "--port", str(port), "--start", "2026-06-01T10:00:00Z")
    ear = Ear(port)
    house = subprocess.Popen(
        [sys.executable, "-m", "simulators.live.greenhouse", "--settings", str(path), *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        assert ear.wait_for("elm/light", lambda payload: 1.0 < float(payload) < 150.0, 40.0), house.poll()
        assert ear.wait_for("elm/pond", lambda payload: 3.0 < json.loads(payload)["o2"]["value"] < 12.0)
        late = (datetime(2026, 6, 1, 10, tzinfo=UTC) + timedelta(days=1)).isoformat()
        ear.say("elm/curtain/set", {"command": "t-1", "run": "draw", "run_at_most_s": 90, "not_after": late})
        assert ear.wait_for("elm/curtain", lambda payload: json.loads(payload)["limit"] == "drawn")
        assert ear.wait_for("elm/curtain", lambda payload: json.loads(payload).get("command") == "t-1")
    finally:
        house.terminate()
        house.wait(timeout=20)
        ear.close()

    assert house.returncode == 0


@pytest.mark.parametrize("rate", ["0.5", "1e6", "nan"])
def test_a_rate_that_cannot_be_kept_is_refused(tmp_path: Path, rate: str) -> None:
    """A house slower than life, or faster than it can be served, is refused with 2."""
    path = tmp_path / "elm.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "simulators.live.greenhouse", "--settings", str(path), "--rate", rate],
        capture_output=True,
        check=False,
        timeout=60,
    )

    assert done.returncode == 2


@pytest.mark.parametrize(
    ("name", "quantity", "mounted", "shown"),
    [
        ("roof", Quantity.LIGHT, Mounted.OUTSIDE, "light outside"),
        ("canopy", Quantity.LIGHT, Mounted.BELOW_CURTAIN, "light below"),
        ("outdoor air", Quantity.TEMPERATURE, None, "temperature outside"),
        ("tank 2", Quantity.TEMPERATURE, None, "temperature 2"),
        ("house", Quantity.TEMPERATURE, None, "temperature inside"),
        ("line b", Quantity.PH, None, "ph line"),
        ("tank 1", Quantity.PH, None, "ph 1"),
        ("power", Quantity.SWITCH, None, "mains"),
        ("blower", Quantity.SWITCH, None, "air pump"),
        ("nitrite kit", Quantity.NITRITE, None, None),
    ],
)
def test_a_sensor_shows_what_its_words_say(
    name: str, quantity: Quantity, mounted: Mounted | None, shown: str | None
) -> None:
    """What a fitted sensor shows follows from its quantity, mounting and name."""
    sensor = Sensor(name=name, quantity=quantity, unit="x", topic="t", mounted=mounted)

    assert shown == find_shown(sensor)
