"""What people are told. Plain words, in the order that gets people moving.

Source, hazard, value and limit, place, time left, first action, since when, code: the parts of a complete
warning after Mileti & Sorensen 1990 (ORNL-6609), with the code that answers it. The fixed phrases come from
`core/plan/phrases.py`, which a catalogue may translate.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.lifecycle import PAST
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.plan.sensor import Sensor
from controller.core.signals.sense import Sense
from controller.core.units import KEPT_UNIT, MINUTE_MS, UtcMs
from controller.core.vocabulary import Stamp, Trust
from controller.core.water.diagnosis import Finding
from controller.core.water.outlook import Outlook

SPEAKER = "DUSKBELL"
"""The name every message begins with, so that a phone shows at once who calls."""


MINUTES_SHOWN_MOST = 120.0
"""Above this a span of time is written in hours. [min]"""


def local_time(utc_ms: UtcMs, utc_offset_min: int) -> datetime:
    """Return the site's local time of an instant, for text only."""
    there = timezone(timedelta(minutes=utc_offset_min))
    return datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(there)


def clock_words(utc_ms: UtcMs, stamp: Stamp, phrases: Phrases = ENGLISH) -> str:
    """Write an instant as a person reads it, and say so when the clock cannot be trusted."""
    at = local_time(utc_ms, stamp.utc_offset_min)
    text = f"{at:%H:%M} {phrases.weekdays.split()[at.weekday()]}"
    return text if stamp.utc_trusted else phrases.clock_not_set.format(time=text)


def span_words(minutes: float, phrases: Phrases = ENGLISH) -> str:
    """Write a span of time [min]: in minutes up to two hours, then in hours."""
    if minutes > MINUTES_SHOWN_MOST:
        hours = minutes / 60.0
        return phrases.span_hours.format(hours=f"{round(hours, 1):g}" if hours < 10.0 else f"{hours:.0f}")
    return phrases.span_minutes.format(minutes=f"{minutes:.0f}" if minutes >= 10.0 else f"{minutes:.2g}")


def pad_number(value: float) -> str:
    """Write a value with three figures, noughts at the end and all: as long as numbers of its size can get."""
    size = abs(value)
    decimals = 4 if 0.0 < size < 0.1 else 2 if size < 10.0 else 1 if size < 100.0 else 0
    return f"{value:.{decimals}f}"


def write_number(value: float) -> str:
    """Write a value with three figures, never with an exponent: 0.0254, 3.1, 31.2, 312; mail and text say the same."""
    text = pad_number(value)
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def describe_fact(
    entry: AlarmEntry,
    sensor: Sensor | None,
    sense: Sense | None,
    trouble: str | None,
    phrases: Phrases = ENGLISH,
) -> str:
    """Say what is the matter, with the value and the limit."""
    if entry.kind is Kind.FAULT:
        return trouble or phrases.over
    if sensor is None or sense is None:
        return phrases.unknown
    unit = KEPT_UNIT[sensor.quantity]
    value = phrases.unknown if sense.value is None else f"{write_number(sense.value)} {unit}"
    match entry.kind:
        case Kind.MISSING:
            silent = sense.trust in {Trust.STALE, Trust.MISSING}
            phrase = phrases.no_reading if silent else phrases.speaks_again
            return phrase.format(sensor=sensor.name, why=sense.why, value=value)
        case Kind.DOUBTFUL:
            phrase = phrases.can_again if sense.trust is Trust.GOOD else phrases.doubtful
            return phrase.format(sensor=sensor.name, why=sense.why, value=value)
        case Kind.DUE:
            return phrases.due.format(sensor=sensor.name, value=value)
        case Kind.SWITCH:
            text = phrases.switch_on if (sense.value or 0.0) >= 0.5 else phrases.switch_off
            return text.format(sensor=sensor.name)
        case Kind.RATE:
            return phrases.rate.format(value=f"{sense.rate_per_min:+.2g} {unit}", limit=f"{entry.limit:+g}")
        case _:
            return phrases.with_limit.format(value=value, limit=f"{entry.limit:g}")


def write_head(response: Response, phrases: Phrases = ENGLISH) -> str:
    """Return the first words: who speaks and how urgent it is."""
    word = {
        Response.EMERGENCY: phrases.emergency,
        Response.TODAY: phrases.today,
        Response.NOTE: phrases.note,
    }[response]
    return f"{SPEAKER} {word}"


def _place(sensor: Sensor | None, site_name: str) -> str:
    """Return where it is."""
    return f"{sensor.place}, {site_name}" if sensor is not None and sensor.place else site_name


