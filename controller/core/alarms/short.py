"""A call as one text message: all its parts, and how long it can get.

Of the parts of a warning only place and the words of a fault may be cut; hazard, value, action and code never
are. An entry whose longest message would not fit is refused when the settings load.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from functools import partial
from typing import Final, NamedTuple

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.lifecycle import PAST
from controller.core.alarms.septets import ONE_MESSAGE, count_septets
from controller.core.alarms.wording import (
    MINUTES_SHOWN_MOST,
    local_time,
    pad_number,
    write_head,
    write_number,
)
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.plan.sensor import Sensor
from controller.core.plan.sensor_defaults import possible_range
from controller.core.signals.sense import Sense
from controller.core.units import KEPT_UNIT, MINUTE_MS
from controller.core.vocabulary import Stamp
from controller.core.water.outlook import Outlook

FAULT_ROOM: Final = 24
"""Septets that are always left for what a part of Duskbell says of itself."""


ABOUT_THE_SENSOR: Final = frozenset({Kind.DOUBTFUL, Kind.SWITCH})
"""Kinds whose fact says something of the sensor; the name of the alarm before it would say it twice, or wrongly."""


class Listed(NamedTuple):
    """One alarm of a flood, as it is listed."""

    name: str
    code: str
    action: str


def write_short(
    entry: AlarmEntry,
    alarm: Alarm,
    *,
    sensor: Sensor | None,
    sense: Sense | None,
    trouble: str | None,
    stamp: Stamp,
    phrases: Phrases = ENGLISH,
    outlook: Outlook | None = None,
) -> str:
    """Write the call as one text message of at most 160 septets, if the settings have passed the check."""
    at = local_time(alarm.raised_utc_ms, stamp.utc_offset_min)
    since = f"{at:%H:%M}?"
    if stamp.utc_trusted:
        since = f"{at:%H:%M} {phrases.weekdays.split()[at.weekday()]}"
    left_min = entry.time_to_respond_min - (stamp.house_ms - alarm.raised_ms) / MINUTE_MS
    if outlook is not None and outlook.least_minutes is not None:
        # What is reckoned from the water now is better than what the alarm list supposed; of a trend, which has
        # no room for both its bounds here, the sooner one, as nobody is promised more than there is.
        left_min = outlook.least_minutes
    template = _find_template(alarm, phrases)
    name = _name_of(entry, sensor, template, phrases)
    fill = partial(
        _fill,
        entry,
        since=since,
        left=_write_left(left_min, phrases),
        code=alarm.code,
        name=name,
        template=template,
        phrases=phrases,
    )
    return _fit(entry, _short_fact(entry, sensor, sense, trouble, phrases), _place_of(name, sensor), fill)


def _find_template(alarm: Alarm, phrases: Phrases) -> str:
    """Return the phrase for how the alarm stands: over, sounding again, or for the first time."""
    if alarm.phase in PAST:
        return phrases.short_returned
    return phrases.short_lapsed if alarm.lapsed_by else phrases.short


def longest_short(entry: AlarmEntry, sensor: Sensor | None, phrases: Phrases = ENGLISH) -> int:
    """Return the septets of the entry's longest text message, with every part at its longest."""
    since = f"00:00 {max(phrases.weekdays.split(), key=count_septets)}"
    left = max(
        phrases.left_none,
        _write_left(entry.time_to_respond_min, phrases),
        _write_left(MINUTES_SHOWN_MOST, phrases),
        key=count_septets,
    )
    return max(
        count_septets(
            _fill(
                entry,
                _longest_fact(entry, sensor, phrases),
                _place_of(name, sensor),
                since=since,
                left=left,
                code="0000",
                name=name,
                template=template,
                phrases=phrases,
            )
        )
        for template in (phrases.short, phrases.short_lapsed, phrases.short_returned)
        for name in (_name_of(entry, sensor, template, phrases),)
    )


def _name_of(entry: AlarmEntry, sensor: Sensor | None, template: str, phrases: Phrases) -> str:
    """Return of what the fact is said: the alarm, or the sensor where the fact is about it ("air pump is off").

    What is over keeps the name of the alarm, for it is the alarm that is over.
    """
    if sensor is None or entry.kind not in ABOUT_THE_SENSOR or template == phrases.short_returned:
        return entry.name
    return sensor.name


def _place_of(name: str, sensor: Sensor | None) -> str:
    """Return the place, unless the name that is said says it already."""
    place = "" if sensor is None else sensor.place
    return "" if place.casefold() in name.casefold() else f", {place}"


def _write_left(left_min: float, phrases: Phrases) -> str:
    """Write how much time is left until harm."""
    if left_min < 1.0:
        return phrases.left_none
    if left_min <= MINUTES_SHOWN_MOST:
        return phrases.left_minutes.format(minutes=int(left_min))
    return phrases.left_hours.format(hours=int(left_min / 60.0))


