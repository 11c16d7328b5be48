"""What is allowed in the settings and still worth a word: said by the check, never refused."""

from __future__ import annotations

import ipaddress
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from controller.core.alarms.unknowns import find_first_emergencies, list_unknowns
from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.plan.curtain import Actuator, Curtain
from controller.core.plan.people import Way
from controller.core.plan.sensor import Mounted
from controller.core.plan.sensor_defaults import stale_after_ms
from controller.core.plan.site import Security
from controller.core.units import MINUTE_MS, Quantity
from controller.settings.checks.roster import find_day_alone
from controller.settings.letters import doubt_letters
from controller.settings.problems import Fault
from controller.settings.water_cautions import doubt_waters
from controller.settings.words import format_number, label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.core.plan.alarm import AlarmEntry
    from controller.core.plan.plan import Plan
    from controller.settings.problems import Path

MOST_ZONE_DIFFERENCE_H: Final = 4.0
"""Clock time and sun differ by up to about 3 h in real zones; more is a wrong sign of the longitude. [h]"""

_ANY_WINTER: Final = datetime(2025, 1, 1, tzinfo=UTC)


def find_cautions(plan: Plan, *, today: date | None = None) -> tuple[Fault, ...]:
    """Find everything in a good plan that a careful colleague would point at; of days, those not before `today`."""
    checks = (
        _doubt_place,
        _doubt_links,
        _doubt_curtains,
        doubt_waters,
        _doubt_alarms,
        _doubt_list,
        _doubt_people,
        _doubt_ways,
        doubt_letters,
    )
    found = tuple(fault for check in checks for fault in check(plan))
    return (*found, *_doubt_absence(plan, today))


def _doubt_absence(plan: Plan, today: date | None) -> Iterator[Fault]:
    """Doubt a day on which everybody who is told of what is for today is away; a roster is looked at by the check."""
    called = {name for step in plan.call if step.response is Response.TODAY for name in step.people}
    day = find_day_alone(called, plan.person, today=today) if called and not plan.duty else None
    if day is not None:
        index = next(index for index, person in enumerate(plan.person) if person.name in called)
        yield Fault(
            ("person", index, "away"),
            f"people: on {day} from 00:00 everybody who is told of what is for today is away, and is called all the "
            "same; name somebody else in a step of today, or a roster with a stand-in",
        )


def _doubt_place(plan: Plan) -> Iterator[Fault]:
    offset = _ANY_WINTER.astimezone(ZoneInfo(plan.site.time_zone)).utcoffset()
    assert offset is not None, "a time zone has an offset"
    apart_h = abs(offset.total_seconds() / 3600 - plan.site.longitude_deg / 15)
    if min(apart_h, 24 - apart_h) > MOST_ZONE_DIFFERENCE_H:
        yield Fault(
            ("site", "longitude_deg"),
            f"site: at longitude {format_number(plan.site.longitude_deg)} the sun is {apart_h:.0f} h away "
            "from the "
            f"clocks of {plan.site.time_zone}; east is positive, west negative",
        )


def _doubt_links(plan: Plan) -> Iterator[Fault]:
    if not plan.broker.tls and not _is_here(plan.broker.host):
        yield Fault(
            ("broker", "host"),
            "broker: it is on another machine and the connection is not encrypted: readings can be seen and "
            "forged on the way; set `tls = true`",
        )
    if plan.mail is not None and plan.mail.security is Security.NONE and not _is_here(plan.mail.host):
        yield Fault(
            ("mail", "security"),
            "mail: the connection is not encrypted: messages and the password can be seen on the way",
        )