def write_call(  # noqa: PLR0913 - one message from all that it says
    entry: AlarmEntry,
    alarm: Alarm,
    fact: str,
    *,
    sensor: Sensor | None,
    site_name: str,
    stamp: Stamp,
    phrases: Phrases = ENGLISH,
    hidden: Sequence[str] = (),
    outlook: Outlook | None = None,
) -> tuple[str, str]:
    """Write the message that asks a person to act; return subject and text.

    `hidden` names what follows from it and is not called because of it. `outlook` is the time left as it is
    reckoned now; without one the time of the alarm list stands.
    """
    head, place = write_head(entry.response, phrases), _place(sensor, site_name)
    subject = f"{head}: {entry.name}, {place} [{alarm.code}]"
    past = alarm.phase in PAST
    harm = [phrases.over_unanswered if past else _write_harm(entry, alarm, outlook, phrases, stamp)]
    unanswered_min = (stamp.house_ms - alarm.ladder_ms) // MINUTE_MS
    if alarm.turn_of_list > 0 and unanswered_min > 0:
        harm.insert(0, phrases.nobody.format(span=span_words(unanswered_min, phrases)))
    if alarm.lapsed_by:
        harm.insert(0, phrases.lapsed.format(person=alarm.lapsed_by))
    text = phrases.call.format(
        head=head,
        name=entry.name,
        fact=fact,
        place=place,
        harm=" ".join(harm),
        action=entry.action.rstrip("."),
        since=clock_words(alarm.raised_utc_ms, stamp, phrases),
        code=alarm.code,
    )
    return subject, f"{text} {phrases.hides.format(names=', '.join(hidden))}" if hidden else text


def _write_harm(
    entry: AlarmEntry, alarm: Alarm, outlook: Outlook | None, phrases: Phrases, stamp: Stamp
) -> str:
    """Say how long there is: as reckoned from the water now, else what is left of the time in the alarm list."""
    if outlook is None or outlook.minutes is None:
        gone_min = (stamp.house_ms - alarm.raised_ms) / MINUTE_MS
        left = entry.time_to_respond_min - max(0.0, gone_min)
        if left < 1.0:
            return phrases.harm_due.format(span=span_words(entry.time_to_respond_min, phrases))
        return phrases.harm.format(span=span_words(left, phrases))
    if outlook.minutes <= 0.0:
        return phrases.harm_now
    return phrases.harm_live.format(minutes=outlook.write_left(), why=outlook.because)


def how_to_answer(code: str, *, number: str = "", address: str = "", phrases: Phrases = ENGLISH) -> str:
    """Write how to answer from where the person is: by text, on the page, on the board; not by a reply to the mail.

    `number` is the modem's and `address` the page's; where there is none nothing is said of that way.
    """
    lines = [phrases.to_answer]
    if number:
        lines.append(phrases.answer_by_text.format(code=code, number=number))
    if address:
        lines.append(phrases.answer_by_page.format(code=code, address=address))
    return "\n".join([*lines, phrases.answer_by_command.format(code=code), phrases.answer_not_by_mail])


def explain_call(
    entry: AlarmEntry, answers: str, phrases: Phrases = ENGLISH, findings: Sequence[Finding] = ()
) -> str:
    """Write what a mail has room for besides the message: what is likely, cause, consequence, how to answer."""
    text = phrases.explain.format(cause=entry.cause, consequence=entry.consequence, answers=answers)
    return "\n".join([*(finding.describe() for finding in findings), text])


def write_answered(
    entry: AlarmEntry, alarm: Alarm, fact: str, stamp: Stamp, phrases: Phrases = ENGLISH
) -> tuple[str, str]:
    """Write to the others who has it."""
    text = phrases.answered.format(
        name=entry.name,
        code=alarm.code,
        person=alarm.answered_by,
        since=clock_words(stamp.utc_ms, stamp, phrases),
        fact=fact,
        span=span_words(entry.sound_again_min, phrases),
    )
    subject = phrases.answered_subject.format(name=entry.name, code=alarm.code, person=alarm.answered_by)
    return f"{SPEAKER} {subject}", f"{SPEAKER} {text}"


def write_over(
    entry: AlarmEntry, alarm: Alarm, fact: str, stamp: Stamp, phrases: Phrases = ENGLISH
) -> tuple[str, str]:
    """Write that it is over."""
    if alarm.answered_by:
        answer = phrases.answered_by.format(person=alarm.answered_by)
    else:
        answer = phrases.not_answered.format(code=alarm.code)
    text = phrases.is_over.format(
        name=entry.name,
        code=alarm.code,
        fact=fact,
        time=clock_words(stamp.utc_ms, stamp, phrases),
        span=span_words((stamp.house_ms - alarm.raised_ms) // MINUTE_MS, phrases),
        answer=answer,
    )
    return f"{SPEAKER} {phrases.over_subject.format(name=entry.name, code=alarm.code)}", f"{SPEAKER} {text}"


def write_restarted(
    away_ms: int | None, names: Sequence[str], stamp: Stamp, phrases: Phrases = ENGLISH
) -> str:
    """Write that Duskbell has begun again, how long it was away, and what is still open."""
    text = phrases.restarted.format(
        time=clock_words(stamp.utc_ms, stamp, phrases),
        span=phrases.away_unknown if away_ms is None else span_words(round(away_ms / MINUTE_MS), phrases),
        count=len(names),
        names=", ".join(names) or phrases.none_open,
    )
    return f"{SPEAKER} {text}"
