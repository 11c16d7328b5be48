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
