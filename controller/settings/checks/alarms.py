"""The master alarm list: every entry watches something it can watch, at a limit that can be met."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import AlarmEntry, Kind, Watched
from controller.core.plan.sensor_defaults import fastest_per_min, possible_range
from controller.core.units import KEPT_UNIT, Quantity
from controller.settings.checks.names import check_names
from controller.settings.checks.waters import find_derived
from controller.settings.problems import Fault
from controller.settings.words import format_number, label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.core.plan.sensor import Sensor
    from controller.settings.draft import Draft

WITH_LIMIT: Final = frozenset({Kind.HIGH, Kind.LOW, Kind.RATE})
"""Kinds that compare a value with a limit."""

_ONLY_FOR: Final[dict[str, frozenset[Kind]]] = {
    "sensor": frozenset(Kind) - {Kind.FAULT},
    "of": frozenset({Kind.FAULT}),
    "limit": WITH_LIMIT,
    "harm_at": frozenset({Kind.HIGH, Kind.LOW}),
    "loop": WITH_LIMIT,
    "deadband": WITH_LIMIT,
    "alarm_when": frozenset({Kind.SWITCH}),
}
"""Keys that mean something only for some kinds."""


def check_alarms(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in an entry, between it and its sensor, and in the list as a whole."""
    yield from check_names(draft, "alarm")
    for placed in draft.alarms:
        where = label("alarm", placed.part.name)
        for key, text in _check_entry(placed.part, draft):
            yield Fault((*placed.path, key), f"{where}: {text}")
    yield from _check_twins(draft)


def _check_entry(entry: AlarmEntry, draft: Draft) -> Iterator[tuple[str, str]]:
    yield from _check_kind(entry)
    if entry.alarm_when not in {"on", "off"}:
        yield "alarm_when", f'`alarm_when` is {write_value(entry.alarm_when)}, allowed is one of "on", "off"'
    for key in ("cause", "consequence", "action"):
        text = getattr(entry, key)
        if text.strip() and not any(character.isalpha() for character in text):
            yield key, f"`{key}` is {write_value(text)}, words that a person can go by are needed"
    if not entry.action.isprintable():
        yield "action", "`action` goes into a message of one line; only printed characters may stand in it"
    if entry.kind is not Kind.FAULT:
        yield from _check_sensor(entry, draft)


def _check_kind(entry: AlarmEntry) -> Iterator[tuple[str, str]]:
    """Ask for the keys a kind needs, and refuse those that would mean nothing for it."""
    kind = entry.kind.value
    if entry.kind is Kind.FAULT and entry.of is None:
        parts = ", ".join(part.value for part in Watched)
        yield "kind", f'`kind` is "fault", so `of` must name the part that is watched, one of {parts}'
    if entry.kind in WITH_LIMIT and entry.limit is None:
        yield "kind", f'`kind` is "{kind}", so `limit` is needed'
    for key, kinds in _ONLY_FOR.items():
        if entry.kind not in kinds and key in entry.model_fields_set:
            only = ", ".join(each.value for each in Kind if each in kinds)
            yield key, f'`{key}` is only for kind {only}, not for "{kind}"; leave it out'


def _check_sensor(entry: AlarmEntry, draft: Draft) -> Iterator[tuple[str, str]]:
    if not entry.sensor:
        yield "sensor", f'`sensor` is missing, kind "{entry.kind.value}" needs the name of a sensor'
        return
    derived = find_derived(draft, entry.sensor)
    if derived is not None:
        if entry.kind not in {Kind.HIGH, Kind.LOW, Kind.MISSING, Kind.DOUBTFUL}:
            text = f"{write_value(entry.sensor)} is a derived reading: use high, low, missing or doubtful"
            yield "kind", text
        elif entry.limit is not None:
            yield from _check_limit(entry, entry.limit, derived, in_water=False)
        return
    if not draft.has_name("sensor", entry.sensor) and not draft.is_whole("water"):
        return  # it may be derived from a water that could not be read
    if not draft.has_name("sensor", entry.sensor):
        yield "sensor", f"`sensor`: {draft.describe_name('sensor', entry.sensor)}"
        return
    sensor = draft.find_sensor(entry.sensor)
    if sensor is None:
        return
    yield from _check_entered(entry, sensor)
    is_switch = sensor.quantity is Quantity.SWITCH
    if entry.kind is Kind.SWITCH and not is_switch:
        yield (
            "kind",
            (
                f"kind switch needs a sensor of quantity switch; {write_value(sensor.name)} measures "
                f"{sensor.quantity.value}: use high, low or rate"
            ),
        )
    elif entry.kind in WITH_LIMIT and is_switch:
        yield (
            "kind",
            f"{write_value(sensor.name)} is a switch and has no limits: use kind switch, missing or doubtful",
        )
    elif entry.limit is not None and entry.kind in WITH_LIMIT:
        in_water = any(placed.part.temperature == sensor.name for placed in draft.waters)
        yield from _check_limit(entry, entry.limit, sensor, in_water=in_water)


