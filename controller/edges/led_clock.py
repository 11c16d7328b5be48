"""A clock that somebody else leads: rehearsals in which the house waits until the daemon has heard it.

A rehearsal at a fixed rate runs away on a busy machine: what the daemon cannot hear in time looks like sensors
that have fallen silent. Here whoever plays the house tells the time, in a file that both map into memory, and
the daemon tells there how much it has taken in. So the house can wait.
"""

from __future__ import annotations

import mmap
from pathlib import Path
from typing import Final, Self
from zoneinfo import ZoneInfo

from controller.core.units import HouseMs, UtcMs
from controller.core.vocabulary import Stamp
from controller.edges.clock import offset_min

_PLACES: Final = 3
_BYTES: Final = 8 * _PLACES

SHORTEST_SLEEP_S: Final = 0.004
"""A led clock may stand still: nobody who waits for it looks more often than this. [s]"""


class ClockFile:
    """Three whole numbers in memory that two processes share; each is written by one of them alone.

    Raises
    ------
    OSError
        There is no such file.
    ValueError
        It is too short.
    """

    def __init__(self, path: Path) -> None:
        with path.open("r+b") as file:
            self._memory = mmap.mmap(file.fileno(), _BYTES)
        # Eight bytes at an address that eight divides are read and written whole.
        self._places = memoryview(self._memory).cast("q")

    @classmethod
    def create(cls, path: Path, *, utc_ms: UtcMs, rate: float) -> Self:
        """Make the file anew, at an instant [ms], for a house that lives at most `rate` seconds in a second."""
        path.write_bytes(bytes(_BYTES))
        file = cls(path)
        file._places[1] = round(rate)
        file.utc_ms = utc_ms
        return file

    @property
    def utc_ms(self) -> UtcMs:
        """The time told by whoever leads [ms]."""
        return self._places[0]

    @utc_ms.setter
    def utc_ms(self, utc_ms: UtcMs) -> None:
        self._places[0] = utc_ms

    @property
    def rate(self) -> int:
        """How many seconds pass in a second at most."""
        return max(1, self._places[1])

    @property
    def heard(self) -> int:
        """How many messages of the house the daemon has taken in."""
        return self._places[2]

    def count_heard(self) -> None:
        """Count one message more; the deciding thread does, when its turn is over."""
        self._places[2] += 1


class LedClock:
    """The daemon's clock in such a rehearsal.

    Parameters
    ----------
    file
        Where the time is told.
    time_zone
        IANA name of the house's time zone.
    started_at_house_ms
        House time at this moment. [ms]
    """

    def __init__(self, file: ClockFile, *, time_zone: str, started_at_house_ms: HouseMs = 0) -> None:
        self._file = file
        self._zone = ZoneInfo(time_zone)
        self._lead_ms = started_at_house_ms - file.utc_ms

    def stamp(self, last_house_ms: HouseMs) -> Stamp:
        """Read the clock once; the house time is never before `last_house_ms`."""
        utc_ms = self._file.utc_ms
        house_ms = max(utc_ms + self._lead_ms, last_house_ms)
        return Stamp(house_ms, utc_ms, offset_min(self._zone, utc_ms), utc_trusted=True)

    def utc_ms(self) -> UtcMs:
        """Read the rehearsal's UTC [ms]."""
        return self._file.utc_ms

    def house_ms(self) -> HouseMs:
        """Read the rehearsal's house time [ms]."""
        return self._file.utc_ms + self._lead_ms

    def wait_s(self, until_house_ms: HouseMs) -> float:
        """Reckon how long to sleep, in real seconds, until a house instant may have come. [s] 0 if past."""
        left_ms = until_house_ms - self.house_ms()
        return max(SHORTEST_SLEEP_S, left_ms / 1_000 / self._file.rate) if left_ms > 0 else 0.0
