"""Who is on duty: days, nights past midnight, holidays, absence, and the nights in which clocks change."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import START_MS, make_person

from controller.core.alarms.roster import (
    Roster,
    find_on_duty,
    find_stand_ins,
    make_roster,
    quiet_left_min,
    read_day,
    read_span,
    write_day,
)
from controller.core.alarms.wall import Wall, minutes_left, read_wall, wait_until_ms
from controller.core.plan.duty import WEEK, Day, Duty, read_minute
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.vocabulary import Stamp

LONDON = ZoneInfo("Europe/London")
WORKDAYS = (Day.MON, Day.TUE, Day.WED, Day.THU, Day.FRI)
ROWS = (
    Duty(days=WORKDAYS, from_time="08:00", until_time="17:00", person="keeper", stand_in="deputy"),
    Duty(days=WORKDAYS, from_time="17:00", until_time="08:00", person="porter"),
    Duty(days=(Day.SAT, Day.SUN, Day.HOLIDAY), from_time="00:00", until_time="24:00", person="deputy"),
)


def stamp_at(local: str, zone: ZoneInfo = LONDON, *, fold: int = 0) -> Stamp:
    """Make the stamp of a local time."""
    at = datetime.fromisoformat(local).replace(tzinfo=zone, fold=fold).astimezone(UTC)
    offset = at.astimezone(zone).utcoffset()
    assert offset is not None
    return Stamp(START_MS, round(at.timestamp() * 1000), round(offset.total_seconds() / 60), utc_trusted=True)


def on_duty(local: str, *, holidays: tuple[str, ...] = (), away: tuple[str, ...] = ()) -> tuple[str, ...]:
    """Name who is on duty at a local time."""
    people = [
        make_person("keeper").model_copy(update={"away": away}),
        make_person("deputy"),
        make_person("porter"),
    ]
    wall = read_wall(stamp_at(local))
    assert wall is not None
    return find_on_duty(make_roster(ROWS, holidays, people), wall)


@pytest.mark.parametrize(
    ("local", "who"),
    [
        ("2026-06-15T08:00", ("keeper",)),  # a Monday
        ("2026-06-15T07:59", ()),  # Sunday's row ended at midnight
        ("2026-06-15T16:59", ("keeper",)),
        ("2026-06-15T17:00", ("porter",)),
        ("2026-06-16T03:10", ("porter",)),  # Monday's night
        ("2026-06-20T03:10", ("porter", "deputy")),  # Friday's night runs into Saturday's row
        ("2026-06-20T12:00", ("deputy",)),
    ],
)
def test_a_row_holds_from_its_begin_until_before_its_end(local: str, who: tuple[str, ...]) -> None:
    """Days of the week of June 2026 by the calendar; a night row belongs to the day on which it begins."""
    assert on_duty(local) == who


def test_a_holiday_is_no_day_of_the_week() -> None:
    """Christmas of 2026, a Friday: the row of holidays holds, the one of Fridays does not."""
    assert on_duty("2026-12-25T12:00") == ("keeper",)
    assert on_duty("2026-12-25T12:00", holidays=("2026-12-25",)) == ("deputy",)


def test_who_is_away_is_stood_in_for() -> None:
    """Day and span of days, both ends included."""
    assert on_duty("2026-06-15T12:00", away=("2026-06-15",)) == ("deputy",)
    assert on_duty("2026-06-19T12:00", away=("2026-06-15/2026-06-19",)) == ("deputy",)
    assert on_duty("2026-06-22T12:00", away=("2026-06-15/2026-06-19",)) == ("keeper",)


def test_stand_ins_are_those_of_whoever_is_on_duty() -> None:
    """Who could take over if the person on duty has been called too often."""
    roster = make_roster(ROWS, (), ())
    wall = read_wall(stamp_at("2026-06-15T12:00"))
    assert wall is not None

    assert find_stand_ins(roster, wall) == ("deputy",)


@given(
    st.lists(
        st.builds(
            Duty,
            days=st.lists(st.sampled_from(Day), max_size=3).map(tuple),
            from_time=st.sampled_from(["00:00", "06:30", "22:00", "24:00", "25:61", ""]),
            until_time=st.sampled_from(["00:00", "06:30", "22:00", "24:00", "x"]),
            person=st.sampled_from(["keeper", "deputy"]),
        ),
        max_size=4,
    ),
    st.integers(0, 60_000),
    st.integers(0, 1439),
)
def test_the_roster_is_total(rows: list[Duty], day: int, minute: int) -> None:
    """Whatever stands in the rows, somebody or nobody is on duty, each named once."""
    found = find_on_duty(make_roster(rows, (), ()), Wall(day, minute))

    assert len(found) == len(set(found)) <= 2


def test_an_empty_roster_names_nobody() -> None:
    """Without rows the call list stands as it is."""
    assert find_on_duty(Roster(), Wall(20_000, 0)) == ()


@given(st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1), timezones=st.just(LONDON)))  # noqa: DTZ001
def test_the_wall_agrees_with_the_calendar(at: datetime) -> None:
    """Day of the week, day and minute against the standard library, in any season."""
    offset = at.utcoffset()
    assert offset is not None
    stamp = Stamp(0, round(at.timestamp() * 1000), round(offset.total_seconds() / 60), utc_trusted=True)
    wall = read_wall(stamp)
    assert wall is not None
    local = datetime.fromtimestamp(at.timestamp(), tz=UTC) + offset

    assert (wall.weekday, write_day(wall.day), wall.minute) == (
        local.weekday(),
        local.date().isoformat(),
        local.hour * 60 + local.minute,
    )


def test_nobody_knows_the_time_before_the_clock_is_set() -> None:
    """No duty, no quiet hours, no schedule from a clock that was never set."""
    assert read_wall(stamp_at("2026-06-15T12:00")._replace(utc_trusted=False)) is None


@pytest.mark.parametrize(
    ("text", "minute"),
    [
        ("00:00", 0),
        ("07:30", 450),
        ("23:59", 1439),
        ("24:00", 1440),
        ("24:01", None),
        ("7:30", None),
        ("", None),
    ],
)
def test_times_are_read_strictly(text: str, minute: int | None) -> None:
    """Two digits, a colon, two digits."""
    assert read_minute(text) == minute


@pytest.mark.parametrize(
    ("text", "good"),
    [
        ("2026-08-01", True),
        ("2026-08-01/2026-08-14", True),
        ("2026-08-14/2026-08-01", False),
        ("1 August", False),
    ],
)
def test_spans_are_read_strictly(text: str, *, good: bool) -> None:
    """A day, or a first and a last day in order."""
    assert (read_span(text) is not None) is good


@given(st.integers(0, 80_000))
def test_days_are_read_as_they_are_written(day: int) -> None:
    """There and back."""
    assert read_day(write_day(day)) == day


@pytest.mark.parametrize(
    ("minute", "left"), [(22 * 60, 480), (23 * 60 + 59, 361), (0, 360), (359, 1), (360, 0), (1319, 0)]
)
def test_quiet_hours_cross_midnight(minute: int, left: int) -> None:
    """From 22:00 until before 06:00."""
    assert quiet_left_min("22:00", "06:00", Wall(20_000, minute)) == left


def test_without_both_times_it_is_never_quiet() -> None:
    """Half a setting, or two equal times, is none."""
    times = [("", ""), ("22:00", ""), ("", "06:00"), ("06:00", "06:00"), ("00:00", "24:00")]

    assert {quiet_left_min(begin, end, Wall(20_000, 1400)) for begin, end in times} == {0}


@pytest.mark.parametrize(
    ("start", "due"), [("2026-03-29T00:10", "2026-03-29T07:30"), ("2026-10-25T00:10", "2026-10-25T07:30")]
)
def test_a_local_time_is_met_within_the_hour_when_clocks_change(start: str, due: str) -> None:
    """In both nights of 2026 in which the clocks of London change, and never before it has come."""
    stamp, wanted = stamp_at(start), stamp_at(due)
    while True:
        wall = read_wall(stamp)
        assert wall is not None
        if wall.minute >= 7 * 60 + 30:
            break
        wake = wait_until_ms(stamp, 7 * 60 + 30)
        assert stamp.house_ms < wake <= stamp.house_ms + HOUR_MS
        utc_ms = stamp.utc_ms + wake - stamp.house_ms
        offset = datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(LONDON).utcoffset() or timedelta(0)
        stamp = Stamp(wake, utc_ms, round(offset.total_seconds() / 60), utc_trusted=True)
    assert 0 <= stamp.utc_ms - wanted.utc_ms < HOUR_MS


def test_the_repeated_hour_is_one_day() -> None:
    """01:30 comes twice on 2026-10-25, and both times the day is the same."""
    first, second = (read_wall(stamp_at("2026-10-25T01:30", fold=fold)) for fold in (0, 1))
    assert first is not None

    assert first == second


def test_minutes_are_counted_round_the_clock() -> None:
    """From 23:00 to 01:00 is two hours."""
    assert minutes_left(Wall(0, 23 * 60), 60) == 120
    assert len(WEEK) == 7
    assert MINUTE_MS * 60 == HOUR_MS