def _check_entered(entry: AlarmEntry, sensor: Sensor) -> Iterator[tuple[str, str]]:
    """Refuse what makes no sense between an entry and whether people enter the values by hand."""
    if entry.kind is Kind.DUE and not sensor.entered:
        yield "kind", f"kind due needs a sensor that is entered by hand; {write_value(sensor.name)} is not"
    elif entry.kind in {Kind.RATE, Kind.DOUBTFUL} and sensor.entered:
        text = f"{write_value(sensor.name)} is entered by hand: use high, low, due or missing"
        yield "kind", text


def _check_harm(
    entry: AlarmEntry, limit: float, *, low: float, high: float, unit: str
) -> Iterator[tuple[str, str]]:
    """Ask that harm begins at or past the limit, inside what is possible."""
    harm = entry.harm_at
    if harm is None or entry.kind is Kind.RATE:
        return
    first, last = (limit, high) if entry.kind is Kind.HIGH else (low, limit)
    if not first <= harm <= last:
        yield (
            "harm_at",
            (
                f"`harm_at` is {format_number(harm)}, allowed is a value at or past the `limit`, from "
                f"{format_number(first)} to {format_number(last)} [{unit}]"
            ),
        )


def _check_limit(
    entry: AlarmEntry, limit: float, sensor: Sensor, *, in_water: bool
) -> Iterator[tuple[str, str]]:
    unit = KEPT_UNIT[sensor.quantity]
    if entry.kind is Kind.RATE:
        fastest = fastest_per_min(sensor, in_water=in_water)
        if limit == 0:
            yield (
                "limit",
                f"`limit` is 0, a change per minute is needed, negative for a fall [{unit} per min]",
            )
        elif fastest is not None and abs(limit) >= fastest:
            yield (
                "limit",
                (
                    f"`limit` is {format_number(limit)}, but a change of {format_number(fastest)} or more "
                    "is already "
                    f"doubted as a fault of the sensor; a smaller one is needed [{unit} per min]"
                ),
            )
        if limit and entry.deadband >= abs(limit):
            yield (
                "deadband",
                (
                    f"`deadband` is {format_number(entry.deadband)}, less than the `limit` "
                    f"{format_number(abs(limit))} is "
                    f"needed, or the alarm could never end [{unit} per min]"
                ),
            )
        return
    low, high = possible_range(sensor, in_water=in_water)
    if not low < limit < high:
        yield (
            "limit",
            (
                f"`limit` is {format_number(limit)}, allowed is a value inside the possible range of "
                f"{write_value(sensor.name)}, above {format_number(low)} and below {format_number(high)} "
                f"[{unit}]"
            ),
        )
        return
    yield from _check_harm(entry, limit, low=low, high=high, unit=unit)
    room = limit - low if entry.kind is Kind.HIGH else high - limit
    if entry.deadband >= room:
        yield (
            "deadband",
            (
                f"`deadband` is {format_number(entry.deadband)}, less than "
                f"{format_number(round(room, 6))} is needed with this `limit`, or the alarm could never end "
                f"[{unit}]"
            ),
        )


def _check_twins(draft: Draft) -> Iterator[Fault]:
    """Refuse two entries that can only sound together."""
    seen: dict[tuple[object, ...], str] = {}
    for placed in draft.alarms:
        entry = placed.part
        if placed.unsure:
            continue
        watched = (entry.kind, entry.sensor, entry.of, entry.limit, entry.alarm_when)
        first = seen.setdefault(watched, entry.name)
        if first != entry.name and (entry.sensor or entry.of):
            yield Fault(
                (*placed.path, "name"),
                f"{label('alarm', entry.name)}: watches the same as {write_value(first)}; one entry is "
                "enough",
            )
