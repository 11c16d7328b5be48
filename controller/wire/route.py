"""From a message, its topic and its bytes, to the events it means.

Only the exact topics of the settings mean anything. Several sensors may share a topic; each reads its own
part of the payload, and one that cannot be read does not silence the others.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Final

from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Form, Sensor
from controller.core.units import Quantity, UtcMs, find_conversion
from controller.core.vocabulary import (
    CurtainReported,
    Event,
    PayloadRefused,
    ReadingsTaken,
    Sample,
    SirenReported,
)
from controller.wire.document import BYTES_MAX
from controller.wire.payload import read_payload
from controller.wire.refusal import Refused, Unreadable
from controller.wire.report import read_report
from controller.wire.senml import read_pack
from controller.wire.siren import read_siren

PAYLOAD_BYTES_MAX: Final = BYTES_MAX
"""Longest payload that is looked at. [bytes]"""


SIREN: Final = "siren"
"""How the siren is named where sensors and curtains have their names."""


@dataclass(frozen=True, slots=True)
class _Listener:
    """A sensor, with its reading instructions as the readers want them."""

    sensor: Sensor
    words: dict[str, float] | None


class Routes:
    """What each configured topic means: sensors that speak on it, curtains and the siren that report on it."""

    def __init__(self, plan: Plan) -> None:
        self._listeners: dict[str, tuple[_Listener, ...]] = {}
        self._curtains: dict[str, tuple[str, ...]] = {}
        for sensor in plan.sensor:
            if not sensor.topic:
                continue  # people enter its values by hand
            words = None
            if sensor.quantity is Quantity.SWITCH:
                words = {sensor.on_word: 1.0, sensor.off_word: 0.0}
            self._listeners[sensor.topic] = (
                *self._listeners.get(sensor.topic, ()),
                _Listener(sensor, words),
            )
        for curtain in plan.curtain:
            self._curtains[curtain.report_topic] = (
                *self._curtains.get(curtain.report_topic, ()),
                curtain.name,
            )
        self._siren_topic = None if plan.siren is None else plan.siren.report_topic

    @property
    def sensor_topics(self) -> frozenset[str]:
        """Topics on which sensors speak."""
        return frozenset(self._listeners)

    @property
    def report_topics(self) -> frozenset[str]:
        """Topics on which motor boards and the siren report."""
        return frozenset(self._curtains) | ({self._siren_topic} if self._siren_topic else frozenset())

    def sources(self, topic: str) -> tuple[str, ...]:
        """Name the sensors, curtains and siren that use `topic`; none when it is not configured."""
        sensors = tuple(listener.sensor.name for listener in self._listeners.get(topic, ()))
        siren = (SIREN,) if topic == self._siren_topic else ()
        return sensors + self._curtains.get(topic, ()) + siren

    def read(self, topic: str, payload: bytes, *, retained: bool, now_utc_ms: UtcMs) -> tuple[Event, ...]:
        """Read one message. Never raises, whatever the bytes.

        Parameters
        ----------
        topic
            The topic it came on; a topic that is not configured means nothing.
        payload
            Its bytes.
        retained
            Whether the broker had kept it: then nobody knows its age. A kept reading is not fresh, and a kept
            report of a board is left alone, for the curtain may have moved since.
        now_utc_ms
            The board's clock, for times that are relative to it. [ms since 1970]

        Returns
        -------
        tuple of Event
            At most one `ReadingsTaken`, then a `CurtainReported` for each curtain that the topic reports on, a
            `SirenReported` where it is the siren's, and a `PayloadRefused` for each sensor, curtain or siren that
            could not be read.
        """
        sources = self.sources(topic)
        if not sources:
            return ()
        if not payload:
            return _refuse_all(topic, sources, "the payload is empty")
        if len(payload) > PAYLOAD_BYTES_MAX:
            return _refuse_all(topic, sources, f"the payload is longer than {PAYLOAD_BYTES_MAX} bytes")
        return (
            *self._read_sensors(topic, payload, retained=retained, now_utc_ms=now_utc_ms),
            *(() if retained else self._read_boards(topic, payload)),
            *(() if retained else self._read_siren(topic, payload)),
        )

    def _read_sensors(
        self, topic: str, payload: bytes, *, retained: bool, now_utc_ms: UtcMs
    ) -> tuple[Event, ...]:
        samples: list[Sample] = []
        refusals: list[PayloadRefused] = []
        for listener in _addressed(self._listeners.get(topic, ()), payload):
            outcome = _read_sensor(listener, payload, retained=retained, now_utc_ms=now_utc_ms)
            if isinstance(outcome, Sample):
                samples.append(outcome)
            else:
                refusals.append(PayloadRefused(topic, listener.sensor.name, outcome.reason))
        return (*((ReadingsTaken(tuple(samples)),) if samples else ()), *refusals)

    def _read_boards(self, topic: str, payload: bytes) -> tuple[Event, ...]:
        curtains = self._curtains.get(topic, ())
        if not curtains:
            return ()
        report = read_report(payload)
        if isinstance(report, Refused):
            return _refuse_all(topic, curtains, report.reason)
        return tuple(
            CurtainReported(
                curtain=curtain,
                drawn_percent=report.drawn_percent,
                moving=report.moving,
                limit=report.limit,
                selector=report.selector,
                command_id=report.command_id,
            )
            for curtain in curtains
        )

    def _read_siren(self, topic: str, payload: bytes) -> tuple[Event, ...]:
        if topic != self._siren_topic:
            return ()
        on = read_siren(payload)
        return _refuse_all(topic, (SIREN,), on.reason) if isinstance(on, Refused) else (SirenReported(on),)


def _addressed(listeners: tuple[_Listener, ...], payload: bytes) -> tuple[_Listener, ...]:
    """Leave out the sensors that a shared SenML topic has nothing to say to this time.

    A gateway may send a pack for each of its sensors on one topic. A pack that names one of them is no fault
    of the others; a pack that names none of them is refused by all.
    """
    named = {listener.sensor.senml_name for listener in listeners if listener.sensor.form is Form.SENML} - {
        ""
    }
    if len(named) < 2:
        return listeners
    try:
        present = {record.name for record in read_pack(payload)} & named
    except Unreadable:
        return listeners  # each says so itself
    if not present:
        return listeners
    return tuple(
        listener
        for listener in listeners
        if listener.sensor.form is not Form.SENML or listener.sensor.senml_name in present | {""}
    )


def _read_sensor(
    listener: _Listener, payload: bytes, *, retained: bool, now_utc_ms: UtcMs
) -> Sample | Refused:
    sensor = listener.sensor
    taken = read_payload(
        payload,
        form=sensor.form,
        pointer=sensor.pointer,
        time_pointer=sensor.time_pointer or None,
        unit_pointer=sensor.unit_pointer or None,
        senml_name=sensor.senml_name or None,
        now_utc_ms=now_utc_ms,
        words=listener.words,
    )
    if isinstance(taken, Refused):
        return taken
    conversion = find_conversion(sensor.quantity, sensor.unit if taken.unit is None else taken.unit)
    if conversion is None:
        return Refused(f"its unit is not one that {sensor.quantity.value} can be converted from")
    value = conversion.apply(taken.value)
    if not isfinite(value):
        return Refused("the value is too large")
    return Sample(sensor.name, value, not retained, taken.time_utc_ms)


def _refuse_all(topic: str, sources: tuple[str, ...], reason: str) -> tuple[PayloadRefused, ...]:
    return tuple(PayloadRefused(topic, source, reason) for source in sources)
