"""Entries that say that nobody knows: added wherever an emergency hangs on a sensor and the settings have none.

An unknown value is not a normal one, and that too is not for the manager to forget: with the first emergency on a
sensor come a call when it is silent and a call when it cannot be trusted, until the settings have their own.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.sensor import Sensor

ON_DELAY_S: Final = {Kind.MISSING: 60.0, Kind.DOUBTFUL: 600.0}
"""How long it must last, a silence after it has made the reading stale. [s]"""

OFF_DELAY_S: Final = 300.0
"""A loose plug comes back for a moment, and a probe that fails is right now and then. [s]"""

_CAUSE: Final = {
    Kind.MISSING: "{sensor}: probe or box without power, cable out, network down.",
    Kind.DOUBTFUL: "{sensor}: dirty, dry, frozen or failing probe.",
}
# So short that with 54 letters of name and place the English call still is one text message.
_ACTION: Final = {
    Kind.MISSING: "Go and look",
    Kind.DOUBTFUL: "Compare by hand",
}
_NAME_MOST: Final = 40
_NAME_AND_PLACE_MOST: Final = 54
_WORDS_MOST: Final = 300


def list_unknowns(entries: Iterable[AlarmEntry], sensors: Iterable[Sensor]) -> tuple[AlarmEntry, ...]:
    """List the entries of kind missing and doubtful that `entries` leave out, sensor by sensor.

    A value that people enter is refused at once where it cannot be true, so that it is never doubtful.
    """
    entries = tuple(entries)
    sensors = tuple(sensors)
    entered = {sensor.name for sensor in sensors if sensor.entered}
    places = {sensor.name: sensor.place for sensor in sensors}
    known = {(entry.sensor, entry.kind) for entry in entries}
    taken = {entry.name.casefold() for entry in entries}
    added: list[AlarmEntry] = []
    for entry in find_first_emergencies(entries):
        for kind in (Kind.MISSING, Kind.DOUBTFUL):
            if (entry.sensor, kind) in known or (kind is Kind.DOUBTFUL and entry.sensor in entered):
                continue
            name = _find_name(entry.sensor, places.get(entry.sensor, ""), kind, taken)
            taken.add(name.casefold())
            added.append(_make(entry, kind, name))
    return tuple(added)


def find_first_emergencies(entries: Iterable[AlarmEntry]) -> tuple[AlarmEntry, ...]:
    """Find for each sensor the emergency on it that leaves the least time, in the order of the list."""
    first: dict[str, AlarmEntry] = {}
    for entry in entries:
        if entry.response is not Response.EMERGENCY or not entry.sensor:
            continue
        other = first.get(entry.sensor)
        if other is None or entry.time_to_respond_min < other.time_to_respond_min:
            first[entry.sensor] = entry
    return tuple(first.values())


def _find_name(sensor: str, place: str, kind: Kind, taken: set[str]) -> str:
    """Find a name that no other entry has: the sensor's, cut where it is long, and what is the matter."""
    number, most = 1, min(_NAME_MOST, _NAME_AND_PLACE_MOST - len(place))
    while True:
        tail = f" {kind.value}" if number == 1 else f" {kind.value} {number}"
        name = sensor[: most - len(tail)].rstrip() + tail
        if name.casefold() not in taken:
            return name
        number += 1


def _make(entry: AlarmEntry, kind: Kind, name: str) -> AlarmEntry:
    """Make the entry of that kind for the sensor that an emergency hangs on."""
    consequence = f'Nobody would know of "{entry.name}". {entry.consequence}'
    return AlarmEntry(
        name=name, kind=kind, sensor=entry.sensor, response=Response.EMERGENCY,
        on_delay_s=ON_DELAY_S[kind], off_delay_s=OFF_DELAY_S,
        cause=_CAUSE[kind].format(sensor=entry.sensor)[:_WORDS_MOST], consequence=consequence[:_WORDS_MOST],
        action=_ACTION[kind], time_to_respond_min=entry.time_to_respond_min,
    )  # fmt: skip
