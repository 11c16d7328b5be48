"""The only place that reads a clock.

Two axes. House time never goes back and runs on across restarts; it measures every duration. UTC is for the
sun, schedules and texts, and is trusted only once the board's clock has been set: a small board without a
battery starts in the past, and a clock that has been put back may be put back again.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Protocol, Self
from zoneinfo import ZoneInfo

from controller.core.units import HOUR_MS, HouseMs, UtcMs
from controller.core.vocabulary import Stamp

SYNCHRONIZED_FILE: Final = Path("/run/systemd/timesync/synchronized")
"""Touched by systemd-timesyncd once the clock is set from the network (systemd-timesyncd.service(8))."""

# Without a time service, a clock before this year was plainly never set.
PLAUSIBLE_UTC_MS: Final[UtcMs] = 1_704_067_200_000  # 2024-01-01T00:00Z

# A slewed clock may lag by tens of milliseconds; a step back of more than this is no slewing.
STEP_BACK_MS: Final = 2_000

# Without a time service, a clock that has gone back is believed again after it has run so long.
STEADY_MS: Final = HOUR_MS

Read = Callable[[], int]
"""Reads a clock [ns]."""


def read_boottime_ns() -> int:
    """Read the clock that counts from the board's start, sleep included, and is never set [ns]."""
    # The clock is Linux's own; elsewhere the monotonic one, which stops in sleep, has to do.
    return time.clock_gettime_ns(getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC))


class Clock(Protocol):
    """What the engine and the edges ask about time."""

    def stamp(self, last_house_ms: HouseMs) -> Stamp:
        """Read all clocks once; the house time is never before `last_house_ms`."""
        ...

    def utc_ms(self) -> UtcMs:
        """Read UTC [ms]."""
        ...

    def house_ms(self) -> HouseMs:
        """Read house time [ms]."""
        ...

    def wait_s(self, until_house_ms: HouseMs) -> float:
        """Reckon how long to sleep, in the sleeper's own seconds, until a house instant. [s] 0 if past."""
        ...


class BoardClock:
    """The clocks of the board the daemon runs on.

    Parameters
    ----------
    time_zone
        IANA name of the house's time zone.
    started_at_house_ms
        House time at this moment. [ms]
    away_ms
        How long the daemon was away before this start, or None when nobody can know. [ms]
    last_utc_ms
        Latest UTC of an earlier run, if any; a clock behind it has gone back. [ms]
    synchronized_file
        File that stands once the clock has been set. If even its folder is missing there is no such
        time service on the board, and UTC is judged by what can be seen of it.
    read_utc_ns, read_boot_ns
        The clocks themselves. [ns]

    Raises
    ------
    zoneinfo.ZoneInfoNotFoundError
        The time zone has no such name.
    """

    def __init__(
        self,
        time_zone: str,
        started_at_house_ms: HouseMs,
        *,
        away_ms: int | None = None,
        last_utc_ms: UtcMs | None = None,
        synchronized_file: Path = SYNCHRONIZED_FILE,
        read_utc_ns: Read = time.time_ns,
        read_boot_ns: Read = read_boottime_ns,
    ) -> None:
        self.away_ms = away_ms
        self._zone = ZoneInfo(time_zone)
        self._base_ms = started_at_house_ms
        self._read_utc_ns = read_utc_ns
        self._read_boot_ns = read_boot_ns
        self._started_boot_ns = read_boot_ns()
        self._synchronized_file = synchronized_file
        self._highest_utc_ms = last_utc_ms
        self._steady_since_ms: HouseMs | None = None
        self._last_lead_ms: int | None = None

    @classmethod
    def resumed(
        cls,
        time_zone: str,
        *,
        last_house_ms: HouseMs,
        last_utc_ms: UtcMs,
        last_utc_trusted: bool,
        synchronized_file: Path = SYNCHRONIZED_FILE,
        read_utc_ns: Read = time.time_ns,
        read_boot_ns: Read = read_boottime_ns,
    ) -> Self:
        """Go on from the last committed stamp of an earlier run.

        House time jumps over the time away only if UTC was trusted then and is trusted now; a doubtful
        clock adds nothing, so that deadlines come late by the time away rather than at a guess.
        """
        clock = cls(
            time_zone,
            last_house_ms,
            last_utc_ms=last_utc_ms,
            synchronized_file=synchronized_file,
            read_utc_ns=read_utc_ns,
            read_boot_ns=read_boot_ns,
        )
        now = clock.stamp(last_house_ms)
        if last_utc_trusted and now.utc_trusted and now.utc_ms >= last_utc_ms:
            clock.away_ms = now.utc_ms - last_utc_ms
            clock._base_ms += clock.away_ms
            # The jump over the time away is ours; it must not look like a clock that was put back.
            clock._last_lead_ms = None
        return clock

    def stamp(self, last_house_ms: HouseMs) -> Stamp:
        """Read all clocks once; the house time is never before `last_house_ms`."""
        utc_ms = self.utc_ms()
        house_ms = self.house_ms()
        trusted = self._trust(utc_ms, house_ms)
        return Stamp(max(house_ms, last_house_ms), utc_ms, offset_min(self._zone, utc_ms), trusted)

    def utc_ms(self) -> UtcMs:
        """Read UTC [ms]."""
        return self._read_utc_ns() // 1_000_000

    def house_ms(self) -> HouseMs:
        """Read house time [ms]."""
        return self._base_ms + (self._read_boot_ns() - self._started_boot_ns) // 1_000_000

    def wait_s(self, until_house_ms: HouseMs) -> float:
        """Reckon how long to sleep until a house instant. [s] 0 if past."""
        return max(0, until_house_ms - self.house_ms()) / 1_000

    def _trust(self, utc_ms: UtcMs, house_ms: HouseMs) -> bool:
        steady = self._is_steady(utc_ms, house_ms)
        if self._synchronized_file.exists():
            return True
        if self._synchronized_file.parent.exists():
            return False
        return utc_ms >= PLAUSIBLE_UTC_MS and steady

    def _is_steady(self, utc_ms: UtcMs, house_ms: HouseMs) -> bool:
        """Tell whether UTC has not gone back lately. House time is the yardstick."""
        lead_ms = utc_ms - house_ms
        behind = self._highest_utc_ms is not None and utc_ms < self._highest_utc_ms - STEP_BACK_MS
        stepped = self._last_lead_ms is not None and lead_ms < self._last_lead_ms - STEP_BACK_MS
        self._last_lead_ms = lead_ms
        if stepped or (behind and self._steady_since_ms is None):
            self._steady_since_ms = house_ms
        if self._steady_since_ms is not None and house_ms - self._steady_since_ms >= STEADY_MS:
            # What it was ahead by was the fault; count from here.
            self._steady_since_ms = None
            self._highest_utc_ms = utc_ms
        self._highest_utc_ms = max(utc_ms, self._highest_utc_ms or utc_ms)
        return self._steady_since_ms is None


