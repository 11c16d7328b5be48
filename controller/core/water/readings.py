"""Which readings can be reckoned for a body of water from what its settings name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from controller.core.plan.sensor import Sensor
from controller.core.plan.water import Water
from controller.core.units import KEPT_UNIT, Quantity


@dataclass(frozen=True, slots=True)
class Recipe:
    """One derived reading: its name, what it is, and the sensors it is reckoned from, in a fixed order."""

    name: str
    quantity: Quantity
    inputs: tuple[str, ...]
    water: Water
    elevation_m: float


def make_recipes(water: Water, *, elevation_m: float) -> tuple[Recipe, ...]:
    """List the readings that can be derived for `water`; `elevation_m` is that of the site [m]."""
    return tuple(
        Recipe(f"{water.name} {quantity.value}", quantity, inputs, water, elevation_m)
        for quantity, inputs in _list_inputs(water)
    )


def _list_inputs(water: Water) -> Iterator[tuple[Quantity, tuple[str, ...]]]:
    wanted: tuple[tuple[Quantity, tuple[str, ...]], ...] = (
        (Quantity.UNIONISED_AMMONIA, (water.total_ammonia, water.ph, water.temperature)),
        (Quantity.OXYGEN_SATURATION, (water.oxygen, water.temperature)),
        (Quantity.CARBON_DIOXIDE, (water.ph, water.alkalinity, water.temperature)),
    )
    for quantity, inputs in wanted:
        if all(inputs):
            if quantity is Quantity.OXYGEN_SATURATION and water.pressure:
                yield quantity, (*inputs, water.pressure)
            else:
                yield quantity, inputs
    if water.level and water.surface_m2 is not None:
        yield Quantity.WATER_LOSS, (water.level,)
    if water.filter_m2 is not None and water.feed_g_d is not None:
        yield Quantity.FILTER_LOAD, ((water.temperature,) if water.temperature else ())


def make_sensor(recipe: Recipe) -> Sensor:
    """Describe a derived reading as a sensor is described, for words about it."""
    return Sensor(
        name=recipe.name,
        quantity=recipe.quantity,
        unit=KEPT_UNIT[recipe.quantity],
        place=recipe.water.name,
    )


def list_sensors(water: Water) -> tuple[str, ...]:
    """Name every sensor that a body of water looks at, each once."""
    named = (
        water.oxygen, water.temperature, water.ph, water.level, water.conductivity, water.flow, *water.air,
        water.total_ammonia, water.alkalinity, water.pressure, water.heater, water.surroundings,
    )  # fmt: skip
    return tuple(dict.fromkeys(name for name in named if name))


def list_traced(water: Water) -> tuple[str, ...]:
    """Name the readings of a body of water whose recent course is remembered."""
    named = [water.oxygen, water.temperature, water.ph, water.level, water.conductivity]
    if water.total_ammonia and water.ph and water.temperature:
        named.append(f"{water.name} {Quantity.UNIONISED_AMMONIA.value}")
    return tuple(name for name in named if name)
