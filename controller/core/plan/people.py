"""Who is told, in which order, and by which way."""

from __future__ import annotations

from enum import Enum

from controller.core.plan.alarm import Response
from controller.core.plan.part import REQUIRED, Part, key


class Way(Enum):
    """A way to reach a person."""

    EMAIL = "email"
    TEXT = "text"
    WEBHOOK = "webhook"
    SERVICE = "service"
    LOG = "log"


class Person(Part):
    """Somebody who can be told and can answer."""

    name: str = key(REQUIRED, "Name or role; it stands in messages and in the record.", max_length=20)
    email: str = key("", "Mail address.", max_length=120)
    phone: str = key("", "Number for text messages: + and digits, country first.", max_length=40)
    webhook: str = key("", "Address (https) that takes signed messages for this person.", max_length=300)
    service_file: str = key("", "File that holds the address of a messaging service and nothing else.")
    word_file: str = key("", "File that holds this person's own word for the page and nothing else.")
    away: tuple[str, ...] = key(
        (), "Days or spans of days away, such as 2026-08-01 or 2026-08-01/2026-08-14: nobody calls them."
    )


class CallStep(Part):
    """One step of the call list: after so many minutes, these people, by these ways."""

    response: Response = key(REQUIRED, "Which alarms it is for: emergency or today.")
    after_min: float = key(REQUIRED, "Minutes after the alarm sounds.", unit="min", ge=0, le=1440)
    people: tuple[str, ...] = key(REQUIRED, "Names of the people told in this step.")
    ways: tuple[Way, ...] = key((Way.EMAIL,), "Ways used in this step.")


class CallRules(Part):
    """What happens when the list has come to its end."""

    repeat_min: float = key(
        10.0, "Emergency: whole list again after this, for ever.", unit="min", ge=1, le=120
    )
    repeat_today_min: float = key(
        120.0, "Today: the list again after this, until answered.", unit="min", ge=10, le=1440
    )
    call_out_and_travel_min: float = key(30.0, "Time a person needs to get there.", unit="min", ge=0, le=600)
    quiet_from: str = key(
        "", "Local time at which quiet hours begin, such as 22:00; empty for none.", max_length=5
    )
    quiet_to: str = key("", "Local time at which quiet hours end, such as 06:00.", max_length=5)
    flood_alarms: int = key(10, "More alarms than this within 10 min go into one message.", ge=3, le=100)
    calls_most: int = key(
        2, "A person called for so many alarms within 12 h is passed over if another can; 0 never.", ge=0,
        le=20,
    )  # fmt: skip
    holidays: tuple[str, ...] = key((), "Public holidays, each such as 2026-12-25.")
    holidays_file: str = key("", "iCalendar file with further public holidays.", max_length=300)
