"""The roster, holidays and absences: every hour of the year has somebody, and nobody is called who is away."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.alarms.roster import EPOCH, find_on_duty, make_roster, read_day, read_span, write_day
from controller.core.alarms.wall import EPOCH_WEEKDAY, Wall
from controller.core.plan.alarm import Response
from controller.core.plan.duty import DAY_MINUTES, Duty, read_minute
from controller.core.plan.people import CallRules, Person, Way
from controller.settings.checks.people import ADDRESS_KEY
from controller.settings.problems import Fault
from controller.settings.words import label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from datetime import date

    from controller.core.alarms.roster import Roster
    from controller.settings.draft import Draft

DAYS_LOOKED_AT_MOST: Final = 800
"""Days of absence and holidays that are looked at one by one; two years and some. [days]"""

WEEKDAYS: Final = ("Mondays", "Tuesdays", "Wednesdays", "Thursdays", "Fridays", "Saturdays", "Sundays")

TIME_ALLOWED: Final = "allowed is a local time such as 17:00"


def check_roster(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in the roster, in absences, holidays and quiet hours, and any hour without anybody."""
    rows = draft.every("duty", Duty)
    for row in rows:
        for key, text in _check_row(row.part, draft):
            yield Fault((*row.path, key), f"duty: {text}")
    for placed in draft.people:
        for index, span in enumerate(placed.part.away):
            if read_span(span) is None:
                yield Fault(
                    (*placed.path, "away", index),
                    f"{label('person', placed.part.name)}: `away` has {write_value(span)}, allowed is a day such as "
                    "2026-08-01 or a first and a last day such as 2026-08-01/2026-08-14",
                )
    yield from _check_rules(draft)
    if draft.is_whole("person") and draft.is_whole("call"):
        yield from _check_absence(draft)
        if rows and draft.is_whole("duty") and draft.is_whole("call_rules"):
            yield from _check_gaps(draft, [row.part for row in rows], holidays=_holidays(draft))


def _check_row(duty: Duty, draft: Draft) -> Iterator[tuple[str, str]]:
    if not duty.days:
        yield "days", "`days` is empty, at least one is needed"
    for key in ("from_time", "until_time"):
        minute = read_minute(getattr(duty, key))
        if minute is None or (key == "from_time" and minute == DAY_MINUTES):
            yield key, f"`{key}` is {write_value(getattr(duty, key))}, {TIME_ALLOWED}"
    ways = _ways_of_today(draft)
    for key in ("person", "stand_in"):
        name = getattr(duty, key)
        if not name and key == "stand_in":
            continue
        if not draft.has_name("person", name):
            yield key, f"`{key}`: {draft.describe_name('person', name)}"
            continue
        person = draft.find_person(name)
        if person is not None and ways and not any(getattr(person, ADDRESS_KEY[way]) for way in ways):
            listed = ", ".join(way.value for way in ways)
            yield (
                key,
                (
                    f"`{key}`: {write_value(name)} has no address for the ways of the first step of today ({listed})"
                ),
            )
    if duty.stand_in and duty.stand_in == duty.person:
        yield "stand_in", "`stand_in` is the person themselves; name somebody else or leave it out"


def _ways_of_today(draft: Draft) -> tuple[Way, ...]:
    steps = [placed.part for placed in draft.steps if placed.part.response is Response.TODAY]
    return min(steps, key=lambda step: step.after_min).ways if steps else ()


def _check_rules(draft: Draft) -> Iterator[Fault]:
    """Check quiet hours and holidays."""
    for placed in draft.every("call_rules", CallRules):
        rules = placed.part
        for key, other in (("quiet_from", "quiet_to"), ("quiet_to", "quiet_from")):
            text = getattr(rules, key)
            if text and read_minute(text) is None:
                yield Fault(
                    (*placed.path, key), f"call_rules: `{key}` is {write_value(text)}, {TIME_ALLOWED}"
                )
            elif text and not getattr(rules, other):
                yield Fault((*placed.path, key), f"call_rules: `{key}` is set, so `{other}` is needed too")
        for index, day in enumerate(rules.holidays):
            if read_day(day) is None:
                yield Fault(
                    (*placed.path, "holidays", index),
                    f"call_rules: `holidays` has {write_value(day)}, allowed is a day such as 2026-12-25",
                )


