"""What is to be done at times of day, by APScheduler. Nothing that decides hangs on it.

Schedules are in UTC, where every minute comes once. A job whose time was missed, by a busy board or a clock
that jumped ahead, runs as soon as it can; a clock that is put back re-arms all jobs, which would otherwise
sleep until the old time comes round again.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import structlog
from apscheduler.events import EVENT_JOB_ERROR, JobExecutionEvent
from apscheduler.schedulers.background import BackgroundScheduler
from apscheduler.triggers.cron import CronTrigger

log = structlog.get_logger("duskbell.calendar")

LOOK_EVERY_S: Final = 20.0
"""How often the wall clock is compared with the steady one. [s]"""

STEP_BACK_S: Final = 5.0
"""A wall clock that has lost more than this against the steady one was put back. [s]"""


@dataclass(frozen=True, slots=True)
class Job:
    """Something to be done at times given by cron fields, in UTC."""

    name: str
    when: Mapping[str, int | str]
    do: Callable[[], object]


class Calendar:
    """The jobs of the house, each on the scheduler's own threads."""

    def __init__(
        self,
        jobs: tuple[Job, ...],
        *,
        read_wall_s: Callable[[], float] = time.time,
        read_steady_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._jobs = jobs
        self._read_wall_s = read_wall_s
        self._read_steady_s = read_steady_s
        self._lead_s = read_wall_s() - read_steady_s()
        self._stopping = threading.Event()
        self._scheduler = BackgroundScheduler(
            timezone="UTC", job_defaults={"coalesce": True, "misfire_grace_time": None, "max_instances": 1}
        )
        self._scheduler.add_listener(self._failed, EVENT_JOB_ERROR)

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
        """Re-arm the jobs if the wall clock was put back; say whether it was."""
        lead_s = self._read_wall_s() - self._read_steady_s()
        lost_s, self._lead_s = self._lead_s - lead_s, lead_s
        if lost_s <= STEP_BACK_S:
            return False
        log.warning("the clock was put back; the calendar starts afresh", by_s=round(lost_s))
        self._arm()
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

    def _failed(self, event: JobExecutionEvent) -> None:
        """Say that a job has failed; it comes again at its next time."""
        log.error("a job of the calendar has failed", job=event.job_id, error=repr(event.exception))
