"""What people are told. Plain words, in the order that gets people moving.

Source, hazard, value and limit, place, time left, first action, since when, code: the parts of a complete
warning after Mileti & Sorensen 1990 (ORNL-6609), with the code that answers it.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from controller.core.alarms.alarm import Alarm
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.sensor import Sensor
from controller.core.signals.sense import Sense
from controller.core.units import KEPT_UNIT, UtcMs
from controller.core.vocabulary import Stamp

SPEAKER = "DUSKBELL"
"""The name every message begins with, so that a phone shows at once who calls."""


def local_time(utc_ms: UtcMs, utc_offset_min: int) -> datetime:
    """Return the site's local time of an instant, for text only."""
    there = timezone(timedelta(minutes=utc_offset_min))
    return datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(there)


def clock_words(utc_ms: UtcMs, stamp: Stamp) -> str:
    """Write an instant as a person reads it, and say so when the clock cannot be trusted."""
    text = f"{local_time(utc_ms, stamp.utc_offset_min):%H:%M %a}"
    return text if stamp.utc_trusted else f"{text} (clock not set)"


def describe_fact(entry: AlarmEntry, sensor: Sensor | None, sense: Sense | None, trouble: str | None) -> str:
    """Say what is the matter, with the value and the limit."""
    if entry.kind is Kind.FAULT:
        return trouble or "over"
    if sensor is None or sense is None:
        return "unknown"
    unit = KEPT_UNIT[sensor.quantity]
    value = "unknown" if sense.value is None else f"{sense.value:.3g} {unit}"
    match entry.kind:
        case Kind.MISSING:
            return (
                f"no reading of {sensor.name} ({sense.why or 'it speaks again'}): value UNKNOWN, not normal"
            )
        case Kind.DOUBTFUL:
            return f"{sensor.name} cannot be trusted: {sense.why or 'it can again'}"
        case Kind.SWITCH:
            return f"{sensor.name} is {'on' if (sense.value or 0.0) >= 0.5 else 'off'}"
        case Kind.RATE:
            return f"{sense.rate_per_min:+.2g} {unit} per min (limit {entry.limit:+g})"
        case _:
            return f"{value} (limit {entry.limit:g})"


def _head(entry: AlarmEntry) -> str:
    """Return the first words: who speaks and how urgent it is."""
    return {
        Response.EMERGENCY: f"{SPEAKER} EMERGENCY",
        Response.TODAY: f"{SPEAKER} TODAY",
        Response.NOTE: f"{SPEAKER} NOTE",
    }[entry.response]


def _place(sensor: Sensor | None, site_name: str) -> str:
    """Return where it is."""
    return f"{sensor.place}, {site_name}" if sensor is not None and sensor.place else site_name


def write_call(
    entry: AlarmEntry, alarm: Alarm, fact: str, *, sensor: Sensor | None, site_name: str, stamp: Stamp
) -> tuple[str, str]:
    """Write the message that asks a person to act; return subject and text."""
    subject = f"{_head(entry)}: {entry.name}, {_place(sensor, site_name)} [{alarm.code}]"
    since = clock_words(alarm.raised_utc_ms, stamp)
    harm = f"Harm in about {entry.time_to_respond_min:g} min."
    if alarm.turn_of_list > 0:
        harm = f"Nobody has answered for {(stamp.house_ms - alarm.ladder_ms) // 60_000} min. {harm}"
    text = (
        f"{_head(entry)}: {entry.name}: {fact}. {_place(sensor, site_name)}. {harm} "
        f"First: {entry.action.rstrip('.')}. Since {since}. Answer with code {alarm.code}."
    )
    return subject, text


def explain_call(entry: AlarmEntry, alarm: Alarm) -> str:
    """Write what a mail has room for besides the message: cause, consequence, how to answer."""
    return (
        f"Usual cause: {entry.cause}\nIf nobody acts: {entry.consequence}\n\n"
        f"To answer (which says: I have it), on the board:\n  duskbell acknowledge {alarm.code}\n"
        "The calls go on until somebody answers. Your own safety first: wet hands and mains do not go together."
    )


def write_answered(entry: AlarmEntry, alarm: Alarm, fact: str, stamp: Stamp) -> tuple[str, str]:
    """Write to the others who has it."""
    who = alarm.answered_by
    text = (
        f"{SPEAKER} ANSWERED: {entry.name} [{alarm.code}]: {who} has it since {clock_words(stamp.utc_ms, stamp)}. "
        f"Now: {fact}. You need not act unless {who} asks. "
        f"It sounds again after {entry.sound_again_min:g} min if still wrong."
    )
    return f"{SPEAKER} ANSWERED: {entry.name} [{alarm.code}], by {who}", text


def write_over(entry: AlarmEntry, alarm: Alarm, fact: str, stamp: Stamp) -> tuple[str, str]:
    """Write that it is over."""
    lasted_min = (stamp.house_ms - alarm.raised_ms) // 60_000
    answered = (
        f"Answered by {alarm.answered_by}."
        if alarm.answered_by
        else f"Nobody has answered yet: code {alarm.code}."
    )
    text = (
        f"{SPEAKER} OVER: {entry.name} [{alarm.code}]: {fact} at {clock_words(stamp.utc_ms, stamp)}. "
        f"It lasted {lasted_min} min. {answered}"
    )
    return f"{SPEAKER} OVER: {entry.name} [{alarm.code}]", text
