"""Instruments for the sensors of any settings: what each shows is taken from its quantity, place and name."""

from __future__ import annotations

from typing import Final

from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Mounted, Sensor
from controller.core.units import Quantity
from simulators import sensors
from simulators.instruments import Instrument, read_site

OUTSIDE: Final = ("outdoor", "outside", "roof", "weather")
WATER: Final = ("tank", "water", "raft", "pond", "sump", "loop")
NUTRIENT: Final = ("line", "nutrient", "channel")

LIKE: Final = {
    Quantity.LIGHT: sensors.mild_light,
    Quantity.TEMPERATURE: sensors.mild_air_temperature,
    Quantity.HUMIDITY: sensors.mild_humidity,
    Quantity.OXYGEN: sensors.mild_oxygen,
    Quantity.PH: sensors.mild_ph,
}
"""The usual sensor of a quantity; the others are shown as they are."""


def fit_instruments(plan: Plan, seed: int) -> tuple[Instrument, ...]:
    """Return an instrument for each sensor that speaks and that the simulated house can show something for.

    The demo site has its own instruments; those of other settings are fitted.
    """
    site = {instrument.name: instrument for instrument in read_site(seed)}
    speaking = [sensor for sensor in plan.sensor if sensor.topic]
    if all(sensor.name in site for sensor in speaking):
        return tuple(site[sensor.name] for sensor in speaking)
    return tuple(
        Instrument(
            sensor.name,
            shows,
            _make(sensor.quantity, seed, sensor.name),
            max(1, round(sensor.interval_s / 60)),
        )
        for sensor in speaking
        if (shows := find_shown(sensor)) is not None
    )


def _make(quantity: Quantity, seed: int, name: str) -> sensors.Sensor:
    make = LIKE.get(quantity)
    return sensors.Sensor(seed=seed, name=name) if make is None else make(seed, name)


def find_shown(sensor: Sensor) -> str | None:
    """Find which true value of the house a sensor shows; None if the house has no such thing."""
    words = f"{sensor.name} {sensor.place} {sensor.topic}".casefold()
    tank = "2" if "2" in words and any(word in words for word in WATER) else "1"
    match sensor.quantity:
        case Quantity.LIGHT:
            return "light below" if sensor.mounted is Mounted.BELOW_CURTAIN else "light outside"
        case Quantity.TEMPERATURE:
            if any(word in words for word in OUTSIDE):
                return "temperature outside"
            return f"temperature {tank}" if any(word in words for word in WATER) else "temperature inside"
        case Quantity.HUMIDITY:
            return "humidity inside"
        case Quantity.WIND_SPEED:
            return "wind"
        case Quantity.OXYGEN:
            return f"oxygen {tank}"
        case Quantity.PH:
            return "ph line" if any(word in words for word in NUTRIENT) else f"ph {tank}"
        case Quantity.CONDUCTIVITY:
            return "conductivity line" if any(word in words for word in NUTRIENT) else "conductivity loop"
        case Quantity.LEVEL:
            return f"level {tank}"
        case Quantity.FLOW:
            return "flow"
        case Quantity.SWITCH:
            return "mains" if "mains" in words or "power" in words else "air pump"
        case _:
            return None
