"""The clocks of the simulated board: the true time, the clock the daemon reads, and the axis of the house."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from controller.core.vocabulary import Stamp

QUARTER_MS = 900_000
"""Offsets from UTC change on the quarter of an hour. [ms]"""


@dataclass(slots=True)
class Clocks:
    """What the daemon's clocks show at a true instant.

    Attributes
    ----------
    zone : ZoneInfo
        The site's time zone.
    start_utc_ms : int
        True instant at which the house axis begins. [ms]
    utc_error_ms : int
        How far the board's UTC is ahead of the truth. Settable. [ms]
    trusted : bool
        Whether the board says that its UTC has been set. Settable.
    lost_ms : int
        Time the house axis has missed while the daemon was down and nobody knew for how long. Settable. [ms]
    """

    zone: ZoneInfo
    start_utc_ms: int
    utc_error_ms: int = 0
    trusted: bool = True
    lost_ms: int = 0
    _offset: tuple[int, int] = field(default=(-1, 0), init=False)

    def stamp(self, now_ms: int) -> Stamp:
        """Read all clocks at a true instant [ms]."""
        utc_ms = now_ms + self.utc_error_ms
        quarter = utc_ms // QUARTER_MS
        if self._offset[0] != quarter:
            offset = datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(self.zone).utcoffset()
            self._offset = (quarter, 0 if offset is None else round(offset.total_seconds() / 60))
        return Stamp(self.house_ms(now_ms), utc_ms, self._offset[1], self.trusted)

    def house_ms(self, now_ms: int) -> int:
        """House time of a true instant [ms]."""
        return now_ms - self.start_utc_ms - self.lost_ms

    def true_ms(self, house_ms: int) -> int:
        """Return the true instant of a house time [ms]."""
        return house_ms + self.start_utc_ms + self.lost_ms

    def standard_offset_min(self) -> int:
        """Return the zone's standard offset, so that the keeper's day does not shift with the season [min]."""
        year = datetime.fromtimestamp(self.start_utc_ms / 1000, tz=UTC).year
        offsets = [
            datetime(year, month, 15, tzinfo=self.zone).utcoffset() or timedelta(0) for month in (1, 7)
        ]
        return round(min(offsets).total_seconds() / 60)
