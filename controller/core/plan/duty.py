"""Who is on duty when: rows of days and hours, in the site's local time."""

from __future__ import annotations

import re
from enum import Enum
from typing import Final

from controller.core.plan.part import REQUIRED, Part, key


class Day(Enum):
    """A kind of day. A public holiday is a holiday whatever day of the week it falls on."""

    MON = "mon"
    TUE = "tue"
    WED = "wed"
    THU = "thu"
    FRI = "fri"
    SAT = "sat"
    SUN = "sun"
    HOLIDAY = "holiday"


WEEK: Final = (Day.MON, Day.TUE, Day.WED, Day.THU, Day.FRI, Day.SAT, Day.SUN)
"""The days of the week in the order of ISO 8601."""

DAY_MINUTES: Final = 1440
"""Minutes of a day on the wall's clock. [min]"""

_TIME: Final = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])|(24):(00)", re.ASCII)


class Duty(Part):
    """One row of the roster. Times are local; a row that ends at or before its begin ends on the next day."""

    days: tuple[Day, ...] = key(REQUIRED, "Days on which it begins; holiday stands for public holidays.")
    from_time: str = key(REQUIRED, "Local time at which it begins, such as 17:00.", max_length=5)
    until_time: str = key(
        REQUIRED, "Local time at which it ends, next day if not later than the begin.", max_length=5
    )
    person: str = key(REQUIRED, "Who is on duty.", max_length=20)
    stand_in: str = key("", "Who is on duty while that person is away.", max_length=20)


def read_minute(text: str) -> int | None:
    """Read a local time such as 07:30 as minutes since midnight [min], 24:00 as 1440; None if it is none."""
    found = _TIME.fullmatch(text)
    if found is None:
        return None
    hour, minute = (found[1], found[2]) if found[1] is not None else (found[3], found[4])
    return int(hour) * 60 + int(minute)