def _short_fact(
    entry: AlarmEntry, sensor: Sensor | None, sense: Sense | None, trouble: str | None, phrases: Phrases
) -> str:
    """Say what is the matter in as few words as it takes."""
    if entry.kind is Kind.FAULT:
        return trouble or phrases.over
    if entry.kind is Kind.MISSING:
        return phrases.short_missing
    if entry.kind is Kind.DUE:
        return phrases.short_due
    if sensor is None or sense is None or sense.value is None:
        return phrases.unknown
    unit = KEPT_UNIT[sensor.quantity]
    limit = entry.limit or 0.0
    match entry.kind:
        case Kind.DOUBTFUL:
            return phrases.short_doubtful
        case Kind.SWITCH:
            return phrases.short_on if sense.value >= 0.5 else phrases.short_off
        case Kind.RATE:
            value = f"{_write_rate(sense.rate_per_min)} {unit}/min"
            return phrases.short_limit.format(value=value, limit=f"{limit:+g}")
        case _:
            value = f"{write_number(sense.value)} {unit}"
            return phrases.short_limit.format(value=value, limit=f"{limit:g}")


def _write_rate(rate: float) -> str:
    """Write a rate with its sign and two figures after the point, or none where it is large."""
    return f"{rate:+.2f}" if abs(rate) < 100 else f"{rate:+.0f}"


def _longest_fact(entry: AlarmEntry, sensor: Sensor | None, phrases: Phrases) -> str:
    """Return a fact as long as it can get."""
    match entry.kind:
        case Kind.FAULT:
            return "x" * FAULT_ROOM
        case Kind.MISSING:
            return phrases.short_missing
        case Kind.DOUBTFUL:
            return max(phrases.short_doubtful, phrases.unknown, key=count_septets)
        case Kind.DUE:
            return phrases.short_due
        case Kind.SWITCH:
            return max(phrases.short_on, phrases.short_off, phrases.unknown, key=count_septets)
        case _:
            pass
    if sensor is None:
        return phrases.unknown
    unit = KEPT_UNIT[sensor.quantity]
    if entry.kind is Kind.RATE:
        return phrases.short_limit.format(value=f"-99.99 {unit}/min", limit=f"{entry.limit or 0.0:+g}")
    low, high = possible_range(sensor)
    longest = max((pad_number(low), pad_number(high), "-0.0999" if low < 0 else "0.0999"), key=len)
    return phrases.short_limit.format(value=f"{longest} {unit}", limit=f"{entry.limit or 0.0:g}")


def _fill(  # noqa: PLR0913 - one message from all that it says
    entry: AlarmEntry,
    fact: str,
    place: str,
    *,
    since: str,
    left: str,
    code: str,
    name: str,
    template: str,
    phrases: Phrases,
) -> str:
    """Fill the template."""
    return template.format(
        head=write_head(entry.response, phrases),
        name=name,
        fact=fact,
        place=place,
        since=since,
        left=left,
        action=entry.action.rstrip("."),
        code=code,
    )


def _fit(entry: AlarmEntry, fact: str, place: str, fill: Callable[[str, str], str]) -> str:
    """Fill the template, and cut place, then the words of a fault, until it fits."""
    text = fill(fact, place)
    if count_septets(text) <= ONE_MESSAGE:
        return text
    text = fill(fact, "")
    if entry.kind is Kind.FAULT:
        fact = " ".join(fact.split())
        while count_septets(text) > ONE_MESSAGE and fact:
            fact = fact[:-1].rstrip()
            text = fill(fact, "")
    return text


def write_flood(
    response: Response, alarms: Sequence[Listed], *, septets_most: int, phrases: Phrases = ENGLISH
) -> str:
    """Write many alarms as one message: the first with its action, then as many names and codes as fit.

    The caller puts emergencies first, causes before what follows from them.
    """
    first, rest = alarms[0], alarms[1:]
    listed: list[str] = []
    text = ""
    for count in range(len(rest) + 1):
        listed = [f"{each.name} {each.code}" for each in rest[:count]]
        left = len(rest) - count
        more = [phrases.and_more.format(count=left)] if left else []
        longer = phrases.flood.format(
            head=write_head(response, phrases),
            count=len(alarms),
            name=first.name,
            code=first.code,
            action=first.action.rstrip("."),
            others=", ".join([*listed, *more]) or phrases.none_open,
        )
        if text and count_septets(longer) > septets_most:
            # Without the tail "and 1 more" a longer list may still fit; it is tried to the end.
            continue
        text = longer
    return text


def ask_no_reply(text: str, phrases: Phrases = ENGLISH) -> str:
    """Take the words that ask for a reply out of a text message, and leave the code."""
    lead = phrases.short.rpartition("{code}")[0].rpartition(". ")[2]
    if not lead.strip():
        return text
    barred = re.sub(
        rf"{re.escape(lead)}([0-9]{{4}})", lambda found: phrases.short_barred.format(code=found[1]), text
    )
    return (
        barred if count_septets(barred) <= max(ONE_MESSAGE, count_septets(text)) else text.replace(lead, "")
    )
