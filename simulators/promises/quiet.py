"""The quiet hours of the settings, reckoned from the clock on the wall."""

from __future__ import annotations

from typing import NamedTuple, Self

from controller.core.units import MINUTE_MS
from controller.core.vocabulary import Stamp

DAY_MIN = 1440


class QuietHours(NamedTuple):
    """From which minute of the local day to which; the same for none [min]."""

    from_min: int
    to_min: int

    @classmethod
    def read(cls, begin: str, end: str) -> Self:
        """Read them from the settings' words; empty words are none."""
        if not begin or not end:
            return cls(0, 0)
        return cls(*(int(word[:2]) * 60 + int(word[3:]) for word in (begin, end)))

    def left_ms(self, stamp: Stamp) -> int:
        """Time until they end [ms]; 0 if it is not quiet, or nobody knows the time."""
        if not stamp.utc_trusted or self.from_min == self.to_min:
            return 0
        minute = (stamp.utc_ms // MINUTE_MS + stamp.utc_offset_min) % DAY_MIN
        length = (self.to_min - self.from_min) % DAY_MIN
        into = (minute - self.from_min) % DAY_MIN
        return (length - into) * MINUTE_MS if into < length else 0

    def near(self, stamp: Stamp, after_ms: int) -> bool:
        """Tell whether it is quiet, or was within a time before now [ms]."""
        before = stamp._replace(utc_ms=stamp.utc_ms - after_ms)
        return self.left_ms(stamp) > 0 or self.left_ms(before) > 0
