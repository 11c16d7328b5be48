"""The settings sorted for use: who is who, and what hangs on what. Made once for each change of settings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from controller.core.alarms.call_list import steps_for
from controller.core.alarms.own_faults import with_own_faults
from controller.core.plan.alarm import AlarmEntry, Response, Watched
from controller.core.plan.curtain import Curtain
from controller.core.plan.people import CallStep, Person
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Sensor
from controller.core.signals.sense import Spec, make_spec


@dataclass(frozen=True, slots=True)
class Roll:
    """What hangs on what, by name."""

    sensors: Mapping[str, Sensor]
    specs: Mapping[str, Spec]
    curtains: Mapping[str, Curtain]
    entries: Mapping[str, AlarmEntry]
    persons: Mapping[str, Person]
    steps: Mapping[Response, tuple[CallStep, ...]]
    alarms_of_sensor: Mapping[str, tuple[str, ...]]
    alarms_of_part: Mapping[Watched, tuple[str, ...]]
    curtains_of_sensor: Mapping[str, tuple[str, ...]]


def call_roll(plan: Plan) -> Roll:
    """Sort `plan` for use."""
    entries = {entry.name: entry for entry in with_own_faults(plan.alarm)}
    alarms_of_sensor: dict[str, tuple[str, ...]] = {}
    alarms_of_part: dict[Watched, tuple[str, ...]] = {}
    for entry in entries.values():
        if entry.sensor:
            alarms_of_sensor[entry.sensor] = (*alarms_of_sensor.get(entry.sensor, ()), entry.name)
        if entry.of is not None:
            alarms_of_part[entry.of] = (*alarms_of_part.get(entry.of, ()), entry.name)
    curtains_of_sensor: dict[str, tuple[str, ...]] = {}
    for curtain in plan.curtain:
        for sensor in {curtain.light_sensor, curtain.inside_temperature, curtain.outside_temperature} - {""}:
            curtains_of_sensor[sensor] = (*curtains_of_sensor.get(sensor, ()), curtain.name)
    return Roll(
        sensors={sensor.name: sensor for sensor in plan.sensor},
        specs={sensor.name: make_spec(sensor) for sensor in plan.sensor},
        curtains={curtain.name: curtain for curtain in plan.curtain},
        entries=entries,
        persons={person.name: person for person in plan.person},
        steps={response: steps_for(response, plan.call) for response in Response},
        alarms_of_sensor=alarms_of_sensor,
        alarms_of_part=alarms_of_part,
        curtains_of_sensor=curtains_of_sensor,
    )
