"""Sensors: units, topics, forms, and where light is measured."""

from __future__ import annotations

from itertools import chain
from typing import TYPE_CHECKING, Final

from controller.core.plan.sensor import Form, Sensor
from controller.core.plan.sensor_defaults import possible_range, stale_after_ms
from controller.core.units import KEPT_UNIT, Quantity, allowed_units, find_conversion
from controller.settings.checks.names import check_names
from controller.settings.problems import Fault, Path
from controller.settings.words import format_number, label, write_value
from controller.wire.topic import find_fault

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.settings.draft import Draft


NEVER_ENTERED: Final = frozenset(
    {Quantity.LIGHT, Quantity.SWITCH, Quantity.POSITION, Quantity.WATER_LOSS, Quantity.FILTER_LOAD}
)


WATER_MOST_C: Final = 60.0
"""No water of a house is warmer, and the 85 C of a digital probe that has measured nothing must stay impossible. [C]"""


def check_sensors(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in a sensor and between topics."""
    yield from check_names(draft, "sensor")
    wet = {placed.part.temperature for placed in draft.waters}
    for placed in draft.sensors:
        where = label("sensor", placed.part.name)
        for key, text in chain(
            _check_entered(placed.part),
            _check_unit(placed.part),
            _check_form(placed.part),
            _check_place(placed.part),
            _check_numbers(placed.part, in_water=placed.part.name in wet),
        ):
            yield Fault((*placed.path, key), f"{where}: {text}")
    yield from _check_topics(draft)


def _check_entered(sensor: Sensor) -> Iterator[tuple[str, str]]:
    """Ask for a topic, or for none where people enter the values."""
    if not sensor.entered:
        if not sensor.topic:
            yield (
                "topic",
                (
                    "`topic` is missing, a text in quotes is needed (the exact MQTT topic it publishes to, or "
                    "`entered = true` where people enter its values)"
                ),
            )
        if "enter_every_days" in sensor.model_fields_set:
            yield "enter_every_days", "`enter_every_days` is only for `entered = true`; leave it out"
        return
    if sensor.quantity in NEVER_ENTERED:
        yield "entered", f"`entered` is not for {sensor.quantity.value}; nobody enters that by hand"
    for key in ("topic", "form", "pointer", "unit_pointer", "time_pointer", "senml_name", "interval_s"):
        if key in sensor.model_fields_set:
            yield key, f"`{key}` is not for a sensor that is entered by hand; leave it out"


def _check_unit(sensor: Sensor) -> Iterator[tuple[str, str]]:
    if sensor.unit and find_conversion(sensor.quantity, sensor.unit) is None:
        allowed = ", ".join(allowed_units(sensor.quantity))
        yield (
            "unit",
            f"`unit` is {write_value(sensor.unit)}, allowed for {sensor.quantity.value} are {allowed}",
        )


def _check_form(sensor: Sensor) -> Iterator[tuple[str, str]]:
    if sensor.form is Form.JSON and "pointer" not in sensor.model_fields_set:
        yield (
            "form",
            '`form` is "json", so `pointer` must say where the value stands, such as "/oxygen/value"',
        )
    for key in ("pointer", "unit_pointer", "time_pointer"):
        pointer = getattr(sensor, key)
        if pointer and sensor.form is not Form.JSON:
            yield key, f'`{key}` is only for `form = "json"`; leave it out'
        elif pointer and not _is_pointer(pointer):
            yield (
                key,
                f"`{key}` is {write_value(pointer)}, a pointer begins with / and writes ~ as ~0 (RFC 6901)",
            )
    if sensor.senml_name and sensor.form is not Form.SENML:
        yield "senml_name", '`senml_name` is only for `form = "senml"`; leave it out'


def _is_pointer(text: str) -> bool:
    """Tell whether a text is an RFC 6901 pointer: steps that begin with /, ~ only as ~0 or ~1."""
    rest = text.replace("~0", "").replace("~1", "")
    return text.startswith("/") and "~" not in rest


def _check_place(sensor: Sensor) -> Iterator[tuple[str, str]]:
    is_light = sensor.quantity is Quantity.LIGHT
    if is_light and sensor.mounted is None:
        yield (
            "mounted",
            (
                '`mounted` is missing, one of "outside", "above curtain", "below curtain" is needed for '
                "light: "
                "a sensor under the curtain sees the curtain's own shadow"
            ),
        )
    if not is_light and sensor.mounted is not None:
        yield "mounted", f"`mounted` is only for light, not for {sensor.quantity.value}; leave it out"


def _check_numbers(sensor: Sensor, *, in_water: bool) -> Iterator[tuple[str, str]]:
    low, high = possible_range(sensor, in_water=in_water)
    unit = KEPT_UNIT[sensor.quantity]
    if in_water and sensor.quantity is Quantity.TEMPERATURE and high > WATER_MOST_C:
        yield (
            "possible_high",
            (
                f"`possible_high` is {format_number(high)}, at most {format_number(WATER_MOST_C)} is allowed for the "
                f"thermometer of a water: beyond lie the values by which a broken one shows itself [{unit}]"
            ),
        )
    if not low < high:
        key = "possible_low" if sensor.possible_low is not None else "possible_high"
        yield (
            key,
            (
                f"`possible_low` {format_number(low)} must be below `possible_high` {format_number(high)} "
                f"[{unit}]"
            ),
        )
    ceiling = sensor.sensor_ceiling
    if ceiling is not None and not low < ceiling <= high:
        yield (
            "sensor_ceiling",
            (
                f"`sensor_ceiling` is {format_number(ceiling)}, allowed is a value inside the possible "
                "range, "
                f"above {format_number(low)} to {format_number(high)} [{unit}]"
            ),
        )
    if not sensor.entered and sensor.stale_after_s is not None and sensor.stale_after_s < sensor.interval_s:
        yield (
            "stale_after_s",
            (
                f"`stale_after_s` is {format_number(sensor.stale_after_s)}, at least `interval_s` "
                f"{format_number(sensor.interval_s)} is needed [s]"
            ),
        )
    flat = sensor.flat_after_min
    if flat and flat * 60_000 < stale_after_ms(sensor):
        yield (
            "flat_after_min",
            (
                f"`flat_after_min` is {format_number(flat)}, 0 (never) or at least the age at which a "
                f"reading is stale (`stale_after_s`, or three times `interval_s`) is needed, "
                f"{format_number(stale_after_ms(sensor) / 60_000)} [min]"
            ),
        )
    if sensor.quantity is Quantity.SWITCH:
        yield from _check_words(sensor)
    else:
        for key in ("on_word", "off_word"):
            if key in sensor.model_fields_set:
                yield key, f"`{key}` is only for a switch, not for {sensor.quantity.value}; leave it out"


def _check_words(sensor: Sensor) -> Iterator[tuple[str, str]]:
    for key in ("on_word", "off_word"):
        if not getattr(sensor, key):
            yield key, f"`{key}` is empty, a text in quotes is needed"
    if sensor.on_word in {sensor.off_word, "0"} or sensor.off_word == "1":
        yield (
            "on_word" if "on_word" in sensor.model_fields_set else "off_word",
            (
                f"`on_word` {write_value(sensor.on_word)} and `off_word` {write_value(sensor.off_word)} "
                "contradict each "
                "other; two different words are needed (1 is always on, 0 always off)"
            ),
        )


def _check_topics(draft: Draft) -> Iterator[Fault]:
    """Refuse topics that are none, and topics that two things use which cannot share one."""
    users: dict[str, tuple[str, Sensor | None, Path]] = {}
    roots = tuple(f"duskbell/{site.part.id}/" for site in draft.sites if site.part.id)
    for where, topic, sensor, path in _list_topics(draft):
        if topic.startswith(roots):
            yield Fault(
                path,
                f"{where}: `{path[-1]}` is {write_value(topic)}, but what begins with {roots[0]} is what Duskbell "
                "itself publishes; another topic is needed",
            )
        fault = find_fault(topic) if topic else None
        if fault is not None:
            yield Fault(path, f"{where}: `{path[-1]}` is {write_value(topic)}: {fault}")
        if not topic:
            continue
        known = users.setdefault(topic, (where, sensor, path))
        if known[2] != path and not _may_share(known[1], sensor):
            yield Fault(
                path,
                f"{where}: the topic {write_value(topic)} is already used by {known[0]}; only json "
                "sensors with "
                "different pointers, or senml sensors with different names, may share one",
            )


def _list_topics(draft: Draft) -> Iterator[tuple[str, str, Sensor | None, Path]]:
    for placed in draft.sensors:
        yield label("sensor", placed.part.name), placed.part.topic, placed.part, (*placed.path, "topic")
    for curtain in draft.curtains:
        where = label("curtain", curtain.part.name)
        yield where, curtain.part.command_topic, None, (*curtain.path, "command_topic")
        yield where, curtain.part.report_topic, None, (*curtain.path, "report_topic")
    for siren in draft.sirens:
        yield "siren", siren.part.command_topic, None, (*siren.path, "command_topic")
        yield "siren", siren.part.report_topic, None, (*siren.path, "report_topic")


def _may_share(one: Sensor | None, other: Sensor | None) -> bool:
    if one is None or other is None or one.form is not other.form:
        return False
    match one.form:
        case Form.JSON:
            return one.pointer != other.pointer
        case Form.SENML:
            return one.senml_name != other.senml_name and bool(one.senml_name and other.senml_name)
        case Form.NUMBER:
            return False