def _is_here(host: str) -> bool:
    """Tell whether a host is this machine itself, as far as its name says."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _doubt_curtains(plan: Plan) -> Iterator[Fault]:
    for index, curtain in enumerate(plan.curtain):
        where, path = label("curtain", curtain.name), ("curtain", index)
        if curtain.light_ceiling is None and curtain.hold_heat is None and curtain.economics is None:
            yield Fault(path, f"{where}: it has no rule, so only people move it")
        if curtain.economics is not None:
            yield from _doubt_ignored(curtain, path, where)
        yield from _doubt_light(plan, curtain, path, where)
        if curtain.dry_run:
            yield Fault(
                (*path, "dry_run"),
                f"{where}: it only says what it would do; nothing moves until `dry_run = false`",
            )
        if curtain.actuator is Actuator.RELAYS and not curtain.has_limit_report:
            yield Fault(
                (*path, "has_limit_report"),
                f"{where}: without reports of its end switches its place is known by running time alone",
            )


def _doubt_light(plan: Plan, curtain: Curtain, path: Path, where: str) -> Iterator[Fault]:
    """Say that a curtain which steers by its own shadow would do better by the sky."""
    lights = [sensor for sensor in plan.sensor if sensor.quantity is Quantity.LIGHT]
    if not any(s.name == curtain.light_sensor and s.mounted is Mounted.BELOW_CURTAIN for s in lights):
        return
    outside = [write_value(sensor.name) for sensor in lights if sensor.mounted is Mounted.OUTSIDE]
    instead = f"{outside[0]} is outside; name that one" if outside else "one outside is better"
    yield Fault(
        (*path, "light_sensor"),
        f"{where}: its light sensor {write_value(curtain.light_sensor)} is below it, so what the sky gives is "
        f"only reckoned from its shadow by `transmission`: {instead}",
    )


def _doubt_ignored(curtain: Curtain, path: Path, where: str) -> Iterator[Fault]:
    for key, instead in (
        ("light_ceiling", "`light_ceiling_umol_m2_s`"),
        ("hold_heat", "its prices and set-points"),
        ("light_sum", "`day_light_low_mol_m2`, `day_light_high_mol_m2` and `beyond_band_worth`"),
    ):
        if getattr(curtain, key) is not None:
            yield Fault(
                (*path, key),
                f"{where}: `[curtain.economics]` decides in place of `[curtain.{key}]`, by {instead}; this table is "
                "not used",
            )

    if len(curtain.zone) > 1 and curtain.economics is not None and curtain.economics.beyond_band_worth >= 1.0:
        yield Fault(
            (*path, "ruling_zone"),
            f"{where}: light beyond a band keeps all its worth, so no zone's band changes a move; set "
            "`beyond_band_worth` below 1 for that of `ruling_zone` to count",
        )


def _doubt_alarms(plan: Plan) -> Iterator[Fault]:
    travel_min = plan.call_rules.call_out_and_travel_min
    ages_min = {sensor.name: stale_after_ms(sensor) / MINUTE_MS for sensor in plan.sensor}
    for index, entry in enumerate(plan.alarm):
        where, path = label("alarm", entry.name), ("alarm", index)
        within = entry.time_to_respond_min
        if entry.response is Response.EMERGENCY and within < travel_min:
            yield Fault(
                (*path, "time_to_respond_min"),
                f"{where}: {format_number(within)} min until harm, {format_number(travel_min)} min to get "
                "there: an "
                "alarm cannot be the protection here; an automatic backup must be",
            )
        if entry.response is not Response.NOTE:
            yield from _doubt_delays(entry, path, where, age_min=ages_min.get(entry.sensor, 0.0))


def _doubt_delays(entry: AlarmEntry, path: Path, where: str, *, age_min: float) -> Iterator[Fault]:
    half_min = entry.time_to_respond_min / 2
    if entry.on_delay_s / 60 > half_min:
        yield Fault(
            (*path, "on_delay_s"),
            f"{where}: it sounds only after {format_number(entry.on_delay_s / 60)} min, which is more "
            "than half of "
            f"the {format_number(entry.time_to_respond_min)} min until harm",
        )
    if entry.kind is Kind.MISSING and age_min > half_min:
        yield Fault(
            (*path, "sensor"),
            f"{where}: a silent sensor is noticed only after {format_number(age_min)} min, which is more "
            "than half "
            f"of the {format_number(entry.time_to_respond_min)} min until harm",
        )


def _doubt_list(plan: Plan) -> Iterator[Fault]:
    if not any(entry.response is Response.EMERGENCY for entry in plan.alarm):
        yield Fault(("alarm",), "alarms: none is an emergency, so nobody is ever called until answered")
    watched = {entry.of for entry in plan.alarm}
    absent = {
        Watched.MODEM: plan.modem is None,
        Watched.SIREN: plan.siren is None,
        Watched.REPLIES: plan.modem is None,
        Watched.PEOPLE: plan.supervision is None,
        Watched.PATHS: plan.supervision is None,
    }
    for part in Watched:
        if part not in watched and not absent.get(part, False):
            yield Fault(
                ("alarm",),
                f'alarms: no entry of kind "fault" watches {write_value(part)}; trouble there goes by the '
                "entry that is built in",
            )

    places = {entry.sensor: plan.alarm.index(entry) for entry in find_first_emergencies(plan.alarm)}
    for added in list_unknowns(plan.alarm, plan.sensor):
        first = plan.alarm[places[added.sensor]]
        yield Fault(
            ("alarm", places[added.sensor], "sensor"),
            f"{label('alarm', first.name)}: an emergency hangs on the sensor {write_value(added.sensor)}, and the "
            f"list has no entry of kind {write_value(added.kind.value)} for it; as an unknown value is not a normal "
            f"one, one is built in: {write_value(added.name)}, an emergency after {added.on_delay_s:.0f} s",
        )


def _doubt_people(plan: Plan) -> Iterator[Fault]:
    named = {name for step in plan.call for name in step.people}
    for index, person in enumerate(plan.person):
        if person.name not in named:
            yield Fault(
                ("person", index), f"{label('person', person.name)}: no step of the call list names them"
            )
    for index, step in enumerate(plan.call):
        if all(way is Way.LOG for way in step.ways):
            yield Fault(
                ("call", index, "ways"),
                "call: a step that only says to the log what it would send reaches nobody",
            )
    urgent = {name for step in plan.call if step.response is Response.EMERGENCY for name in step.people}
    if len(urgent) == 1:
        first = next(index for index, step in enumerate(plan.call) if step.response is Response.EMERGENCY)
        yield Fault(
            ("call", first),
            f"call: only {write_value(next(iter(urgent)))} is ever called in an emergency; name a second "
            "person",
        )
    elif urgent:
        at_once = {
            name
            for step in plan.call
            if step.response is Response.EMERGENCY and step.after_min == 0
            for name in step.people
        }
        if len(at_once) == 1:
            first = next(
                index
                for index, step in enumerate(plan.call)
                if step.response is Response.EMERGENCY and step.after_min == 0
            )
            yield Fault(
                ("call", first, "people"),
                f"call: an emergency first calls {write_value(next(iter(at_once)))} alone; one message in twenty may "
                "be lost, so name two people in the first step",
            )


def _doubt_ways(plan: Plan) -> Iterator[Fault]:
    """Doubt a house that one broken thing cuts off, or that never finds out that it is cut off."""
    if plan.supervision is None:
        yield Fault(
            ("call",),
            "supervision: there is none, so that a dead phone or a wrong address is found out in the emergency "
            "itself; a table `[supervision]` brings test calls, looks at the ways and a daily all-well",
        )
    steps = [step for step in plan.call if step.response is Response.EMERGENCY]
    ways = dict.fromkeys(way for step in steps for way in step.ways if way is not Way.LOG)
    if len(ways) == 1:
        first = next(index for index, step in enumerate(plan.call) if step.response is Response.EMERGENCY)
        yield Fault(
            ("call", first, "ways"),
            f"call: an emergency goes by {write_value(next(iter(ways)))} alone: when that one way is down it reaches "
            "nobody; name a second one in `ways`",
        )
