"""What is to be done at times of day, by APScheduler. Nothing that decides hangs on it.

Schedules are in UTC, where every minute comes once. A job whose time was missed, by a busy board or a clock
that jumped ahead, runs as soon as it can; a clock that is put back re-arms all jobs, which would otherwise
sleep until the old time comes round again. What was missed while the daemon was away is not made up for.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import structlog
from apscheduler.events import EVENT_JOB_ERROR, EVENT_JOB_EXECUTED, JobExecutionEvent
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import TroubleSeen
from controller.edges.troubles import Troubles

log = structlog.get_logger("duskbell.calendar")

LOOK_EVERY_S: Final = 20.0
"""How often the wall clock is compared with the steady one. [s]"""

STEP_S: Final = 5.0
"""A wall clock that has lost or won more than this against the steady one was set. [s]"""


@dataclass(frozen=True, slots=True)
class Job:
    """Something to be done at times given by cron fields, in UTC.

    Parameters
    ----------
    name
        What it is, as it stands in the log.
    when
        Cron fields: month, day, day_of_week, hour, minute, second.
    do
        What is done; on a thread of the scheduler's, never twice at once.
    part
        The part that is in trouble when the job fails, until it succeeds again. None: only the log says so.
    """

    name: str
    when: Mapping[str, int | str]
    do: Callable[[], object]
    part: Watched | None = None


class Calendar:
    """The jobs of the house, each on the scheduler's own threads.

    Parameters
    ----------
    jobs
        What is to be done, each under a name of its own.
    tell
        Puts an event into the inbox.
    read_wall_s, read_steady_s
        The clock on the wall, and one that nobody sets. [s]
    """

    def __init__(
        self,
        jobs: tuple[Job, ...],
        *,
        tell: Callable[[TroubleSeen], object] | None = None,
        read_wall_s: Callable[[], float] = time.time,
        read_steady_s: Callable[[], float] = time.monotonic,
    ) -> None:
        assert len({job.name for job in jobs}) == len(jobs), "a job is known by its name"
        self._jobs = jobs
        self._tell = tell
        self._troubles = Troubles()
        self._failing: set[str] = set()
        self._lock = threading.Lock()
        self._read_wall_s = read_wall_s
        self._read_steady_s = read_steady_s
        self._lead_s = read_wall_s() - read_steady_s()
        self._stopping = threading.Event()
        self._scheduler = BackgroundScheduler(
            timezone="UTC", job_defaults={"coalesce": True, "misfire_grace_time": None, "max_instances": 1}
        )
        self._scheduler.add_listener(self._ended, EVENT_JOB_ERROR | EVENT_JOB_EXECUTED)

    def start(self) -> None:
        """Begin to keep the times."""
        self._arm()
        self._scheduler.start()
        threading.Thread(target=self._watch, name="calendar-watch", daemon=True).start()

    def stop(self) -> None:
        """End, without waiting for a job that is under way."""
        self._stopping.set()
        if self._scheduler.running:
            self._scheduler.shutdown(wait=False)

    def look_at_clock(self) -> bool:
        """Take note of a wall clock that was set; say whether it was.

        The scheduler sleeps by the steady clock until a time on the wall. Put back, the jobs would wait for
        the old time to come round again and are armed anew; put ahead, it would sleep too long and is woken.
        """
        lead_s = self._read_wall_s() - self._read_steady_s()
        won_s, self._lead_s = lead_s - self._lead_s, lead_s
        if abs(won_s) <= STEP_S:
            return False
        log.warning("the clock was set; the calendar looks again", by_s=round(won_s))
        if won_s < 0:
            self._arm()
        self._scheduler.wakeup()
        return True

    def next_times(self) -> dict[str, float | None]:
        """Return when each job is next due, in seconds since 1970, by name."""
        return {
            job.id: None if job.next_run_time is None else job.next_run_time.timestamp()
            for job in self._scheduler.get_jobs()
        }

    def _arm(self) -> None:
        """Put every job into the scheduler with a trigger made now."""
        for job in self._jobs:
            self._scheduler.add_job(
                job.do, CronTrigger(timezone="UTC", **job.when), id=job.name, replace_existing=True
            )

    def _watch(self) -> None:
        """Look at the clock now and then."""
        while not self._stopping.wait(LOOK_EVERY_S):
            self.look_at_clock()

    def _ended(self, event: JobExecutionEvent) -> None:
        """Say that a job has failed, and that it no longer does; it comes again at its next time."""
        error = event.exception
        if error is not None:
            log.error("a job of the calendar has failed", job=event.job_id, error=repr(error))
        part = next((job.part for job in self._jobs if job.name == event.job_id), None)
        if part is None or self._tell is None:
            return
        with self._lock:
            if error is not None:
                self._failing.add(event.job_id)
                self._troubles.begin(part, f"{event.job_id}: {error}")
            elif event.job_id in self._failing:
                self._failing.discard(event.job_id)
                self._troubles.end(part)
            for trouble in self._troubles.take():
                self._tell(trouble)
