"""The clock on the wall, read from a stamp alone: the local day, the minute of it, and the time until another.

A stamp says how far local time is from UTC now, not when that changes. Whoever waits for a local time looks
again at least every hour, so a night in which the clocks change is met within the hour, and what is done once
a day remembers the day on which it was done.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from controller.core.plan.duty import DAY_MINUTES
from controller.core.units import DAY_MS, MINUTE_MS, HouseMs
from controller.core.vocabulary import Stamp

EPOCH_WEEKDAY: Final = 3
"""1970-01-01 was a Thursday; Monday is 0."""

LOOK_AGAIN_MIN: Final = 60
"""Nobody waits longer than this for a local time without looking at the clock again. [min]"""


class Wall(NamedTuple):
    """Local time: days since 1970-01-01, and minutes since midnight [min]."""

    day: int
    minute: int

    @property
    def weekday(self) -> int:
        """Day of the week, Monday 0."""
        return (self.day + EPOCH_WEEKDAY) % 7


def read_wall(stamp: Stamp) -> Wall | None:
    """Read local time, or None while the board's clock has not been set."""
    if not stamp.utc_trusted:
        return None
    local_ms = stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS
    return Wall(local_ms // DAY_MS, local_ms % DAY_MS // MINUTE_MS)


def wait_until_ms(stamp: Stamp, minute: int) -> HouseMs:
    """Return when to look whether local time has come to `minute` of a day [ms]; within the hour, after now."""
    local_ms = (stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS) % DAY_MS
    left_ms = (minute * MINUTE_MS - local_ms - 1) % DAY_MS + 1
    return stamp.house_ms + min(left_ms, LOOK_AGAIN_MIN * MINUTE_MS)


def minutes_left(wall: Wall, minute: int) -> int:
    """Count the minutes [min] until the wall's clock next shows `minute` of a day; 0 if now."""
    return (minute - wall.minute) % DAY_MINUTES
