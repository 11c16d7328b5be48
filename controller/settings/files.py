"""The files that the settings name and that say something themselves: public holidays, and another language."""

from __future__ import annotations

import string
import tomllib
from datetime import date, datetime, timedelta
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, Final

from controller.core.alarms.notices import longest_notices, longest_of_the_house
from controller.core.alarms.septets import ONE_MESSAGE
from controller.core.alarms.short import longest_short
from controller.core.alarms.unknowns import find_first_emergencies, list_unknowns
from controller.core.plan.people import Way
from controller.core.plan.phrases import Phrases
from controller.core.roll import call_roll
from controller.settings.checks.roster import find_gap
from controller.settings.letters import check_letters
from controller.settings.plain_file import read_plain
from controller.settings.problems import Fault, describe_unknown
from controller.settings.words import label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from controller.core.plan.alarm import AlarmEntry, Response
    from controller.core.plan.plan import Plan
    from controller.core.roll import Roll

MOST_BYTES: Final = 1_000_000
"""A file of holidays is some kilobytes, a catalogue less."""

LAST_YEAR: Final = 2100
"""Holidays that come again every year are written out until then."""

MOST_HOLIDAYS: Final = 4000
"""More days than this are no public holidays."""


def add_files(plan: Plan, folder: FilePath, *, today: date | None = None) -> tuple[Plan, list[Fault]]:
    """Take in what the named files say, and check what hangs on it; names are relative to the settings' folder.

    Holidays before `today` are past and refuse nothing; None looks at all of them.
    """
    faults: list[Fault] = []
    rules = plan.call_rules
    if rules.holidays_file:
        found = read_holidays(folder / rules.holidays_file)
        if isinstance(found, str):
            faults.append(Fault(("call_rules", "holidays_file"), f"call_rules: `holidays_file`: {found}"))
        else:
            days = tuple(dict.fromkeys((*rules.holidays, *found)))
            plan = plan.model_copy(update={"call_rules": rules.model_copy(update={"holidays": days})})
            gap = find_gap(plan.duty, days, plan.person, today=today) if plan.duty else None
            if gap is not None:
                faults.append(Fault(("duty", 0), gap))
    if plan.site.language_file:
        phrases = read_catalogue(folder / plan.site.language_file)
        if isinstance(phrases, Phrases):
            plan = plan.with_phrases(phrases)
        else:
            faults += [Fault(("site", "language_file"), f"site: `language_file`: {text}") for text in phrases]
    return plan, [*faults, *check_lengths(plan), *check_letters(plan)]


def check_lengths(plan: Plan) -> Iterator[Fault]:
    """Refuse entries whose text message could be longer than one message holds."""
    roll = call_roll(plan)
    by_text = {step.response for step in plan.call if Way.TEXT in step.ways}
    for index, entry in enumerate(plan.alarm):
        if entry.response not in by_text:
            continue
        longest = longest_short(entry, roll.sensors.get(entry.sensor), plan.phrases)
        if longest > ONE_MESSAGE:
            yield Fault(
                ("alarm", index, "action"),
                f"{label('alarm', entry.name)}: its text message can take {longest} of {ONE_MESSAGE} characters; "
                f"shorten `name`, `action` or the sensor's `name` or `place` by {longest - ONE_MESSAGE}",
            )
    yield from _check_added(plan, roll, by_text)
    if by_text:
        yield from _check_notices(plan, roll.entries.values())


def _check_added(plan: Plan, roll: Roll, by_text: set[Response]) -> Iterator[Fault]:
    """Refuse a sensor whose place and name, in the words of a catalogue, make the call that it is unknown too long."""
    places = {entry.sensor: plan.alarm.index(entry) for entry in find_first_emergencies(plan.alarm)}
    for entry in list_unknowns(plan.alarm, plan.sensor):
        longest = longest_short(entry, roll.sensors.get(entry.sensor), plan.phrases)
        if longest > ONE_MESSAGE and entry.response in by_text:
            yield Fault(
                ("alarm", places[entry.sensor], "sensor"),
                f"{label('alarm', entry.name)} (built in): its text message can take {longest} of {ONE_MESSAGE} "
                f"characters; shorten the sensor's `name` or `place` by {longest - ONE_MESSAGE}, or write an entry of "
                f"kind {write_value(entry.kind.value)} for it",
            )


def _check_notices(plan: Plan, entries: Iterable[AlarmEntry]) -> Iterator[Fault]:
    """Refuse what is told besides the calls where it could be longer than one message holds."""
    catalogue = ("site", "language_file")
    places = {entry.name: index for index, entry in enumerate(plan.alarm)}
    persons = [person.name for person in plan.person]
    for entry in entries:
        key, longest = max(longest_notices(entry, persons, plan.phrases).items(), key=lambda each: each[1])
        if longest > ONE_MESSAGE:
            mine = entry.name in places
            yield Fault(
                ("alarm", places[entry.name], "name") if mine else catalogue,
                f"{label('alarm', entry.name)}: the text message `{key}` about it can take {longest} of "
                f"{ONE_MESSAGE} characters; shorten `name` or that phrase by {longest - ONE_MESSAGE}",
            )
    for key, longest in longest_of_the_house(plan.phrases).items():
        if longest > ONE_MESSAGE:
            yield Fault(
                catalogue,
                f"site: the phrase `{key}` can take {longest} of {ONE_MESSAGE} characters as a text message; "
                f"shorten it by {longest - ONE_MESSAGE}",
            )


