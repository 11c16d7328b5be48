"""What is known of one sensor, and the numbers its trust is judged by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

from controller.core.plan.sensor import Mounted, Sensor
from controller.core.plan.sensor_defaults import (
    fastest_per_min,
    flat_after_ms,
    possible_range,
    stale_after_ms,
)
from controller.core.units import KEPT_UNIT, HouseMs, Quantity, UtcMs
from controller.core.vocabulary import Trust

NEVER: Final[HouseMs] = 2**62
"""A deadline that does not come. [ms]"""


class Sense(NamedTuple):
    """What is known of one sensor now.

    `value` is the last value heard inside the possible range, in the kept unit; `trust` says whether it may
    be used. `heard_ms` is when the sensor last spoke, `changed_ms` when its value last differed, `dark_ms`
    since when a light sensor has been far below a clear sky (or None). `stale_ms` is when it becomes stale.
    """

    value: float | None
    trust: Trust
    why: str
    heard_ms: HouseMs
    changed_ms: HouseMs
    stale_ms: HouseMs
    rate_per_min: float
    taken_utc_ms: UtcMs
    dark_ms: HouseMs | None
    last: float | None
    refused: int


UNHEARD: Final = Sense(None, Trust.MISSING, "has not spoken yet", 0, 0, NEVER, 0.0, 0, None, None, 0)
"""A sensor that has not spoken. Its deadline is set when the daemon starts."""


@dataclass(frozen=True, slots=True)
class Spec:
    """The numbers that judge one sensor, made once from the settings. Kept units, per minute, ms."""

    name: str
    unit: str
    low: float
    high: float
    fastest_per_min: float
    flat_after_ms: int
    stale_after_ms: int
    is_light: bool
    is_outside: bool
    is_switch: bool
    ceiling: float


def make_spec(sensor: Sensor, *, in_water: bool = False) -> Spec:
    """Make the judging numbers of `sensor` from its settings and the defaults of its quantity and place."""
    low, high = possible_range(sensor, in_water=in_water)
    fastest = fastest_per_min(sensor, in_water=in_water)
    return Spec(
        name=sensor.name,
        unit=KEPT_UNIT[sensor.quantity],
        low=low,
        high=high,
        fastest_per_min=float("inf") if fastest is None else fastest,
        flat_after_ms=flat_after_ms(sensor),
        stale_after_ms=stale_after_ms(sensor),
        is_light=sensor.quantity is Quantity.LIGHT,
        is_outside=sensor.mounted is Mounted.OUTSIDE,
        is_switch=sensor.quantity is Quantity.SWITCH,
        ceiling=float("inf") if sensor.sensor_ceiling is None else sensor.sensor_ceiling,
    )
