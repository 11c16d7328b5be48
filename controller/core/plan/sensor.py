"""A sensor: what it measures, how it speaks, and what of its speech can be believed."""

from __future__ import annotations

from enum import Enum

from controller.core.plan.part import REQUIRED, Part, key
from controller.core.units import Quantity


class Mounted(Enum):
    """Where a light sensor sits; under the curtain it sees the curtain's own shadow."""

    OUTSIDE = "outside"
    ABOVE_CURTAIN = "above curtain"
    BELOW_CURTAIN = "below curtain"


class Form(Enum):
    """How a payload is written."""

    NUMBER = "number"
    JSON = "json"
    SENML = "senml"


class Sensor(Part):
    """One sensor. Limits are in the kept unit of its quantity, whatever unit it sends."""

    name: str = key(REQUIRED, "Name, as staff say it; rules and alarms refer to it.", max_length=40)
    quantity: Quantity = key(REQUIRED, "What it measures.")
    unit: str = key(REQUIRED, "Unit it sends.")
    topic: str = key("", "Exact MQTT topic it publishes to; needed unless it is entered.", max_length=200)
    entered: bool = key(False, "Whether people enter its values by hand, as of a test kit.")
    enter_every_days: float = key(
        3.5,
        "entered: a test is due after this; after twice as long the value is unknown.",
        unit="days",
        ge=0.25,
        le=60,
    )
    form: Form = key(Form.NUMBER, "How the payload is written: number, json or senml.")
    pointer: str = key("", "json: pointer to the value (RFC 6901).", max_length=200)
    unit_pointer: str = key("", "json: pointer to the unit, if it sends one.", max_length=200)
    time_pointer: str = key("", "json: pointer to the time of the reading, if it sends one.", max_length=200)
    senml_name: str = key(
        "", "senml: resolved name of the record; needed if a pack holds several.", max_length=200
    )
    place: str = key("", "Where it is, for messages.", max_length=24)
    mounted: Mounted | None = key(None, "light: outside, above curtain or below curtain.")
    interval_s: float = key(60.0, "Time between readings.", unit="s", ge=0.1, le=86400)
    stale_after_s: float | None = key(
        None,
        "Age at which a reading is stale; three intervals, at least 60 s, if absent.",
        unit="s",
        ge=1,
        le=604800,
    )
    possible_low: float | None = key(None, "Lowest value that can be true.", unit="kept unit")
    possible_high: float | None = key(None, "Highest value that can be true.", unit="kept unit")
    fastest_per_min: float | None = key(
        None, "Fastest change that can be true.", unit="kept unit per min", gt=0
    )
    flat_after_min: float | None = key(
        None, "Time without any change after which it is doubted; 0 never.", unit="min", ge=0, le=10080
    )
    sensor_ceiling: float | None = key(None, "Value at which it saturates.", unit="kept unit")
    on_word: str = key("on", "switch: payload that means on, besides 1.", max_length=20)
    off_word: str = key("off", "switch: payload that means off, besides 0.", max_length=20)