# --- another language -----------------------------------------------------------------------------------


def read_catalogue(path: FilePath) -> Phrases | list[str]:
    """Read a catalogue of phrases, or say everything that is wrong with it."""
    try:
        content = read_plain(path, MOST_BYTES + 1)
        document = tomllib.loads(content[:MOST_BYTES].decode("utf-8"))
    except (OSError, ValueError) as error:
        return [f"{path} cannot be read: {getattr(error, 'strerror', None) or error}"]
    wrong: list[str] = []
    for name, text in document.items():
        field = Phrases.model_fields.get(name)
        if field is None:
            wrong.append(f"unknown phrase `{name}`; {describe_unknown(name, list(Phrases.model_fields))}")
        elif not isinstance(text, str) or not text.strip():
            wrong.append(f"`{name}` is {write_value(text)}, a text in quotes is needed")
        else:
            wrong.extend(_check_phrase(name, text, str(field.default)))
    return wrong or Phrases(**document)


def _check_phrase(name: str, text: str, english: str) -> Iterator[str]:
    """Ask for the same words in braces as the English phrase has."""
    wanted = _words_in_braces(english)
    found = _words_in_braces(text)
    if found is None or found != wanted:
        braces = ", ".join(f"{{{word}}}" for word in sorted(wanted or ())) or "no words in braces"
        yield f"`{name}` must hold {braces} and no others, each plain"
    elif name in {"weekdays", "months"} and len(text.split()) != len(english.split()):
        yield f"`{name}` must be {'seven' if name == 'weekdays' else 'twelve'} words with blanks between"


def _words_in_braces(text: str) -> set[str] | None:
    """Find the words in braces; None if there is anything but plain words in them."""
    words: set[str] = set()
    try:
        for _, word, form, conversion in string.Formatter().parse(text):
            if word is None:
                continue
            if form or conversion or not word.isidentifier():
                return None
            words.add(word)
    except ValueError:
        return None
    return words


# --- public holidays ------------------------------------------------------------------------------------


def read_holidays(path: FilePath) -> tuple[str, ...] | str:
    """Read the days of an iCalendar file (RFC 5545), each as 2026-12-25, or say what is wrong with it."""
    from icalendar import Calendar  # noqa: PLC0415 - few houses have such a file, and it takes time to load

    try:
        content = read_plain(path, MOST_BYTES + 1)
        if len(content) > MOST_BYTES:
            return f"{path} is larger than {MOST_BYTES} bytes, so it is no file of holidays"
        calendar = Calendar.from_ical(content)
        days: set[date] = set()
        for event in calendar.walk("VEVENT"):
            if str(event.get("STATUS", "")).upper() != "CANCELLED":
                days.update(_days_of(event))
    except OSError as error:
        return f"{path} cannot be read: {error.strerror or error}"
    except (ValueError, KeyError, TypeError, AttributeError, IndexError, OverflowError) as error:
        return f"{path} is no iCalendar file with days: {error}"
    if not days:
        return f"{path} holds no day"
    if len(days) > MOST_HOLIDAYS:
        return f"{path} holds {len(days)} days; these are no public holidays"
    return tuple(day.isoformat() for day in sorted(days))


def _days_of(event: Any) -> Iterator[date]:  # noqa: ANN401 - a component of a calendar, of many types
    """List the days of one event: from its start until before its end, each time it comes again."""
    from dateutil.rrule import rrulestr  # noqa: PLC0415 - the same

    start = _to_day(event["DTSTART"].dt)
    length = 1
    if "DTEND" in event:
        length = max((_to_day(event["DTEND"].dt) - start).days, 1)
    elif "DURATION" in event:
        length = max(event["DURATION"].dt.days, 1)
    starts = [start]
    if "RRULE" in event:
        rule = rrulestr(
            event["RRULE"].to_ical().decode(), dtstart=datetime.combine(start, datetime.min.time())
        )
        starts = []
        for at in rule:
            if at.year > LAST_YEAR or len(starts) > MOST_HOLIDAYS:
                break
            starts.append(at.date())
    excepted = event.get("EXDATE", [])
    excepted = excepted if isinstance(excepted, list) else [excepted]
    left_out = {_to_day(each.dt) for dates in excepted for each in dates.dts}
    for first in starts:
        if first not in left_out:
            yield from (first + timedelta(days=offset) for offset in range(min(length, 366)))


def _to_day(at: date | datetime) -> date:
    """Return the day of a date or an instant."""
    return at.date() if isinstance(at, datetime) else at
