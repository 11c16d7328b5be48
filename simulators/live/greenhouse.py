"""The simulated house on a real broker: sensors publish, the motor board listens and reports.

A minute of the house lasts a minute divided by the rate. Everything runs on one thread of its own; commands
come in on the MQTT client's thread and wait in a queue until the house takes its next step.

    python -m simulators.live.greenhouse --settings FILE --rate 60 [--seed 1] [--host HOST] [--port PORT]

serves whatever speaks MQTT: the sensors of the settings publish on their topics in their own units and forms,
and the first curtain's board takes commands and reports.
"""

from __future__ import annotations

import argparse
import json
import queue
import signal
import sys
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from controller.core.plan.curtain import Actuator
from controller.core.plan.plan import Plan
from controller.edges.led_clock import ClockFile
from controller.settings.load import read_or_tell
from simulators.board_wire import to_event
from simulators.boards import RelayBoard
from simulators.instruments import Instrument
from simulators.live.fitting import fit_instruments
from simulators.live.payloads import write_payloads
from simulators.sky import SyntheticSky
from simulators.world import World

TRAVEL_S: Final = 300.0
STEPS_A_MINUTE: Final = 12
"""The board is looked at this often in a simulated minute, so that commands are answered soon."""

HEARD_WITHIN_S: Final = 5.0
"""A message of the house that is not heard within this is lost, and the house goes on. [s]"""

BEHIND_MOST_S: Final = 0.05
"""What the house is late beyond this is not made up for by hurrying. [s]"""


class LiveGreenhouse:
    """One house on one broker. `start` it, change the world through `later`, `stop` it."""

    def __init__(
        self,
        plan: Plan,
        world: World,
        instruments: tuple[Instrument, ...],
        *,
        start_utc_ms: int,
        rate: float,
        clock: ClockFile | None = None,
    ) -> None:
        """Build it. With a `clock` the house tells a daemon the time, and waits until that has heard each minute."""
        if not 1.0 <= rate <= 3600.0:
            raise ValueError(f"a live house runs at 1 to 3600 times real time, not {rate}")
        self._plan = plan
        self.world = world
        self._instruments = instruments
        self._sensors = {sensor.name: sensor for sensor in plan.sensor}
        self._start_utc_ms = start_utc_ms
        self._rate = rate
        self._clock = clock
        self._owed = 0
        self.wait_at: int | None = None
        """Minute of its life at which the house stands still, for a person who takes real time; None: none."""
        self._minute = 0
        self._began = time.monotonic()
        self._stopping = threading.Event()
        self._commands: queue.Queue[bytes] = queue.Queue(maxsize=100)
        self._plans: list[tuple[int, Callable[[World], None]]] = []
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="simulated-greenhouse")
        if plan.broker.username:
            self._client.username_pw_set(plan.broker.username, _read_password(plan.broker.password_file))
        if plan.broker.tls:
            self._client.tls_set(ca_certs=plan.broker.tls_ca_file or None)
        self._client.on_connect = self._on_connect
        self._client.on_message = self._on_message
        self._thread = threading.Thread(target=self._live, name="greenhouse", daemon=True)
        self._last_command: str | None = None

    @property
    def utc_ms(self) -> int:
        """The house's time now [ms]."""
        if self._clock is not None:
            return self._clock.utc_ms
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
        if self._thread.is_alive():
            self._thread.join(timeout=10.0)
        self._client.disconnect()
        self._client.loop_stop()

    def later(self, minute: int, change: Callable[[World], None]) -> None:
        """Change the world at a minute of its life that is still to come."""
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
        was_moving = False
        while not self._stopping.is_set():
            step += 1
            if not self._may_go_on(step, step_s):
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
            if self._clock is not None:
                self._clock.utc_ms = self._start_utc_ms + round(step * step_s * 1000.0)
            is_moving = self.world.board.seconds_until_change() < 3600.0
            has_stopped = was_moving and not is_moving
            if step % STEPS_A_MINUTE == 0 or (step % 3 == 0 and is_moving) or has_stopped:
                self._report()
            was_moving = is_moving

    def _may_go_on(self, step: int, step_s: float) -> bool:
        """Wait until it is time for a step; False if the house is to end.

        The house goes no further than a minute ahead of what the daemon that it leads has heard, and not even a
        step while the motor runs, whose time the daemon takes.
        """
        is_moving = self.world.board.seconds_until_change() < 3600.0
        if self._clock is not None and (step % STEPS_A_MINUTE == 0 or is_moving):
            until = time.monotonic() + HEARD_WITHIN_S
            while self._clock.heard < self._owed and time.monotonic() < until:
                if self._stopping.wait(0.001):
                    return False
            self._owed = self._clock.heard
            while self.wait_at is not None and self._minute >= self.wait_at:
                if self._stopping.wait(0.01):
                    return False
        wait = self._began + step * step_s / self._rate - time.monotonic()
        if wait > 0:
            return not self._stopping.wait(wait)
        if self._clock is not None:
            self._began += max(0.0, -wait - BEHIND_MOST_S)
        return not self._stopping.is_set()

    def _publish(self, topic: str, payload: str | bytes) -> None:
        """Publish, and count what is to be heard."""
        if self._client.publish(topic, payload, qos=0).rc == mqtt.MQTT_ERR_SUCCESS:
            self._owed += 1

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
            self._publish(curtain.report_topic, json.dumps(document))

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
            self._publish(topic, payload)


