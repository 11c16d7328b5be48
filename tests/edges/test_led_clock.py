"""A clock that somebody else leads: it passes and stands as it is told, and never goes back."""

from __future__ import annotations

import mmap
import subprocess
import sys
from pathlib import Path

import pytest

from controller.edges.led_clock import SHORTEST_SLEEP_S, ClockFile, LedClock

NOON_MS = 1_781_956_800_000
"""2026-06-20T12:00Z, by `date -u -d 2026-06-20T12:00Z +%s`. [ms]"""


@pytest.fixture
def file(tmp_path: Path) -> ClockFile:
    """Begin at noon, 1440 times as fast as real time at most."""
    return ClockFile.create(tmp_path / "clock", utc_ms=NOON_MS, rate=1440.0)


def test_time_passes_as_it_is_told(tmp_path: Path, file: ClockFile) -> None:
    """Both axes follow the file, with the zone's own offset; while nobody tells, time stands."""
    clock = LedClock(ClockFile(tmp_path / "clock"), time_zone="Europe/London", started_at_house_ms=7_000)
    before = clock.stamp(0)
    file.utc_ms = NOON_MS + 60_000

    assert (before.house_ms, before.utc_ms, before.utc_offset_min) == (7_000, NOON_MS, 60)
    assert clock.stamp(0) == clock.stamp(0)
    assert (clock.house_ms(), clock.utc_ms()) == (67_000, NOON_MS + 60_000)


def test_house_time_never_goes_back(file: ClockFile) -> None:
    """A leader that steps back moves UTC alone."""
    clock = LedClock(file, time_zone="UTC")
    file.utc_ms = NOON_MS - 60_000

    assert (clock.stamp(5_000).house_ms, clock.stamp(5_000).utc_ms) == (5_000, NOON_MS - 60_000)


def test_a_wait_is_as_long_as_it_can_be_at_most(file: ClockFile) -> None:
    """At the fastest rate a wait takes so long; time that stands is not asked for all the time."""
    clock = LedClock(file, time_zone="UTC")

    assert clock.wait_s(1_440_000) == pytest.approx(1.0)
    assert (clock.wait_s(1), clock.wait_s(0), clock.wait_s(-5)) == (SHORTEST_SLEEP_S, 0.0, 0.0)


def test_what_was_heard_is_seen_by_the_other_process(tmp_path: Path, file: ClockFile) -> None:
    """The count that one process keeps is read by the other."""
    program = (
        "from pathlib import Path; from controller.edges.led_clock import ClockFile\n"
        f"file = ClockFile(Path({str(tmp_path / 'clock')!r}))\n"
        "for _ in range(3): file.count_heard()\n"
        "print(file.utc_ms, file.rate)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)

    assert (done.stdout.split(), file.heard) == ([str(NOON_MS), "1440"], 3)


def test_a_file_that_is_none_is_refused(tmp_path: Path) -> None:
    """No file, or one that is too short, is told to whoever starts the daemon."""
    short = tmp_path / "short"
    short.write_bytes(bytes(mmap.ALLOCATIONGRANULARITY)[:8])
    with pytest.raises(FileNotFoundError):
        ClockFile(tmp_path / "none")
    with pytest.raises(ValueError, match="length"):
        ClockFile(short)
