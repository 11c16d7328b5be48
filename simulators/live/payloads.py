"""Write readings as sensors of the site would send them: number, JSON or SenML, in the sensor's own unit."""

from __future__ import annotations

import json
from collections.abc import Iterable

from controller.core.plan.sensor import Form, Sensor
from controller.core.units import Quantity, find_conversion

SENML_BASE = "urn:dev:kestrel:"
"""Base name of the SenML packs of sensors whose settings ask for no name of their own."""


def write_payloads(readings: Iterable[tuple[Sensor, float]]) -> list[tuple[str, bytes]]:
    """Write readings, in kept units, as (topic, payload); sensors that share a topic share a JSON object or a pack."""
    numbers: list[tuple[str, bytes]] = []
    shared: dict[tuple[str, Form], list[tuple[Sensor, float]]] = {}
    for sensor, kept in readings:
        value = to_sent_unit(sensor, kept)
        if sensor.form is Form.NUMBER:
            numbers.append((sensor.topic, _write_number(value)))
        else:
            shared.setdefault((sensor.topic, sensor.form), []).append((sensor, value))
    for (topic, form), items in shared.items():
        document: object = _write_object(items) if form is Form.JSON else _write_pack(items)
        numbers.append((topic, json.dumps(document, separators=(",", ":")).encode()))
    return numbers


def to_sent_unit(sensor: Sensor, kept: float) -> float:
    """Convert a value from the kept unit into the unit the sensor sends."""
    conversion = find_conversion(sensor.quantity, sensor.unit)
    if conversion is None:
        raise ValueError(f"{sensor.name}: {sensor.unit} is no unit of {sensor.quantity.value}")
    return round((kept - conversion.offset) / conversion.factor, 6)


def _write_number(value: float) -> bytes:
    """Write a plain number without an exponent."""
    return f"{value:.6f}".rstrip("0").rstrip(".").encode()


def _write_object(items: list[tuple[Sensor, float]]) -> dict[str, object]:
    """Write one JSON object that holds each value where the sensor's pointer looks for it."""
    root: dict[str, object] = {}
    for sensor, value in items:
        place = root
        *parents, last = [
            part.replace("~1", "/").replace("~0", "~") for part in sensor.pointer.split("/")[1:]
        ]
        for parent in parents:
            inner = place.setdefault(parent, {})
            if not isinstance(inner, dict):
                raise TypeError(f"{sensor.name}: its pointer goes through another value")
            place = inner
        place[last] = value
    return root


def _write_pack(items: list[tuple[Sensor, float]]) -> list[dict[str, object]]:
    """Write one SenML pack (RFC 8428), each record with its full name and unit."""
    pack: list[dict[str, object]] = []
    for sensor, value in items:
        name = sensor.senml_name or SENML_BASE + "".join(c if c.isalnum() else "-" for c in sensor.name)
        record: dict[str, object] = {"n": name, "v": value}
        if sensor.quantity is not Quantity.SWITCH:
            record["u"] = "/" if sensor.unit == "1" else sensor.unit
        pack.append(record)
    return pack
