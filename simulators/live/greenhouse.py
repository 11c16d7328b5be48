"""The simulated house on a real broker: sensors publish, the motor board listens and reports.

A minute of the house lasts a minute divided by the rate. Everything runs on one thread of its own; commands
come in on the MQTT client's thread and wait in a queue until the house takes its next step.
"""

from __future__ import annotations

import json
import queue
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final
from zoneinfo import ZoneInfo

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.core.plan.plan import Plan
from simulators.clockwork import to_event
from simulators.instruments import Instrument
from simulators.live.payloads import write_payloads
from simulators.world import World

STEPS_A_MINUTE: Final = 12
"""The board is looked at this often in a simulated minute, so that commands are answered soon."""


class LiveGreenhouse:
    """One house on one broker. `start` it, change the world through `later`, `stop` it."""

    def __init__(
        self, plan: Plan, world: World, instruments: tuple[Instrument, ...], *, start_utc_ms: int, rate: float
    ) -> None:
        if not 1.0 <= rate <= 3600.0:
            raise ValueError(f"a live house runs at 1 to 3600 times real time, not {rate}")
        self._plan = plan
        self.world = world
        self._instruments = instruments
        self._sensors = {sensor.name: sensor for sensor in plan.sensor}
        self._start_utc_ms = start_utc_ms
        self._rate = rate
        self._minute = 0
        self._began = time.monotonic()
        self._stopping = threading.Event()
        self._commands: queue.Queue[bytes] = queue.Queue(maxsize=100)
        self._plans: list[tuple[int, Callable[[World], None]]] = []
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="simulated-greenhouse")
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self._thread = threading.Thread(target=self._live, name="greenhouse", daemon=True)
        self._last_command: str | None = None

    @property
    def utc_ms(self) -> int:
        """The house's time now [ms]."""
        return self._start_utc_ms + round((time.monotonic() - self._began) * 1000.0 * self._rate)

    @property
    def minutes(self) -> int:
        """Whole minutes the house has lived."""
        return self._minute

    def start(self, utc_ms: int | None = None) -> None:
        """Connect and begin to live, at the wished instant or another one [ms]."""
        if utc_ms is not None:
            self._start_utc_ms = utc_ms
        self._client.connect_async(self._plan.broker.host, self._plan.broker.port)
        self._client.loop_start()
        self._began = time.monotonic()
        self._thread.start()

    def stop(self) -> None:
        """End."""
        self._stopping.set()
        self._thread.join(timeout=10.0)
        self._client.disconnect()
        self._client.loop_stop()

    def later(self, minute: int, change: Callable[[World], None]) -> None:
        """Change the world at a minute of its life. Call before `start`."""
        self._plans.append((minute, change))

    def _on_connect(self, client: mqtt.Client, *_: object) -> None:
        """Listen to the board's topic."""
        for curtain in self._plan.curtain[:1]:
            client.subscribe(curtain.command_topic, qos=0)

    def _on_message(self, _client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        """Let a command wait for the next step; a full queue drops it, as a board would."""
        if message.retain:
            return
        try:
            self._commands.put_nowait(bytes(message.payload))
        except queue.Full:
            return

    def _live(self) -> None:
        """Live step by step, as close to the wished rate as the machine can."""
        step_s = 60.0 / STEPS_A_MINUTE
        step = 0
        zone = ZoneInfo(self._plan.site.time_zone)
        while not self._stopping.is_set():
            step += 1
            wait = self._began + step * step_s / self._rate - time.monotonic()
            if wait > 0 and self._stopping.wait(wait):
                return
            self.world.board.advance(step_s)
            self._obey()
            if step % STEPS_A_MINUTE == 0:
                self._minute = step // STEPS_A_MINUTE
                utc_ms = self._start_utc_ms + self._minute * 60_000
                local = datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(zone)
                for minute, change in self._plans:
                    if minute == self._minute:
                        change(self.world)
                self.world.advance(utc_ms, local.hour * 60 + local.minute)
                self._speak(utc_ms)
            if step % STEPS_A_MINUTE == 0 or (
                step % 3 == 0 and self.world.board.seconds_until_change() < 3600.0
            ):
                self._report()

    def _obey(self) -> None:
        """Give the board the commands that have come in."""
        while True:
            try:
                payload = self._commands.get_nowait()
            except queue.Empty:
                return
            try:
                command = json.loads(payload)
                not_after = datetime.fromisoformat(command["not_after"])
                self._last_command = str(command["command"])
                target = float(command.get("drawn_percent", 100.0 if command.get("run") == "draw" else 0.0))
                run = str(command.get("run", "draw"))
                self.world.command(
                    run,
                    target,
                    float(command["run_at_most_s"]),
                    now_ms=self.utc_ms,
                    not_after_ms=round(not_after.timestamp() * 1000),
                )
            except (ValueError, KeyError, TypeError):
                continue
            self._report()

    def _report(self) -> None:
        """Publish what the board says about itself."""
        report = self.world.board.report()
        for curtain in self._plan.curtain[:1]:
            event = to_event(curtain.name, report)
            document = {
                "drawn_percent": event.drawn_percent,
                "moving": event.moving,
                "limit": event.limit.value,
                "selector": event.selector.value,
            }
            if self._last_command is not None:
                document["command"] = self._last_command
            self._client.publish(curtain.report_topic, json.dumps(document), qos=0)

    def _speak(self, utc_ms: int) -> None:
        """Let the sensors speak whose minute it is."""
        minute = utc_ms // 60_000
        readings = []
        for instrument in self._instruments:
            if minute % instrument.every_min:
                continue
            value = instrument.read(self.world, minute % 1440, instrument.every_min * 60.0)
            if value is not None:
                readings.append((self._sensors[instrument.name], value))
        for topic, payload in write_payloads(readings):
            self._client.publish(topic, payload, qos=0)
