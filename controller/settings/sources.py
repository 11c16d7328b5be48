"""`duskbell check --sources`: every number that comes from a preset, with its source and its mark.

Then, for each water, the band that suits all who live in it and who sets its ends, and where an alarm of the
list stands outside that band. A limit outside may be right: it says when people are called, not what is wanted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from controller.core.plan.alarm import Kind
from controller.core.plan.water import Loop
from controller.core.units import Quantity
from controller.core.water.readings import list_sensors, make_recipes
from controller.settings.presets import Band, Compromise, Preset, Want, compromise, load_presets

if TYPE_CHECKING:
    from controller.core.plan.plan import Plan
    from controller.core.plan.water import Water

WANTED: Final[dict[Quantity, Want]] = {
    Quantity.TEMPERATURE: Want.TEMPERATURE,
    Quantity.PH: Want.PH,
    Quantity.OXYGEN: Want.OXYGEN,
    Quantity.UNIONISED_AMMONIA: Want.UNIONISED_AMMONIA,
    Quantity.TOTAL_AMMONIA: Want.TOTAL_AMMONIA,
    Quantity.NITRITE: Want.NITRITE,
    Quantity.NITRATE: Want.NITRATE,
    Quantity.CARBON_DIOXIDE: Want.CARBON_DIOXIDE,
    Quantity.ALKALINITY: Want.ALKALINITY,
}
"""Which band judges which quantity of a water."""


def list_numbers(plan: Plan) -> tuple[dict[str, Any], ...]:
    """List every number of the presets that the plan chooses, with source and mark."""
    names = dict.fromkeys(name for water in plan.water for name in water.presets)
    return tuple(row for preset in load_presets(names) for row in _list_preset(preset))


def _list_preset(preset: Preset) -> Iterator[dict[str, Any]]:
    quantities: dict[str, Band] = {want.value: band for want, band in preset.bands.items()}
    quantities |= {demand.value: band for demand, band in preset.demands.items()}
    for quantity, band in quantities.items():
        yield {
            "preset": preset.name,
            "title": preset.title,
            "quantity": quantity.replace("_", " "),
            "low": band.low,
            "high": band.high,
            "unit": band.unit,
            "source": band.source,
            "mark": band.mark.value,
        }


def find_bands(plan: Plan) -> dict[str, Mapping[Want, Compromise]]:
    """Find the band that suits all who live in each water, for the waters that name presets."""
    return {water.name: compromise(load_presets(water.presets)) for water in plan.water if water.presets}


@dataclass(frozen=True, slots=True)
class SharedBands:
    """The bands that suit all who live in the waters of one loop, and which waters these are."""

    waters: tuple[str, ...]
    bands: Mapping[Want, Compromise]


def find_loop_bands(plan: Plan) -> dict[Loop, SharedBands]:
    """Find the band that suits all who live in a loop of two or more waters: its water is the same."""
    shared: dict[Loop, SharedBands] = {}
    for loop in Loop:
        mine = [water for water in plan.water if water.loop is loop and water.presets]
        if len({water.presets for water in mine}) > 1:
            names = dict.fromkeys(name for water in mine for name in water.presets)
            shared[loop] = SharedBands(tuple(water.name for water in mine), compromise(load_presets(names)))
    return shared


def find_outside(plan: Plan) -> tuple[str, ...]:
    """Say which limits of the alarm list stand outside the band of their water."""
    bands = find_bands(plan)
    return tuple(
        line
        for water in plan.water
        if water.name in bands
        for line in _find_outside(plan, water, bands[water.name])
    )


def _find_outside(plan: Plan, water: Water, bands: Mapping[Want, Compromise]) -> Iterator[str]:
    quantities = {sensor.name: sensor.quantity for sensor in plan.sensor}
    quantities |= {recipe.name: recipe.quantity for recipe in make_recipes(water, elevation_m=0.0)}
    mine = {*list_sensors(water), *(recipe.name for recipe in make_recipes(water, elevation_m=0.0))}
    mine -= {water.surroundings}
    for entry in plan.alarm:
        want = WANTED.get(quantities.get(entry.sensor, Quantity.SWITCH))
        if want is None or entry.sensor not in mine or want not in bands or entry.limit is None:
            continue
        band = bands[want]
        if entry.kind is Kind.LOW and band.low is not None and entry.limit < band.low:
            yield f"{entry.name}: below {entry.limit:g}; {water.name} wants {band.describe()}"
        if entry.kind is Kind.HIGH and band.high is not None and entry.limit > band.high:
            yield f"{entry.name}: above {entry.limit:g}; {water.name} wants {band.describe()}"


def write_sources(plan: Plan) -> str:
    """Write the numbers, the bands and who limits what, for people."""
    numbers = list_numbers(plan)
    if not numbers:
        return "No water names a preset, so no number comes from one.\n"
    lines: list[str] = []
    preset = ""
    for row in numbers:
        if row["preset"] != preset:
            preset = row["preset"]
            lines += ["", f"Preset {preset}: {row['title']}"]
        ends = [
            f"{word} {row[end]:g}" for end, word in (("low", "from"), ("high", "to")) if row[end] is not None
        ]
        lines.append(f"  {row['quantity']}: {' '.join(ends)} {row['unit']} [{row['mark']}] {row['source']}")
    for water in plan.water:
        bands = find_bands(plan).get(water.name)
        if bands is None:
            continue
        lines += [
            "",
            f'Band that suits all in water "{water.name}" ({", ".join(water.presets)}), and who sets it',
        ]
        lines += [f"  {band.describe()}" for band in bands.values()]
    for loop, shared in find_loop_bands(plan).items():
        lines += ["", f"Band that suits all in {loop.value} ({', '.join(shared.waters)}), and who sets it"]
        lines += [f"  {shared.bands[want].describe()}" for want in WANTED.values() if want in shared.bands]
    outside = find_outside(plan)
    if outside:
        lines += [
            "",
            "Alarms that sound only outside the band (right, where they call people and do not steer)",
        ]
        lines += [f"  {line}" for line in outside]
    return "\n".join(lines[1:]) + "\n"
