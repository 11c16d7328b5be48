"""The broker and the wire between sensors, board and daemon, with all that can happen to a message.

Sound readings take a short way: their values reach the daemon as they are, which years of simulation need.
Where something happens to a message, or a value is no number, it is written as the sensor would write it, and
the bytes go through the daemon's own reader.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from math import isfinite
from typing import NamedTuple

from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Form, Sensor
from controller.core.vocabulary import Event, ReadingsTaken, Sample
from controller.wire.route import Routes
from simulators.live.payloads import write_payloads


class Message(NamedTuple):
    """A message on its way to the daemon."""

    topic: str
    payload: bytes
    retained: bool = False


Mangle = Callable[[Message], Iterable[Message]]
"""What becomes of a message: nothing, itself, others, many."""


class Link:
    """The way of all messages.

    Attributes
    ----------
    down : bool
        Nothing goes either way. Settable.
    board_down : bool
        The board neither hears nor is heard. Settable.
    mangles : dict[str, Mangle]
        What happens to messages, by topic. Settable.
    """

    def __init__(self, plan: Plan) -> None:
        self.down = False
        self.board_down = False
        self.mangles: dict[str, Mangle] = {}
        self._sensors: dict[str, Sensor] = {}
        self.change(plan)

    def change(self, plan: Plan) -> None:
        """Follow a change of settings."""
        self._routes = Routes(plan)
        self._sensors = {sensor.name: sensor for sensor in plan.sensor}

    def topic_of(self, name: str) -> str:
        """Return the topic of a sensor."""
        return self._sensors[name].topic

    def listen(self, readings: list[tuple[str, float]], utc_ms: int) -> list[Event]:
        """Take what the sensors send, in kept units, and return what reaches the daemon.

        Parameters
        ----------
        readings : list[tuple[str, float]]
            Sensors by name, and values.
        utc_ms : int
            The daemon's clock. [ms]
        """
        sensors, mangles = self._sensors, self.mangles
        if not mangles:
            samples = tuple(
                [Sample(name, value) for name, value in readings if name in sensors and isfinite(value)]
            )
            if len(samples) == len(readings):
                return [ReadingsTaken(samples)] if samples else []
        plain: list[Sample] = []
        touched: list[tuple[Sensor, float]] = []
        for name, value in readings:
            sensor = sensors.get(name)
            if sensor is None:
                continue
            if isfinite(value) and sensor.topic not in mangles:
                plain.append(Sample(name, value))
            else:
                touched.append((sensor, value))
        events: list[Event] = [ReadingsTaken(tuple(plain))] if plain else []
        for topic, payload in _write(touched):
            message = Message(topic, payload)
            mangle = mangles.get(topic)
            for arrived in (message,) if mangle is None else mangle(message):
                events.extend(self.read(arrived, utc_ms))
        return events

    def read(self, message: Message, utc_ms: int) -> tuple[Event, ...]:
        """Let the daemon's reader have a message; `utc_ms` is the daemon's clock [ms]."""
        return self._routes.read(message.topic, message.payload, retained=message.retained, now_utc_ms=utc_ms)


def _write(touched: list[tuple[Sensor, float]]) -> list[tuple[str, bytes]]:
    """Write readings as messages; what is no number is written as a program without care writes it."""
    sound = [(sensor, value) for sensor, value in touched if isfinite(value)]
    written = write_payloads(sound)
    for sensor, value in touched:
        if not isfinite(value):
            word = b"NaN" if sensor.form is Form.NUMBER else b'{"value":NaN}'
            written.append((sensor.topic, word))
    return written
