"""The settings sorted for use: who is who, and what hangs on what. Made once for each change of settings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from controller.core.alarms.call_list import steps_for
from controller.core.alarms.calm import Calm, find_calms
from controller.core.alarms.own_faults import with_own_faults
from controller.core.alarms.roster import Roster, make_roster
from controller.core.plan.alarm import AlarmEntry, Kind, Response, Watched
from controller.core.plan.curtain import Curtain
from controller.core.plan.people import CallStep, Person
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Sensor
from controller.core.plan.water import Water
from controller.core.signals.sense import Spec, make_spec
from controller.core.water.outlook import Harm
from controller.core.water.probe import list_probes
from controller.core.water.readings import Recipe, list_sensors, list_traced, make_recipes, make_sensor


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
    calms: Mapping[str, Calm]
    alarms_of_part: Mapping[Watched, tuple[str, ...]]
    curtains_of_sensor: Mapping[str, tuple[str, ...]]
    waters: Mapping[str, Water]
    waters_of_sensor: Mapping[str, tuple[str, ...]]
    recipes: Mapping[str, tuple[Recipe, ...]]
    recipes_of_sensor: Mapping[str, tuple[Recipe, ...]]
    probes: Mapping[str, tuple[Water, ...]]
    traced: frozenset[str]
    stirs: frozenset[str]
    harms: Mapping[str, Harm]
    reminders: tuple[str, ...]
    causes_of: Mapping[str, tuple[str, ...]]
    consequences_of: Mapping[str, tuple[str, ...]]
    roster: Roster


def call_roll(plan: Plan) -> Roll:
    """Sort `plan` for use."""
    entries = put_causes_first({entry.name: entry for entry in with_own_faults(plan.alarm, plan.sensor)})
    causes_of, consequences_of = _link_causes(entries)
    alarms_of_sensor: dict[str, tuple[str, ...]] = {}
    alarms_of_part: dict[Watched, tuple[str, ...]] = {}
    for entry in entries.values():
        if entry.sensor:
            alarms_of_sensor[entry.sensor] = (*alarms_of_sensor.get(entry.sensor, ()), entry.name)
        if entry.of is not None:
            alarms_of_part[entry.of] = (*alarms_of_part.get(entry.of, ()), entry.name)
    curtains_of_sensor: dict[str, tuple[str, ...]] = {}
    for curtain in plan.curtain:
        for sensor in list_steering(curtain):
            curtains_of_sensor[sensor] = (*curtains_of_sensor.get(sensor, ()), curtain.name)
    recipes = {water.name: make_recipes(water, elevation_m=plan.site.elevation_m) for water in plan.water}
    derived = {recipe.name: make_sensor(recipe) for each in recipes.values() for recipe in each}
    waters_of_sensor: dict[str, tuple[str, ...]] = {}
    for water in plan.water:
        for sensor in (*list_sensors(water), *(recipe.name for recipe in recipes[water.name])):
            waters_of_sensor[sensor] = (*waters_of_sensor.get(sensor, ()), water.name)
    recipes_of: dict[str, tuple[Recipe, ...]] = {}
    for recipe in (recipe for each in recipes.values() for recipe in each):
        for sensor in recipe.inputs:
            recipes_of[sensor] = (*recipes_of.get(sensor, ()), recipe)
    wet = plan.thermometers_in_water
    traced = frozenset(name for water in plan.water for name in list_traced(water) if name not in derived)
    return Roll(
        sensors={sensor.name: sensor for sensor in plan.sensor} | derived,
        specs={sensor.name: make_spec(sensor, in_water=sensor.name in wet) for sensor in plan.sensor},
        curtains={curtain.name: curtain for curtain in plan.curtain},
        entries=entries,
        persons={person.name: person for person in plan.person},
        steps={response: steps_for(response, plan.call) for response in Response},
        alarms_of_sensor=alarms_of_sensor,
        calms=find_calms(entries.values()),
        alarms_of_part=alarms_of_part,
        curtains_of_sensor=curtains_of_sensor,
        waters={water.name: water for water in plan.water},
        waters_of_sensor=waters_of_sensor,
        recipes=recipes,
        recipes_of_sensor=recipes_of,
        probes={
            name: tuple(water for water in plan.water if name in list_probes(water))
            for water in plan.water
            for name in list_probes(water)
        },
        traced=traced,
        stirs=traced | recipes_of.keys(),
        harms=find_harms(plan.alarm),
        reminders=tuple(entry.name for entry in entries.values() if entry.kind is Kind.DUE),
        causes_of=causes_of,
        consequences_of=consequences_of,
        roster=make_roster(plan.duty, plan.call_rules.holidays, plan.person),
    )


def list_steering(curtain: Curtain) -> frozenset[str]:
    """List the sensors whose readings a curtain's rules look at."""
    names = {
        curtain.light_sensor,
        curtain.inside_temperature,
        curtain.outside_temperature,
        curtain.second_light_sensor,
    }
    if curtain.storm_and_snow is not None:
        names |= {curtain.storm_and_snow.wind_sensor, curtain.storm_and_snow.snow_sensor}
    if curtain.humidity_gap is not None:
        names |= {curtain.humidity_gap.humidity_sensor, curtain.humidity_gap.surface_temperature}
    return frozenset(names - {""})


def put_causes_first(entries: Mapping[str, AlarmEntry]) -> dict[str, AlarmEntry]:
    """Sort entries so that a cause is judged before what follows from it; else in the order of the list."""
    sorted_entries: dict[str, AlarmEntry] = {}
    waiting = dict(entries)
    while waiting:
        ready = [
            name
            for name, entry in waiting.items()
            if not any(cause in waiting and cause != name for cause in entry.suppressed_by)
        ]
        # Entries that name each other in a ring have no first; the check refuses them.
        for name in ready or list(waiting):
            sorted_entries[name] = waiting.pop(name)
    return sorted_entries


def _link_causes(
    entries: Mapping[str, AlarmEntry],
) -> tuple[dict[str, tuple[str, ...]], dict[str, tuple[str, ...]]]:
    """Link each entry to its causes and to its consequences; a cause always stands before them."""
    place = {name: index for index, name in enumerate(entries)}
    causes_of: dict[str, tuple[str, ...]] = {}
    consequences_of: dict[str, tuple[str, ...]] = {}
    for name, entry in entries.items():
        causes = tuple(cause for cause in entry.suppressed_by if place.get(cause, len(place)) < place[name])
        if causes:
            causes_of[name] = causes
        for cause in causes:
            consequences_of[cause] = (*consequences_of.get(cause, ()), name)
    return causes_of, consequences_of


def find_harms(entries: Iterable[AlarmEntry]) -> Mapping[str, Harm]:
    """Find where harm begins for each sensor: the farthest of what its entries of kind low and high say."""
    lows: dict[str, float] = {}
    highs: dict[str, float] = {}
    for entry in entries:
        at = entry.limit if entry.harm_at is None else entry.harm_at
        if entry.harm_at is None and entry.response is Response.NOTE:
            continue  # what is only written down is no harm, unless the entry says where harm begins
        if at is None or entry.kind not in {Kind.LOW, Kind.HIGH}:
            continue
        if entry.kind is Kind.LOW:
            lows[entry.sensor] = min(at, lows.get(entry.sensor, at))
        else:
            highs[entry.sensor] = max(at, highs.get(entry.sensor, at))
    return {name: Harm(lows.get(name), highs.get(name)) for name in {**lows, **highs}}