def _read_password(path: str) -> str | None:
    """Read the broker's password as the daemon does; a broker without one needs no file."""
    try:
        return Path(path).read_text(encoding="utf-8").strip() if path else None
    except OSError:
        return None


def build_house(plan: Plan, *, seed: int, start_utc_ms: int, rate: float) -> LiveGreenhouse:
    """Build a live house for any settings: its place, its sensors, and a board of its first curtain's kind."""
    site = plan.site
    sky = SyntheticSky(
        seed, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg, elevation_m=site.elevation_m
    )
    first = plan.curtain[0] if plan.curtain else None
    world = World(seed, sky, travel_s=TRAVEL_S if first is None else first.travel_time_s)
    if first is not None and first.actuator is Actuator.RELAYS:
        world.board = RelayBoard(world.curtain, longest_run_s=2.0 * first.travel_time_s)
    return LiveGreenhouse(plan, world, fit_instruments(plan, seed), start_utc_ms=start_utc_ms, rate=rate)


def main() -> int:
    """Serve a live house until interrupted: 0 when it ends, 2 for settings or usage."""
    parser = argparse.ArgumentParser(
        prog="python -m simulators.live.greenhouse",
        description="A simulated greenhouse on a real MQTT broker, for testing anything that speaks MQTT.",
    )
    parser.add_argument(
        "--settings", type=Path, required=True, metavar="FILE", help="whose sensors and curtain"
    )
    parser.add_argument(
        "--rate", type=float, default=60.0, help="times real time, 1 to 3600 (default %(default)g)"
    )
    parser.add_argument(
        "--seed", type=int, default=1, help="everything is drawn from it (default %(default)s)"
    )
    parser.add_argument("--host", help="another broker than the settings'")
    parser.add_argument("--port", type=int, help="another port than the settings'")
    parser.add_argument("--start", metavar="ISO", help="the house's first instant (default: now)")
    parser.add_argument("--minutes", type=int, help="end after so many minutes of the house")
    args = parser.parse_args()
    plan = read_or_tell(args.settings)
    if plan is None:
        return 2
    changes = {key: value for key in ("host", "port") if (value := getattr(args, key)) is not None}
    plan = plan.model_copy(update={"broker": plan.broker.model_copy(update=changes)})
    try:
        start = datetime.now(UTC) if args.start is None else datetime.fromisoformat(args.start)
        house = build_house(
            plan, seed=args.seed, start_utc_ms=round(start.timestamp() * 1000), rate=args.rate
        )
    except ValueError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    stopping = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stopping.set())
    house.start()
    sys.stdout.write(
        f"{plan.site.name} speaks to {plan.broker.host}:{plan.broker.port}, {args.rate:g} times real time\n"
    )
    sys.stdout.flush()
    while not stopping.wait(0.1) and (args.minutes is None or house.minutes < args.minutes):
        pass
    house.stop()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
