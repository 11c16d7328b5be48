"""The calendar: no job is lost to a late board or a clock that was set, and a failing one is told."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from typing import ClassVar, Self

import pytest

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import TroubleSeen
from controller.edges.calendar import STEP_S, Calendar, Job

EVERY_SECOND = {"second": "*"}


@dataclass
class Bell:
    """A job that counts its runs, and fails when it is told to."""

    fails: bool = False
    runs: int = 0
    rung: threading.Condition = field(default_factory=threading.Condition)

    def __call__(self) -> None:
        """Run once."""
        with self.rung:
            self.runs += 1
            self.rung.notify_all()
        if self.fails:
            raise OSError("no room")

    def wait(self, runs: int, timeout_s: float = 5.0) -> bool:
        """Wait until it has run so often since the begin."""
        with self.rung:
            return self.rung.wait_for(lambda: self.runs >= runs, timeout_s)


@dataclass
class Clocks:
    """A wall clock and a steady one, set by hand. [s]."""

    wall_s: float = 1_800_000_000.0
    steady_s: float = 5_000.0

    def read_wall_s(self) -> float:
        """Read the wall clock [s]."""
        return self.wall_s

    def read_steady_s(self) -> float:
        """Read the steady clock [s]."""
        return self.steady_s


class SetClock(datetime):
    """The scheduler's wall clock, which a test can set."""

    shift: ClassVar[timedelta] = timedelta()

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> Self:
        """Read the clock as it was set."""
        return super().now(tz) + cls.shift


@contextmanager
def running(calendar: Calendar) -> Iterator[Calendar]:
    """Keep the times until the end of the block."""
    calendar.start()
    try:
        yield calendar
    finally:
        calendar.stop()


@pytest.fixture
def wall(monkeypatch: pytest.MonkeyPatch) -> type[SetClock]:
    """Give the scheduler a wall clock that can be set."""
    SetClock.shift = timedelta()
    monkeypatch.setattr("apscheduler.schedulers.base.datetime", SetClock)
    monkeypatch.setattr("apscheduler.executors.base.datetime", SetClock)
    return SetClock


def test_times_are_in_utc() -> None:
    """A daily job is next due at that time of day in UTC, within a day."""
    with running(Calendar((Job("prune", {"hour": 3, "minute": 40}, lambda: None),))) as calendar:
        due_s = calendar.next_times()["prune"]

    assert due_s is not None
    due = datetime.fromtimestamp(due_s, UTC)
    assert (due.hour, due.minute, due.second) == (3, 40, 0)
    assert timedelta() < due - datetime.now(UTC) <= timedelta(days=1)


@pytest.mark.slow
def test_a_failing_job_is_told_once_runs_again_and_stops_no_other() -> None:
    """A failure begins a trouble, the next success ends it, and the other job keeps its times."""
    told: list[TroubleSeen] = []
    bad, good = Bell(fails=True), Bell()
    jobs = (Job("prune", EVERY_SECOND, bad, Watched.JOURNAL), Job("sun", EVERY_SECOND, good))
    with running(Calendar(jobs, tell=told.append)):
        assert bad.wait(2)
        assert good.wait(2)
        bad.fails = False
        assert bad.wait(bad.runs + 2)

    assert told == [TroubleSeen(Watched.JOURNAL, "prune: no room"), TroubleSeen(Watched.JOURNAL, None)]


@pytest.mark.slow
def test_a_clock_put_back_does_not_stop_the_calendar(wall: type[SetClock]) -> None:
    """After the wall clock is set back an hour the jobs stand still until the calendar looks, then go on."""
    bell, clocks = Bell(), Clocks()
    calendar = Calendar(
        (Job("tick", EVERY_SECOND, bell),),
        read_wall_s=clocks.read_wall_s,
        read_steady_s=clocks.read_steady_s,
    )
    with running(calendar):
        assert bell.wait(1)
        wall.shift = -timedelta(hours=1)
        clocks.wall_s -= 3_600
        bell.wait(bell.runs + 1, 1.2)  # one may have been under way
        assert not bell.wait(bell.runs + 1, 1.5), "else there is nothing to mend"

        assert calendar.look_at_clock()

        assert bell.wait(bell.runs + 2)


@pytest.mark.slow
def test_a_clock_put_ahead_runs_what_was_missed_once(wall: type[SetClock]) -> None:
    """A daily job that a step of the clock has leapt over runs as soon as the calendar looks, and once."""
    bell, clocks = Bell(), Clocks()
    due = datetime.now(UTC) + timedelta(minutes=30)
    calendar = Calendar(
        (Job("daily", {"hour": due.hour, "minute": due.minute}, bell),),
        read_wall_s=clocks.read_wall_s,
        read_steady_s=clocks.read_steady_s,
    )
    with running(calendar):
        wall.shift = timedelta(hours=1)
        clocks.wall_s += 3_600
        assert not bell.wait(1, 0.5)

        assert calendar.look_at_clock()

        assert bell.wait(1)
        assert not bell.wait(2, 0.5)


def test_slewing_is_no_step() -> None:
    """A clock that drifts within the limit is left alone, however long; each look starts from the last."""
    clocks = Clocks()
    calendar = Calendar((), read_wall_s=clocks.read_wall_s, read_steady_s=clocks.read_steady_s)
    for _ in range(10):
        clocks.steady_s += 20.0
        clocks.wall_s += 20.0 - STEP_S
        assert not calendar.look_at_clock()


def test_two_jobs_of_one_name_are_our_bug() -> None:
    """Names are told apart when the calendar is made, not when a job silently replaces another."""
    with pytest.raises(AssertionError, match="by its name"):
        Calendar((Job("a", EVERY_SECOND, lambda: None), Job("a", EVERY_SECOND, lambda: None)))


def test_a_calendar_can_be_stopped_without_a_start() -> None:
    """Stopping what never ran is no error."""
    Calendar(()).stop()
