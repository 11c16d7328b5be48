"""Who is on duty at a local time, who is away, and whether it is quiet."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from controller.core.alarms.wall import Wall, minutes_left
from controller.core.plan.duty import DAY_MINUTES, WEEK, Day, Duty, read_minute
from controller.core.plan.people import Person

EPOCH: Final = date(1970, 1, 1).toordinal()
"""Ordinal of the day from which days are counted."""


@dataclass(frozen=True, slots=True)
class Shift:
    """A row of the roster. `until_min` is past 1440 where it ends on the next day, in minutes."""

    days: frozenset[int]
    holidays: bool
    from_min: int
    until_min: int
    person: str
    stand_in: str


@dataclass(frozen=True, slots=True)
class Roster:
    """All rows, the public holidays and the spans of absence, as days since 1970-01-01."""

    shifts: tuple[Shift, ...] = ()
    holidays: frozenset[int] = frozenset()
    away: Mapping[str, tuple[tuple[int, int], ...]] = field(default_factory=dict)

    def is_away(self, person: str, day: int) -> bool:
        """Tell whether a person is away on a day."""
        return any(first <= day <= last for first, last in self.away.get(person, ()))


def read_day(text: str) -> int | None:
    """Read a date such as 2026-12-25 as days since 1970-01-01; None if it is none."""
    try:
        return date.fromisoformat(text).toordinal() - EPOCH
    except ValueError:
        return None


def write_day(day: int) -> str:
    """Write days since 1970-01-01 as a date."""
    return date.fromordinal(day + EPOCH).isoformat()


def read_span(text: str) -> tuple[int, int] | None:
    """Read one day, or a first and a last day with a slash between (ISO 8601); None if it is neither."""
    first, slash, last = text.partition("/")
    begin, end = read_day(first.strip()), read_day((last if slash else first).strip())
    return None if begin is None or end is None or end < begin else (begin, end)


def make_roster(duties: Iterable[Duty], holidays: Iterable[str], people: Iterable[Person]) -> Roster:
    """Make the roster; rows and days that cannot be read are left out, as the check has refused them."""
    shifts = []
    for duty in duties:
        begin, end = read_minute(duty.from_time), read_minute(duty.until_time)
        if begin is None or end is None:
            continue
        shifts.append(
            Shift(
                days=frozenset(WEEK.index(day) for day in duty.days if day is not Day.HOLIDAY),
                holidays=Day.HOLIDAY in duty.days,
                from_min=begin,
                until_min=end if end > begin else end + DAY_MINUTES,
                person=duty.person,
                stand_in=duty.stand_in,
            )
        )
    spans = {person.name: tuple(filter(None, map(read_span, person.away))) for person in people}
    return Roster(
        tuple(shifts),
        frozenset(day for day in map(read_day, holidays) if day is not None),
        {name: span for name, span in spans.items() if span},
    )


def find_on_duty(roster: Roster, wall: Wall) -> tuple[str, ...]:
    """Name who is on duty, in the order of the rows: first those whose row it is, each once; maybe nobody.

    A row that began yesterday and runs past midnight still holds; whether somebody is away goes by the day on
    which their row began.
    """
    found: list[str] = []
    for shift in roster.shifts:
        for day, minute in ((wall.day, wall.minute), (wall.day - 1, wall.minute + DAY_MINUTES)):
            if not shift.from_min <= minute < shift.until_min:
                continue
            weekday = (day + wall.weekday - wall.day) % 7
            begins = shift.holidays if day in roster.holidays else weekday in shift.days
            if begins:
                found.extend(_who_of(roster, shift, day))
    return tuple(dict.fromkeys(found))


def _who_of(roster: Roster, shift: Shift, day: int) -> tuple[str, ...]:
    """Name the person of a row, or who stands in; nobody if both are away."""
    if not roster.is_away(shift.person, day):
        return (shift.person,)
    if shift.stand_in and not roster.is_away(shift.stand_in, day):
        return (shift.stand_in,)
    return ()


def find_stand_ins(roster: Roster, wall: Wall) -> tuple[str, ...]:
    """Name those who stand in for whoever is on duty now, for when these have been called too often."""
    on_duty = find_on_duty(roster, wall)
    return tuple(
        dict.fromkeys(
            shift.stand_in
            for shift in roster.shifts
            if shift.person in on_duty and shift.stand_in and not roster.is_away(shift.stand_in, wall.day)
        )
    )


def quiet_left_min(quiet_from: str, quiet_to: str, wall: Wall) -> int:
    """Count the minutes [min] until the quiet hours end; 0 if it is not quiet now."""
    begin, end = read_minute(quiet_from), read_minute(quiet_to)
    if begin is None or end is None or begin % DAY_MINUTES == end % DAY_MINUTES:
        return 0
    left = minutes_left(wall, end)
    length = (end - begin) % DAY_MINUTES
    return left if 0 < left <= length else 0