def _holidays(draft: Draft) -> tuple[str, ...]:
    """List the holidays that stand in the settings; those of a file are looked at when it has been read."""
    return tuple(day for placed in draft.every("call_rules", CallRules) for day in placed.part.holidays)


def _check_absence(draft: Draft) -> Iterator[Fault]:
    """Refuse a day on which everybody who is called in an emergency is away."""
    people = [placed.part for placed in draft.people]
    called = {
        name
        for placed in draft.steps
        if placed.part.response is Response.EMERGENCY
        for name in placed.part.people
    }
    if not called:
        return
    day = find_day_alone(called, people, today=draft.today)
    if day is not None:
        first = next(placed for placed in draft.people if placed.part.name in called)
        yield Fault(
            (*first.path, "away"),
            f"people: on {day} from 00:00 everybody who is called in an emergency is away; one must be there",
        )


def find_day_alone(called: Iterable[str], people: Iterable[Person], *, today: date | None) -> str | None:
    """Find the first day, not before `today`, on which all who are `called` are away; None if there is none."""
    roster, names = make_roster((), (), people), tuple(called)
    alone = (day for day in _days_away(roster, today) if all(roster.is_away(name, day) for name in names))
    day = next(alone, None)
    return None if day is None else write_day(day)


def _days_away(roster: Roster, today: date | None) -> list[int]:
    """List the days of absence that are not past, as many as are looked at."""
    since = None if today is None else today.toordinal() - EPOCH
    days = {
        day
        for spans in roster.away.values()
        for first, last in spans
        for day in range(first if since is None else max(first, since), last + 1)
    }
    return sorted(days)[:DAYS_LOOKED_AT_MOST]


def _check_gaps(draft: Draft, rows: Sequence[Duty], *, holidays: tuple[str, ...]) -> Iterator[Fault]:
    text = find_gap(rows, holidays, [placed.part for placed in draft.people], today=draft.today)
    if text is not None:
        yield Fault(draft.every("duty", Duty)[0].path, text)


def find_gap(
    rows: Sequence[Duty], holidays: Sequence[str], people: Sequence[Person], *, today: date | None = None
) -> str | None:
    """Find the first hour of the year in which nobody is on duty, and say so; None if there is none.

    An ordinary week is looked at minute by minute, and so is every holiday and day of absence with the day
    after it, for a row may run past midnight. What is before `today` is past; None looks at all.
    """
    roster = make_roster(rows, holidays, people)
    since = 0 if today is None else today.toordinal() - EPOCH
    ahead = [day for day in roster.holidays if day >= since]
    special = {each + after for each in (*ahead, *_days_away(roster, today)) for after in (0, 1)}
    monday = 400 * 7 - EPOCH_WEEKDAY
    while any(
        day in roster.holidays or any(roster.is_away(name, day) for name in roster.away)
        for day in range(monday - 1, monday + 7)
    ):
        monday += 7
    for day in (*range(monday, monday + 7), *sorted(special)[:DAYS_LOOKED_AT_MOST]):
        minute = _find_empty_minute(roster, day)
        if minute is not None:
            wall = Wall(day, minute)
            name = write_day(day) if day in special else WEEKDAYS[wall.weekday]
            kind = " (a holiday)" if day in roster.holidays else ""
            return (
                f"duty: on {name}{kind} at {minute // 60:02d}:{minute % 60:02d} nobody is on duty; "
                "every hour of the year needs somebody"
            )
    return None


def _find_empty_minute(roster: Roster, day: int) -> int | None:
    """Find the first minute of a day in which nobody is on duty; who is on duty changes only at row ends."""
    edges = {0} | {
        edge % DAY_MINUTES for shift in roster.shifts for edge in (shift.from_min, shift.until_min)
    }
    return next((minute for minute in sorted(edges) if not find_on_duty(roster, Wall(day, minute))), None)
