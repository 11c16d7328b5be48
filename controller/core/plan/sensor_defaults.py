"""What can be believed of a sensor when its settings do not say: range, rate, flat line and age by quantity.

One row a quantity, each with its source; "our choice" where no published figure fits. The rows are wide on
purpose: they find broken probes and wires, and leave unusual weather and sick water to the alarms.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from controller.core.plan.sensor import Sensor
from controller.core.units import DAY_MS, MINUTE_MS, SECOND_MS, Quantity

INTERVALS_UNTIL_STALE: Final = 3
"""Readings that may fail to come before the last one counts as old: one loss is usual, three are not."""

ENTRIES_UNTIL_STALE: Final = 2
"""Tests that are due before an entered value is unknown: one may be forgotten over a holiday, two may not."""

LEAST_STALE_AFTER_MS: Final = 60_000
"""A sensor that speaks every second is not called silent over a broker's restart. [ms]"""


@dataclass(frozen=True, slots=True)
class Believable:
    """What a quantity can do, in its kept unit.

    `low`, `high` bound the values that can be true. `fastest_per_min` is the fastest change that can be true
    [kept unit per min], None where any change can be. `flat_after_min` is the time without any change after
    which it is doubted [min], 0 where a true value may stand still for ever.
    """

    low: float
    high: float
    fastest_per_min: float | None
    flat_after_min: float
    source: str


_KIT: Final = "our choice: above every common test kit; entered by hand or by slow analysers, so no rate"

BELIEVABLE: Final[dict[Quantity, Believable]] = {
    Quantity.TEMPERATURE: Believable(
        -40.0,
        60.0,
        5.0,
        720.0,
        "our choice: excludes the 85 C and -127 C rails of common digital probes; a vent opening in frost "
        "moves the air by a few degrees a minute; rounded readings of a tank stand still for hours",
    ),
    Quantity.HUMIDITY: Believable(
        0.0,
        100.0,
        30.0,
        1440.0,
        "definition of relative humidity; rate and flat line our choice",
    ),
    Quantity.LIGHT: Believable(
        -4.0,
        2250.0,
        None,
        60.0,
        "Long & Dutton 2002, BSRN recommended quality control tests V2.0, physically possible limits of global "
        "irradiance: -4 W/m2 to 1.5 Sa mu0^1.2 + 100 W/m2, 2211 W/m2 at Sa 1407 and mu0 1; clouds make any "
        "rate true; flat line our choice, asked only under a sun that must move it",
    ),
    Quantity.WIND_SPEED: Believable(
        0.0, 75.0, None, 1440.0, "our choice: common anemometers end at 60-75 m/s"
    ),
    Quantity.PRESSURE: Believable(
        450.0,
        1090.0,
        10.0,
        1440.0,
        "our choice: 6000 m above sea level to the highest ever reported",
    ),
    Quantity.PH: Believable(
        3.0,
        11.0,
        0.5,
        1440.0,
        "our choice: outside it no fish lives and no glass electrode of a tank is sound",
    ),
    Quantity.OXYGEN: Believable(
        0.0,
        20.0,
        1.0,
        720.0,
        "our choice: Benson & Krause 1984 gives 14.6 mg/L at 0 C, left room for pure oxygen",
    ),
    Quantity.OXYGEN_SATURATION: Believable(
        0.0, 200.0, 12.0, 720.0, "our choice: pure oxygen in use; 12 % a minute is about 1 mg/L a minute"
    ),
    Quantity.CONDUCTIVITY: Believable(
        0.0, 10.0, 1.0, 1440.0, "our choice: above any fish or crop water of a fresh-water loop"
    ),
    Quantity.LEVEL: Believable(
        0.0, 500.0, 30.0, 0.0, "our choice: depth of a tank; at an overflow pipe a true level stands still"
    ),
    Quantity.FLOW: Believable(
        0.0,
        5000.0,
        None,
        0.0,
        "our choice: a pump stops and starts at once; nothing flows flat when it is off",
    ),
    Quantity.TOTAL_AMMONIA: Believable(0.0, 50.0, None, 0.0, _KIT),
    Quantity.UNIONISED_AMMONIA: Believable(0.0, 10.0, None, 0.0, _KIT),
    Quantity.NITRITE: Believable(0.0, 50.0, None, 0.0, _KIT),
    Quantity.NITRATE: Believable(0.0, 2000.0, None, 0.0, _KIT),
    Quantity.ALKALINITY: Believable(0.0, 1000.0, None, 0.0, _KIT),
    Quantity.CARBON_DIOXIDE: Believable(0.0, 200.0, None, 0.0, _KIT),
    Quantity.WATER_LOSS: Believable(-1e6, 1e6, None, 0.0, "reckoned from the level; no sensor measures it"),
    Quantity.FILTER_LOAD: Believable(0.0, 1e4, None, 0.0, "reckoned from the feed; no sensor measures it"),
    Quantity.POSITION: Believable(
        -2.0, 102.0, None, 0.0, "our choice: a position by potentiometer overshoots its ends a little"
    ),
    Quantity.SWITCH: Believable(0.0, 1.0, None, 0.0, "definition: 0 off, 1 on"),
}

assert set(BELIEVABLE) == set(Quantity), "every quantity says what of it can be believed"

IN_WATER: Final = Believable(
    -1.0,
    45.0,
    1.0,
    720.0,
    "our choice: fresh water is ice below 0 C, left a degree for the probe; above 45 C lives none of the fish, and "
    "no formula of oxygen holds above 40 C. Rate: a degree a minute in 500 L takes 35 kW",
)
"""The row of a thermometer that a body of water names as its own: water does much less than air."""


def find_row(sensor: Sensor, *, in_water: bool = False) -> Believable:
    """Find what a sensor can do by its quantity; a thermometer `in_water` has a row of its own."""
    return IN_WATER if in_water and sensor.quantity is Quantity.TEMPERATURE else BELIEVABLE[sensor.quantity]


def possible_range(sensor: Sensor, *, in_water: bool = False) -> tuple[float, float]:
    """Lowest and highest value that can be true. [kept unit] Settings first, then the quantity's row."""
    row = find_row(sensor, in_water=in_water)
    low = row.low if sensor.possible_low is None else sensor.possible_low
    high = row.high if sensor.possible_high is None else sensor.possible_high
    return low, high


def fastest_per_min(sensor: Sensor, *, in_water: bool = False) -> float | None:
    """Fastest change that can be true, positive [kept unit per min]; None when any change can be true."""
    if sensor.fastest_per_min is not None:
        return sensor.fastest_per_min
    return find_row(sensor, in_water=in_water).fastest_per_min


def flat_after_ms(sensor: Sensor) -> int:
    """Time without any change after which a value is doubted [ms]; 0 when it may stand still for ever."""
    minutes = sensor.flat_after_min
    if minutes is None:
        minutes = BELIEVABLE[sensor.quantity].flat_after_min
    return round(minutes * MINUTE_MS)


def stale_after_ms(sensor: Sensor) -> int:
    """Age at which a reading is stale, positive [ms]: as set, or three intervals and at least a minute."""
    if sensor.stale_after_s is not None:
        return round(sensor.stale_after_s * SECOND_MS)
    if sensor.entered:
        return round(ENTRIES_UNTIL_STALE * sensor.enter_every_days * DAY_MS)
    return max(round(INTERVALS_UNTIL_STALE * sensor.interval_s * SECOND_MS), LEAST_STALE_AFTER_MS)
