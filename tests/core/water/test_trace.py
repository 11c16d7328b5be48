"""What is remembered of a reading: few points, averaged by the minute, and nothing across a silence."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from waters import run_course

from controller.core.units import MINUTE_MS
from controller.core.water.trace import (
    COARSE_MOST,
    EMPTY,
    FINE_MOST,
    find_change,
    follow,
    list_long,
    list_points,
)


def test_readings_within_a_minute_are_one_point_at_their_mean() -> None:
    """Six readings in a minute make one point: their mean value at their mean time."""
    trace = EMPTY
    for second, value in ((0, 1.0), (10, 2.0), (20, 3.0), (30, 4.0), (40, 5.0), (50, 6.0)):
        trace = follow(trace, at_ms=second * 1000, value=value)
    trace = follow(trace, at_ms=MINUTE_MS, value=9.0)

    assert trace.fine == ((25 / 60, 3.5),)
    assert list_points(trace)[-1] == (1.0, 9.0)


@given(st.lists(st.tuples(st.integers(0, 600_000), st.floats(-100, 100)), max_size=200))
def test_it_never_holds_more_than_its_bound_and_stays_in_order(steps: list[tuple[int, float]]) -> None:
    """Whatever the pauses, at most 30 points of each kind are held, in order of time."""
    trace, now = EMPTY, 0
    for pause_ms, value in steps:
        now += pause_ms
        trace = follow(trace, at_ms=now, value=value)

    assert len(trace.fine) <= FINE_MOST
    assert len(trace.coarse) <= COARSE_MOST
    times = [at for at, _ in list_long(trace)]
    assert times == sorted(times)


def test_three_quarters_of_an_hour_are_held_by_the_minute_and_five_hours_by_ten_minutes() -> None:
    """After a day of readings the fine points span 45 minutes and the coarse ones five hours."""
    trace = run_course(lambda at: at, minutes=1439)

    assert trace.fine[-1][0] - trace.fine[0][0] == pytest.approx(44.0)
    assert trace.coarse[-1][0] - trace.coarse[0][0] == pytest.approx(290.0)


def test_a_long_silence_ends_the_course() -> None:
    """What was before eleven silent minutes is no part of the fine course; after an hour it is forgotten."""
    trace = run_course(lambda at: at, minutes=30)
    after = follow(trace, at_ms=45 * MINUTE_MS, value=1.0)
    much_later = follow(trace, at_ms=120 * MINUTE_MS, value=1.0)

    assert after.fine == ()
    assert after.coarse
    assert much_later.coarse == ()


def test_a_change_is_read_from_three_points_at_each_end() -> None:
    """One wild reading at either end is no change."""
    trace = run_course(lambda at: 7.0 if at == 60.0 else 5.0 + at / 60.0, minutes=60)
    found = find_change(trace, span_min=60.0)

    assert found is not None
    assert found[0] == pytest.approx(50.0 / 60.0 - 1.0 / 60.0, abs=0.02)
    assert found[1] == pytest.approx(49.0)


def test_a_short_course_tells_no_change() -> None:
    """Five points, or less than a quarter of the span, tell nothing."""
    assert find_change(run_course(lambda at: at, minutes=4), span_min=10.0) is None
    assert find_change(run_course(lambda at: at, minutes=10), span_min=60.0) is None
    assert find_change(EMPTY, span_min=60.0) is None
