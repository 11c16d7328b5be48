"""Whether a rule that begins and ends after delays is surely in force, surely not, or neither can be said.

A condition is judged as True (surely), False (surely not) or None (within the error of a sensor, nobody can say).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

Sure = bool | None
"""True surely, False surely not, None perhaps."""


class Window:
    """The least and the most of the last minutes: a smoothed or late reading lies between them.

    Parameters
    ----------
    minutes : int
        How many minutes count. [min]
    """

    def __init__(self, minutes: int) -> None:
        self._last: deque[float] = deque(maxlen=minutes)
        self.low = self.high = 0.0

    def take(self, value: float) -> None:
        """Take a minute's value."""
        self._last.append(value)
        self.low, self.high = min(self._last), max(self._last)

    def above(self, limit: float, *, margin: float = 0.0, share: float = 1.0) -> Sure:
        """Tell whether it is above a limit, with a margin in its unit and as a factor of at least 1."""
        if self.low > limit * share + margin:
            return True
        return False if self.high < limit / share - margin else None

    def below(self, limit: float, *, margin: float = 0.0, share: float = 1.0) -> Sure:
        """Tell whether it is below a limit."""
        return no(self.above(limit, margin=margin, share=share))


@dataclass(slots=True)
class Spell:
    """The memory of one rule; after `forget` nobody can say until it surely begins or surely ends."""

    on: Sure = False
    _begins_min: int = field(default=0, init=False)
    _ends_min: int = field(default=0, init=False)

    def forget(self) -> None:
        """Know nothing any more."""
        self.on, self._begins_min, self._ends_min = None, 0, 0

    def pass_minute(self, *, begins: Sure, ends: Sure, begin_min: float, end_min: float) -> Sure:
        """Let a minute pass; `begin_min` and `end_min` are the delays with all that may be added to them [min]."""
        self._begins_min = self._begins_min + 1 if begins is True else 0
        self._ends_min = self._ends_min + 1 if ends is True else 0
        if self._begins_min > begin_min:
            self.on = True
        elif self._ends_min > end_min:
            self.on = False
        elif (self.on is False and begins is not False) or (self.on is True and ends is not False):
            self.on = None
        return self.on


def both(one: Sure, other: Sure) -> Sure:
    """Tell whether both are so."""
    if one is False or other is False:
        return False
    return True if one is True and other is True else None


def either(one: Sure, other: Sure) -> Sure:
    """Tell whether one of the two is so."""
    return no(both(no(one), no(other)))


def no(one: Sure) -> Sure:
    """Tell whether it is not so."""
    return None if one is None else not one
