"""When a test kit is due, and when people may be reminded of it: once a day, never at night."""

from __future__ import annotations

from typing import Final

from controller.core.alarms.alarm import Truth
from controller.core.alarms.wall import minutes_left, read_wall
from controller.core.plan.alarm import AlarmEntry, Kind
from controller.core.plan.sensor import Sensor
from controller.core.signals.sense import Sense
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, HouseMs
from controller.core.vocabulary import Stamp, Trust

MORNING_MIN: Final = 8 * 60
EVENING_MIN: Final = 20 * 60
"""The part of the local day in which a reminder may come (our choice). [min]"""

REMIND_EVERY_MS: Final = DAY_MS


def judge_due_test(sensor: Sensor | None, sense: Sense | None, stamp: Stamp) -> Truth:
    """Judge whether a test is due: true by day, unknown at night, so that a reminder waits for the morning."""
    if sensor is None or sense is None:
        return Truth.UNKNOWN
    age_ms = stamp.house_ms - sense.heard_ms
    if sense.trust is not Trust.MISSING and age_ms < sensor.enter_every_days * DAY_MS:
        return Truth.FALSE
    return Truth.TRUE if is_day(stamp) else Truth.UNKNOWN


def is_day(stamp: Stamp) -> bool:
    """Tell whether people may be reminded now; while the board's clock has not been set nobody knows."""
    wall = read_wall(stamp)
    return wall is not None and MORNING_MIN <= wall.minute < EVENING_MIN


def hold_until_ms(entry: AlarmEntry, stamp: Stamp) -> HouseMs | None:
    """Return until when a reminder is held back at night [ms]; None for what must not wait, and by day."""
    if entry.kind is not Kind.DUE or is_day(stamp):
        return None
    wall = read_wall(stamp)
    if wall is None:
        return stamp.house_ms + HOUR_MS
    return stamp.house_ms + max(minutes_left(wall, MORNING_MIN), 1) * MINUTE_MS


def next_reminder_ms(entry: AlarmEntry, asked_ms: HouseMs, stamp: Stamp) -> HouseMs:
    """Return when to call next [ms]: as the list asks, but for a reminder not before the same hour tomorrow."""
    if entry.kind is not Kind.DUE:
        return asked_ms
    return max(asked_ms, stamp.house_ms + REMIND_EVERY_MS)
