"""A light sensor that shows less or more than it used to under clear skies: told in the hour, and allowed for.

Clear windows of ten minutes (`self_knowledge`) are held against the sensor's own clear days before, so that neither
the clear-sky model's error, 5 to 10 % (Reno, Hansen & Stein 2012, SAND2012-2389), nor the sensor's counts. The air of
one clear hour differs from that of the next with a standard deviation of 8 % (Bright, Smith, Taylor & Crook 2015,
Solar Energy 115:229-242), so one hour tells of a large shift alone and two hours of a smaller one.

The reading is then multiplied, within bounds and never silently, until it is as it was or has become usual.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Final, NamedTuple

USUAL_DAYS_LEAST: Final = 4
"""Fewer clear days before do not say what is usual. [1]"""

FIRST_DAYS: Final = 6
"""A slow fall is held against so many of the oldest clear days. [1]"""

WINDOWS_SURE: Final = 3
SHIFT_SURE: Final = 0.18
"""Three clear windows tell of a shift beyond this, more than twice the spread of one hour's air (our choice). [1]"""

WINDOWS_LIKELY: Final = 6
HOURS_LIKELY: Final = 2
SHIFT_LIKELY: Final = 0.11
"""Six clear windows of two hours or more tell of one beyond this (our choice). [1]"""

SHIFT_OVER: Final = 0.06
"""A shift is over when clear windows are within this of what is usual (our choice). [1]"""

FACTORS: Final = (0.8, 1.4)
"""A reading is never counted less or more than this many times (our choice). [1]"""

SPELL_DAYS_MOST: Final = 30
"""So many clear days of a shift make it the usual (our choice). [1]"""

STEP_LEAST: Final = 0.02
"""A smaller change of a shift is not worth a write to the card (our choice). [1]"""

WINDOW_HOUR_MIN: Final = 60


class Shift(NamedTuple):
    """A sensor's shift that is in force: the share of its usual reading it shows, and its clear days since [1]."""

    share: float
    days: tuple[float, ...] = ()

    @property
    def factor(self) -> float:
        """By what its reading is multiplied, within `FACTORS`."""
        return min(max(1.0 / self.share, FACTORS[0]), FACTORS[1])


def find_usual(days: Sequence[tuple[int, float]]) -> float | None:
    """Return the quotient to a clear sky that is usual for a sensor, or None before enough clear days [1].

    The larger of the median of all clear days and that of the oldest, so that slow dirt does not become the usual.
    """
    if len(days) < USUAL_DAYS_LEAST:
        return None
    values = [value for _, value in days]
    return max(median(values), median(values[:FIRST_DAYS]))


def find_shift(
    shift: Shift | None, windows: Sequence[tuple[int, float]], days: Sequence[tuple[int, float]]
) -> Shift | None:
    """Return the shift that today's clear windows show, the one in force if they tell nothing new, or None.

    Parameters
    ----------
    shift
        What is in force.
    windows
        Minute [min] and quotient to a clear sky [1] of each clear window of today.
    days
        Local day and quotient of the clear days before the shift.
    """
    usual = find_usual(days)
    if usual is None or len(windows) < WINDOWS_SURE:
        return shift
    today = median(quotient for _, quotient in windows) / usual
    if shift is None:
        hours = {minute // WINDOW_HOUR_MIN for minute, _ in windows}
        is_sure = abs(today - 1.0) > SHIFT_SURE
        is_likely = (
            len(windows) >= WINDOWS_LIKELY and len(hours) >= HOURS_LIKELY and abs(today - 1.0) > SHIFT_LIKELY
        )
        return Shift(today) if is_sure or is_likely else None
    if abs(today - 1.0) <= SHIFT_OVER:
        return None
    share = median((*shift.days, today))
    return shift if abs(share - shift.share) < STEP_LEAST else shift._replace(share=share)


def end_day(
    shift: Shift | None, value: float, days: tuple[tuple[int, float], ...]
) -> tuple[Shift | None, bool]:
    """Take a clear day's quotient into a shift; also say whether the day counts to the usual ones."""
    usual = find_usual(days)
    if shift is None or usual is None:
        return shift, True
    share = value / usual
    lasted = (*shift.days, share)
    if len(lasted) >= SPELL_DAYS_MOST:
        return None, True
    return Shift(median(lasted), lasted), False


def tell_shift(shift: Shift, usual: float, windows: int) -> str:
    """Say what the clear windows show, what it may be, and what is done about it."""
    cause = "dirty, shaded or moved? wipe it" if shift.share < 1.0 else "moved, cleaned or replaced?"
    return (
        f"shows {(shift.share - 1.0) * 100:+.0f} % against its clear days before: {cause}; "
        f"{shift.share * usual * 100:.0f} % of a clear sky over {windows} clear spells of ten minutes today, "
        f"{usual * 100:.0f} % before; its reading is counted {shift.factor:.2f} times until it is as before"
    )