class RehearsalClock:
    """A clock that runs `rate` times as fast as the board's, for rehearsals and demonstrations.

    Parameters
    ----------
    start_utc_ms
        UTC at its start. [ms]
    rate
        Seconds of the rehearsal per second of the board. Above 0.
    time_zone
        IANA name of the house's time zone.
    started_at_house_ms
        House time at its start. [ms]

    Raises
    ------
    ValueError
        The rate is not above 0.
    zoneinfo.ZoneInfoNotFoundError
        The time zone has no such name.
    """

    def __init__(
        self,
        start_utc_ms: UtcMs,
        rate: float,
        *,
        time_zone: str = "UTC",
        started_at_house_ms: HouseMs = 0,
        read_boot_ns: Read = read_boottime_ns,
    ) -> None:
        if not rate > 0:
            raise ValueError(f"a rehearsal runs forwards; its rate cannot be {rate}")
        self._start_utc_ms = start_utc_ms
        self._base_ms = started_at_house_ms
        self._rate = rate
        self._zone = ZoneInfo(time_zone)
        self._read_boot_ns = read_boot_ns
        self._started_boot_ns = read_boot_ns()

    def stamp(self, last_house_ms: HouseMs) -> Stamp:
        """Read the clock once; the house time is never before `last_house_ms`."""
        gone_ms = self._gone_ms()
        utc_ms = self._start_utc_ms + gone_ms
        house_ms = max(self._base_ms + gone_ms, last_house_ms)
        return Stamp(house_ms, utc_ms, offset_min(self._zone, utc_ms), utc_trusted=True)

    def utc_ms(self) -> UtcMs:
        """Read the rehearsal's UTC [ms]."""
        return self._start_utc_ms + self._gone_ms()

    def house_ms(self) -> HouseMs:
        """Read the rehearsal's house time [ms]."""
        return self._base_ms + self._gone_ms()

    def wait_s(self, until_house_ms: HouseMs) -> float:
        """Reckon how long to sleep, in real seconds, until a house instant. [s] 0 if past."""
        return max(0, until_house_ms - self.house_ms()) / 1_000 / self._rate

    def _gone_ms(self) -> int:
        return int((self._read_boot_ns() - self._started_boot_ns) * self._rate) // 1_000_000


def offset_min(zone: ZoneInfo, utc_ms: UtcMs) -> int:
    """Find the zone's offset from UTC at an instant. [min] Positive east."""
    offset = datetime.fromtimestamp(utc_ms // 1_000, UTC).astimezone(zone).utcoffset()
    assert offset is not None, "a zone always has an offset"
    return int(offset.total_seconds() // 60)
