"""An entry of the master alarm list: what is wrong, why, what happens if nobody acts, and what to do.

The record follows the rationalisation record of ISA-18.2 / IEC 62682: an entry without cause, consequence,
action and time to respond is no alarm and is refused.
"""

from __future__ import annotations

from enum import Enum

from controller.core.plan.part import REQUIRED, Part, key
from controller.core.plan.water import Loop


class Kind(Enum):
    """What makes the condition true."""

    HIGH = "high"
    LOW = "low"
    RATE = "rate"
    MISSING = "missing"
    DOUBTFUL = "doubtful"
    SWITCH = "switch"
    DUE = "due"
    FAULT = "fault"


class Response(Enum):
    """How it reaches people: call until answered, tell the person on duty, or write down."""

    EMERGENCY = "emergency"
    TODAY = "today"
    NOTE = "note"


class Watched(Enum):
    """A part of Duskbell or of its surroundings that can be in trouble."""

    BROKER = "broker"
    JOURNAL = "journal"
    HISTORY = "history"
    MESSAGES = "messages"
    MODEM = "modem"
    SIREN = "siren"
    REPLIES = "replies"
    CURTAIN = "curtain"
    LEARNT = "learnt"
    SKY = "sky"
    CLOCK = "clock"
    SETTINGS = "settings"
    PEOPLE = "people"
    PATHS = "paths"


class AlarmEntry(Part):
    """One entry. `limit`, `deadband` are in the kept unit of the sensor's quantity."""

    name: str = key(REQUIRED, "Name of the hazard, as staff say it.", max_length=40)
    kind: Kind = key(REQUIRED, "high, low, rate, missing, doubtful, switch, due (a test kit) or fault.")
    sensor: str = key("", "Sensor it watches; none for kind fault.")
    of: Watched | None = key(None, "fault: the part of Duskbell it watches.")
    limit: float | None = key(
        None, "high, low: the limit; rate: change per minute, negative for a fall.", unit="kept unit"
    )
    harm_at: float | None = key(
        None,
        "high, low: value at which harm begins, for the time left; the limit if absent.",
        unit="kept unit",
    )
    loop: Loop | None = key(None, "high, low, rate: loop that the limit is meant for.")
    deadband: float = key(0.0, "How far back past the limit counts as over.", unit="kept unit", ge=0)
    alarm_when: str = key("off", "switch: the position that is wrong, on or off.")
    on_delay_s: float = key(60.0, "How long it must last before it sounds.", unit="s", ge=0, le=86400)
    off_delay_s: float = key(
        60.0, "How long it must be over before it counts as over.", unit="s", ge=0, le=86400
    )
    response: Response = key(REQUIRED, "emergency, today or note.")
    cause: str = key(REQUIRED, "What usually causes it.", max_length=300)
    consequence: str = key(REQUIRED, "What happens if nobody acts.", max_length=300)
    action: str = key(REQUIRED, "What to do first, in a few words; it goes into the message.", max_length=60)
    time_to_respond_min: float = key(REQUIRED, "Time from the alarm until harm.", unit="min", gt=0, le=20160)
    sound_again_min: float = key(
        30.0, "Sounds again if answered but still wrong after this.", unit="min", ge=5, le=10080
    )
    latching: bool = key(False, "Stays until a person resets it.")
    suppressed_by: tuple[str, ...] = key(
        (), "Names of alarms that are its cause: while one of them is open this one calls nobody."
    )
