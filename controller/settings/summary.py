"""What a good settings file says, told back so that a manager can see whether it is what was meant."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final
from urllib.parse import urlsplit

from controller.core.alarms.unknowns import list_unknowns
from controller.core.curtain.zones import list_bands
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.sensor_defaults import (
    fastest_per_min,
    flat_after_ms,
    possible_range,
    stale_after_ms,
)
from controller.core.units import KEPT_UNIT, MINUTE_MS, SECOND_MS, Quantity
from controller.core.water.readings import make_recipes
from controller.settings.words import format_number

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from controller.core.plan.curtain import Curtain
    from controller.core.plan.people import Person
    from controller.core.plan.plan import Plan
    from controller.core.plan.sensor import Sensor
    from controller.core.plan.water import Water

_UNIT: Final = {**KEPT_UNIT, Quantity.PH: ""}
"""Units as people write them: a pH of 7 has none."""


def write_summary(plan: Plan) -> str:
    """Tell the whole plan with all its units: place, sensors, curtains, alarms, people, call list."""
    units = {sensor.name: _UNIT[sensor.quantity] for sensor in plan.sensor}
    units |= {
        recipe.name: _UNIT[recipe.quantity]
        for water in plan.water
        for recipe in make_recipes(water, elevation_m=plan.site.elevation_m)
    }
    lines = [
        *_tell_place(plan),
        *_tell_sensors(plan),
        *(line for water in plan.water for line in _tell_water(water, plan)),
        *(line for curtain in plan.curtain for line in _tell_curtain(curtain)),
        *_tell_alarms((*plan.alarm, *list_unknowns(plan.alarm, plan.sensor)), units),
        *_tell_calls(plan),
        *_tell_duty(plan),
        *_tell_proof(plan),
    ]
    return "\n".join(lines) + "\n"


def _number(value: float) -> str:
    return format_number(round(value, 6))


def _tell_place(plan: Plan) -> Iterator[str]:
    site, broker = plan.site, plan.broker
    north = "N" if site.latitude_deg >= 0 else "S"
    east = "E" if site.longitude_deg >= 0 else "W"
    yield (
        f"{site.name} ({site.id}): {_number(abs(site.latitude_deg))} {north}, "
        f"{_number(abs(site.longitude_deg))} {east}, {_number(site.elevation_m)} m, {site.time_zone}"
    )
    yield f"Broker {broker.host} port {broker.port}{', encrypted' if broker.tls else ''}"
    yield f"Record in {plan.journal.directory}, readings kept {plan.journal.keep_history_days} days"
    if plan.mail is not None:
        mail = plan.mail
        yield f"Mail by {mail.host} port {mail.port} ({mail.security.value}) from {mail.sender}"
    if plan.modem is not None:
        yield f"Text messages by the modem at {plan.modem.device}"
    if plan.siren is not None:
        on_s, pause_s = _number(plan.siren.longest_on_s), _number(plan.siren.pause_s)
        yield f"Siren on {plan.siren.command_topic}: {on_s} s on, {pause_s} s silent, while an emergency sounds"


def _tell_sensors(plan: Plan) -> Iterator[str]:
    yield ""
    yield f"Sensors ({len(plan.sensor)})"
    wet = plan.thermometers_in_water
    rows = [_tell_sensor(sensor, in_water=sensor.name in wet) for sensor in plan.sensor]
    yield from _align([("name", "sends", "can be", "fastest", "stale after", "flat after", "topic"), *rows])


def _tell_sensor(sensor: Sensor, *, in_water: bool) -> tuple[str, ...]:
    unit = _UNIT[sensor.quantity]
    low, high = possible_range(sensor, in_water=in_water)
    fastest, flat_ms = fastest_per_min(sensor, in_water=in_water), flat_after_ms(sensor)
    sends = [f"{sensor.quantity.value} in {sensor.unit}"]
    possible = f"{_number(low)} to {_number(high)} {unit}".rstrip()
    if sensor.quantity is Quantity.SWITCH:
        sends, possible = ["switch"], f"{sensor.on_word} or {sensor.off_word}"
    if sensor.mounted is not None:
        sends.append(sensor.mounted.value)
    return (
        sensor.name,
        ", ".join(sends),
        possible,
        "any" if fastest is None else f"{_number(fastest)} {unit}".rstrip() + "/min",
        f"{_number(stale_after_ms(sensor) / SECOND_MS)} s",
        f"{_number(flat_ms / MINUTE_MS)} min" if flat_ms else "never",
        "entered by hand" if sensor.entered else sensor.topic,
    )


def _tell_water(water: Water, plan: Plan) -> Iterator[str]:
    yield ""
    lives = f", {', '.join(water.presets)}" if water.presets else ""
    holds = "" if water.volume_l is None else f", {_number(water.volume_l)} L"
    yield f'Water "{water.name}" ({water.loop.value}{holds}{lives})'
    if water.fish_kg and water.volume_l is not None:
        per_m3 = 1e3 * water.fish_kg / water.volume_l
        use = per_m3 * water.demand_mg_kg_h / 1e3
        yield (
            f"  {_number(water.fish_kg)} kg of fish, {_number(round(per_m3, 1))} kg/m3; without air they take "
            f"{_number(round(use, 2))} mg/L of oxygen an hour"
        )
        for entry in plan.alarm:
            if entry.sensor == water.oxygen and entry.kind is Kind.LOW and entry.limit is not None:
                harm = entry.limit if entry.harm_at is None else entry.harm_at
                if use > 0 and entry.limit > harm:
                    yield (
                        f"  from {entry.name} at {_number(entry.limit)} mg/L to harm at {_number(harm)} mg/L: "
                        f"{int(60 * (entry.limit - harm) / use)} min without air"
                    )
    names = [recipe.name for recipe in make_recipes(water, elevation_m=plan.site.elevation_m)]
    if names:
        yield f"  derived: {', '.join(names)}"
    if water.mirror:
        yield f"  compared with its mirror {water.mirror}"


def _tell_curtain(curtain: Curtain) -> Iterator[str]:
    yield ""
    yield f'Curtain "{curtain.name}"{" (dry run: only says what it would do)" if curtain.dry_run else ""}'
    yield f"  steered by {curtain.light_sensor}; {curtain.actuator.value} on {curtain.command_topic}"
    yield (
        f"  open to drawn in {_number(curtain.travel_time_s)} s, rest {_number(curtain.dwell_min)} min "
        "between moves, "
        f"at most {curtain.moves_per_day} moves a day and {_number(curtain.duty_s_per_hour)} s of motor "
        "an hour"
    )
    light, heat = curtain.light_ceiling, curtain.hold_heat
    if light is None:
        yield "  no rule against too much light"
    else:
        yield (
            f"  too much light: draws to {_number(light.drawn_percent)} % above "
            f"{_number(light.draw_above_w_m2)} W/m2 "
            f"for {_number(light.draw_delay_min)} min, opens below {_number(light.open_below_w_m2)} W/m2 for "
            f"{_number(light.open_delay_min)} min"
        )
    if heat is None:
        yield "  no rule to hold heat"
    else:
        yield (
            f"  hold heat: while {curtain.inside_temperature} is below {_number(heat.inside_below_c)} C and "
            f"{_number(heat.least_difference_c)} C above {curtain.outside_temperature}; draws when the "
            "sun is under "
            f"{_number(heat.night_below_deg)} deg or the light under {_number(heat.low_light_below_w_m2)} "
            "W/m2"
        )
        yield (
            f"  opens in the morning at {_number(heat.open_least_w_m2)} W/m2 plus "
            f"{_number(heat.open_per_degree_w_m2)} W/m2 per C of difference, at most "
            f"{_number(heat.open_most_w_m2)} W/m2, "
            f"at the latest {_number(heat.latest_after_sunrise_min)} min after sunrise"
        )
    yield from _tell_guards(curtain)


def _tell_guards(curtain: Curtain) -> Iterator[str]:
    storm, hot, cold, gap = curtain.storm_and_snow, curtain.too_hot, curtain.too_cold, curtain.humidity_gap
    if storm is not None:
        where = f"goes to {_number(storm.storm_drawn_percent)} % drawn"
        wind = (
            f" above {_number(storm.storm_above_m_s)} m/s of {storm.wind_sensor}" if storm.wind_sensor else ""
        )
        snow = f" or {storm.snow_sensor} says so" if storm.snow_sensor else ""
        yield f"  storm: {where} when a person says so{' or' + wind if wind else ''}"
        yield f"  snow: opens when a person says so{snow}"
    if hot is not None:
        yield (
            f"  too hot: above {_number(hot.above_c)} C draws to {_number(hot.drawn_percent)} % in light above "
            f"{_number(hot.shade_above_w_m2)} W/m2, else opens"
        )
    if cold is not None:
        yield (
            f"  too cold: draws below {_number(cold.below_c)} C in light below "
            f"{_number(cold.light_below_w_m2)} W/m2"
        )
    if gap is not None:
        yield (
            f"  moist: a gap of {_number(gap.gap_percent)} % for {_number(gap.open_min)} min above "
            f"{_number(gap.above_percent)} % or nearer the dew point than {_number(gap.dew_margin_below_c)} C, at most "
            f"{gap.most_per_day} a day"
        )
    steps, band = curtain.staged_opening, curtain.light_sum
    if steps is not None:
        yield (
            f"  opens in steps of {_number(steps.step_percent)} % when it is more than "
            f"{_number(steps.difference_above_c)} C colder outside"
        )
    for zone in list_bands(curtain) if curtain.zone else ():
        yield (
            f"  day's light for {zone.crop}: {_number(zone.low_mol_m2)} to {_number(zone.high_mol_m2)} mol/m2, reached "
            f"by {_number(zone.light_share)} of the light at the canopy"
        )
    if curtain.zone:
        yield f"  the wish of {list_bands(curtain)[0].crop} rules for the day's light"
    elif band is not None:
        crop = f" for {band.crop}" if band.crop else ""
        yield (
            f"  day's light{crop}: {_number(band.low_mol_m2)} to {_number(band.high_mol_m2)} mol/m2 at the canopy; "
            "shades what would be more"
        )


def _tell_alarms(entries: Sequence[AlarmEntry], units: dict[str, str]) -> Iterator[str]:
    titles = {
        Response.EMERGENCY: "Emergencies: called until answered",
        Response.TODAY: "Today: the person on duty is told",
        Response.NOTE: "Notes: written down",
    }
    for response, title in titles.items():
        mine = sorted(
            (entry for entry in entries if entry.response is response), key=lambda e: e.time_to_respond_min
        )
        if mine:
            yield ""
            yield f"{title} ({len(mine)})"
            yield from _align(
                [("name", "when", "for", "until harm", "first action")]
                + [_tell_entry(entry, units.get(entry.sensor, "")) for entry in mine]
            )


def _tell_entry(entry: AlarmEntry, unit: str) -> tuple[str, ...]:
    match entry.kind:
        case Kind.HIGH | Kind.LOW:
            sign = ">" if entry.kind is Kind.HIGH else "<"
            when = f"{entry.sensor} {sign} {_number(entry.limit or 0.0)} {unit}"
        case Kind.RATE:
            verb = "falls" if (entry.limit or 0.0) < 0 else "rises"
            when = f"{entry.sensor} {verb} by {_number(abs(entry.limit or 0.0))} {unit}/min"
        case Kind.SWITCH:
            when = f"{entry.sensor} is {entry.alarm_when}"
        case Kind.MISSING | Kind.DOUBTFUL:
            when = f"{entry.sensor} is {entry.kind.value}"
        case Kind.DUE:
            when = f"a test of {entry.sensor} is due"
        case Kind.FAULT:
            when = f"trouble with {'' if entry.of is None else entry.of.value}"
    return (
        entry.name,
        when,
        f"{_number(entry.on_delay_s)} s",
        f"{_number(entry.time_to_respond_min)} min",
        entry.action,
    )


def _tell_calls(plan: Plan) -> Iterator[str]:
    yield ""
    yield f"People ({len(plan.person)})"
    yield from _align([(person.name, _tell_ways(person)) for person in plan.person])
    for response, again_min in (
        (Response.EMERGENCY, plan.call_rules.repeat_min),
        (Response.TODAY, plan.call_rules.repeat_today_min),
    ):
        steps = sorted(
            (step for step in plan.call if step.response is response), key=lambda step: step.after_min
        )
        if not steps:
            continue
        yield ""
        yield f"Call list, {response.value}"
        for step in steps:
            ways = ", ".join(way.value for way in step.ways)
            yield f"  after {_number(step.after_min)} min: {', '.join(step.people)} by {ways}"
        yield f"  then the whole list again every {_number(again_min)} min until answered"


def _tell_duty(plan: Plan) -> Iterator[str]:
    """Tell who is on duty when, and when it is quiet."""
    rules = plan.call_rules
    if plan.duty:
        yield ""
        yield f"On duty for what is to be told today ({len(rules.holidays)} holidays known)"
        yield from _align(
            [
                (
                    ", ".join(day.value for day in row.days),
                    f"{row.from_time} to {row.until_time}",
                    row.person + (f", else {row.stand_in}" if row.stand_in else ""),
                )
                for row in plan.duty
            ]
        )
    if rules.quiet_from:
        yield f"Quiet from {rules.quiet_from} to {rules.quiet_to} for what can wait; never for an emergency"


def _tell_proof(plan: Plan) -> Iterator[str]:
    """Tell how the chain is proven, and where the page is."""
    rules, page = plan.supervision, plan.page
    if rules is not None:
        yield (
            f"Test call on {rules.test_day.value} at {rules.test_time}, to be answered within "
            f"{_number(rules.answer_within_min)} min; a path is doubted after {_number(rules.unproven_days)} days"
        )
        if rules.digest_time:
            yield f"The day by mail at {rules.digest_time}"
        if rules.heartbeat_min:
            yield f"A sign of life to the outside every {_number(rules.heartbeat_min)} min"
    if page is not None:
        readers = "whoever reaches it" if page.open_reading else "people with a word of their own"
        yield f"Page on {page.listen} port {page.port}, read by {readers}"


def _tell_ways(person: Person) -> str:
    """Tell how a person is reached; what is in a file stays there."""
    ways = [person.email, person.phone]
    if person.webhook:
        ways.append(f"webhook at {urlsplit(person.webhook).hostname}")
    if person.service_file:
        ways.append(f"service of {person.service_file}")
    return ", ".join(way for way in ways if way)


def _align(rows: Sequence[Sequence[str]]) -> Iterator[str]:
    """Set rows in columns, two spaces apart; the last column is not padded."""
    if not rows:
        return
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    for row in rows:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
        yield "  " + "  ".join(cells).rstrip()
