"""What is allowed in the waters' settings and still worth a word: who cannot live together, and what nobody is told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import Kind, Response
from controller.core.ranges import OutOfRange
from controller.core.units import KEPT_UNIT, Quantity
from controller.core.water import horizon
from controller.core.water.readings import make_recipes
from controller.settings.presets import Demand, Want, load_presets
from controller.settings.presets import Kind as PresetKind
from controller.settings.problems import Fault
from controller.settings.sources import WANTED, find_bands, find_loop_bands
from controller.settings.words import format_number, label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from controller.core.plan.plan import Plan
    from controller.core.plan.water import Water
    from controller.settings.presets import Band, Compromise
    from controller.settings.problems import Path

WEIGHED: Final = frozenset({Quantity.TOTAL_AMMONIA, Quantity.NITRITE, Quantity.NITRATE})
"""What analysers show as nitrogen or as the species, up to four times as much."""


def doubt_waters(plan: Plan) -> Iterator[Fault]:
    """Find what a careful colleague would point at in the waters."""
    for index, water in enumerate(plan.water):
        where, path = label("water", water.name), ("water", index)
        yield from _doubt_fish(plan, water, where, path)
        yield from _doubt_watch(plan, water, where, path)
        yield from _doubt_figures(water, where, path)
        yield from _doubt_lethal(plan, water, where, path)
        yield from _doubt_times(plan, water)
    yield from _doubt_bands(plan)
    yield from _doubt_kits(plan)


def _doubt_fish(plan: Plan, water: Water, where: str, path: Path) -> Iterator[Fault]:
    kept = [preset.name for preset in load_presets(water.presets) if preset.kind is PresetKind.FISH]
    if kept and water.fish_kg is None:
        yield Fault(
            path,
            f"{where}: {kept[0]} lives in it and nobody has said how much, so the time left without air is never "
            "told; set `fish_kg` and `volume_l`",
        )
    if not water.fish_kg:
        return
    limited = {entry.sensor for entry in plan.alarm if entry.kind is Kind.LOW}
    if not water.air:
        yield Fault(
            path,
            f"{where}: no switch tells whether it gets air, so the time left without air is never told; name one "
            "with `air`",
        )
    if water.oxygen not in limited:
        yield Fault(
            path,
            f"{where}: fish live in it and no alarm of kind low watches its oxygen, so nobody knows when harm "
            "begins",
        )
    if water.oxygen and not water.temperature:
        yield Fault(
            path,
            f"{where}: without `temperature` its oxygen has no percentage, and a probe that hangs in air is not "
            "noticed",
        )


def _doubt_watch(plan: Plan, water: Water, where: str, path: Path) -> Iterator[Fault]:
    """Point at what is tested or could be reckoned, and at what is reckoned and watched by nobody."""
    derived = {recipe.quantity: recipe.name for recipe in make_recipes(water, elevation_m=0.0)}
    if water.total_ammonia and Quantity.UNIONISED_AMMONIA not in derived:
        lacking = " and ".join(f"`{key}`" for key in ("ph", "temperature") if not getattr(water, key))
        yield Fault(
            path,
            f"{where}: total ammonia is tested, but without {lacking} nobody can tell the part that harms fish",
        )
    high = {entry.sensor for entry in plan.alarm if entry.kind is Kind.HIGH}
    harmful = derived.get(Quantity.UNIONISED_AMMONIA)
    if water.fish_kg and harmful is not None and harmful not in high:
        yield Fault(
            path,
            f"{where}: un-ionised ammonia is reckoned and nobody is told of it; add an alarm of kind high on "
            f"{write_value(harmful)}",
        )
    if water.level and water.surface_m2 is None:
        yield Fault(
            path,
            f"{where}: it has a level and no `surface_m2`, so neither its loss of water nor a leak is told",
        )
    if water.mirror:
        other = next(each for each in plan.water if each.name == water.mirror)
        pairs = ("ph", "conductivity", "temperature")
        if not any(getattr(water, key) and getattr(other, key) for key in pairs):
            yield Fault(
                (*path, "mirror"),
                f"{where}: it and its mirror {write_value(other.name)} measure nothing in common, so there is "
                "nothing to compare",
            )


def _doubt_figures(water: Water, where: str, path: Path) -> Iterator[Fault]:
    """Hold the figures of a water against what its presets use: a slip of units is off by more than twice."""
    given: dict[Demand, tuple[str, float | None]] = {
        Demand.OXYGEN_DEMAND: ("demand_mg_kg_h", water.demand_mg_kg_h if water.fish_kg else None),
        Demand.FEED_RATE: ("feed_g_d", _find_feed_rate(water)),
        Demand.FEED_PROTEIN: ("protein_percent", water.protein_percent if water.feed_g_d else None),
    }
    fish = [preset for preset in load_presets(water.presets) if preset.kind is PresetKind.FISH]
    for demand, (key, value) in given.items():
        bands = {preset.name: preset.demands[demand] for preset in fish if demand in preset.demands}
        if value is None or not bands or any(_holds(band, value) for band in bands.values()):
            continue
        usual = ", ".join(
            f"{name} {format_number(band.low)} to {format_number(band.high)}" for name, band in bands.items()
        )
        unit = next(iter(bands.values())).unit
        yield Fault(
            (*path, key),
            f"{where}: `{key}` comes to {value:.3g} {unit}; usual is {usual}: is it a slip?",
        )


def _find_feed_rate(water: Water) -> float | None:
    if not water.fish_kg or water.feed_g_d is None:
        return None
    return water.feed_g_d / 10.0 / water.fish_kg


def _holds(band: Band, value: float) -> bool:
    return (band.low is None or 2.0 * value >= band.low) and (band.high is None or value <= 2.0 * band.high)


def _doubt_lethal(plan: Plan, water: Water, where: str, path: Path) -> Iterator[Fault]:
    """Point at fish that would be dead before the alarm on their temperature sounds."""
    bands = find_bands(plan).get(water.name, {})
    lethal = bands.get(Want.LETHAL_TEMPERATURE)
    if lethal is None or not water.temperature:
        return
    for entry in plan.alarm:
        if entry.sensor != water.temperature or entry.limit is None or entry.response is Response.NOTE:
            continue
        if entry.kind is Kind.LOW and lethal.low is not None and entry.limit <= lethal.low:
            end, by = lethal.low, lethal.low_by
        elif entry.kind is Kind.HIGH and lethal.high is not None and entry.limit >= lethal.high:
            end, by = lethal.high, lethal.high_by
        else:
            continue
        yield Fault(
            path,
            f"{where}: {write_value(entry.name)} sounds at {format_number(entry.limit)} C; {', '.join(by)} dies at "
            f"{format_number(end)} C",
        )


def _doubt_times(plan: Plan, water: Water) -> Iterator[Fault]:
    """Hold what the alarm list says of the time until harm against what the fish breathe."""
    if not water.fish_kg or water.volume_l is None or not water.oxygen:
        return
    draw = horizon.Draw(1e3 * water.fish_kg / water.volume_l, water.demand_mg_kg_h)
    for index, entry in enumerate(plan.alarm):
        if entry.sensor != water.oxygen or entry.kind is not Kind.LOW or entry.limit is None:
            continue
        harm = entry.limit if entry.harm_at is None else entry.harm_at
        try:
            minutes = horizon.find_minutes(draw, oxygen_mg_l=entry.limit, limit_mg_l=harm)
        except OutOfRange:
            continue
        if minutes is not None and 0.0 < minutes < entry.time_to_respond_min:
            yield Fault(
                ("alarm", index, "time_to_respond_min"),
                f"{label('alarm', entry.name)}: it says {format_number(entry.time_to_respond_min)} min until harm; "
                f"without air the fish of {write_value(water.name)} take {int(minutes)} min from "
                f"{format_number(entry.limit)} to {format_number(harm)} mg/L",
            )


def _doubt_bands(plan: Plan) -> Iterator[Fault]:
    """Say who cannot live together: in one water, and in the waters of one loop."""
    told: set[str] = set()
    for index, water in enumerate(plan.water):
        for text in _list_empty(find_bands(plan).get(water.name, {})):
            told.add(text)
            yield Fault(
                ("water", index, "presets"),
                f"{label('water', water.name)}: its presets have no common band, {text}",
            )
    for loop, shared in find_loop_bands(plan).items():
        names = ", ".join(write_value(name) for name in shared.waters)
        first = next(index for index, water in enumerate(plan.water) if water.loop is loop and water.presets)
        for text in _list_empty(shared.bands):
            if text not in told:
                yield Fault(
                    ("water", first, "presets"),
                    f"{loop.value}: what lives in {names} has no common band, {text}; right only where these "
                    "waters do not mix",
                )


def _list_empty(bands: Mapping[Want, Compromise]) -> Iterator[str]:
    for want in WANTED.values():
        if want in bands and bands[want].empty:
            yield bands[want].describe()


def _doubt_kits(plan: Plan) -> Iterator[Fault]:
    """Point at tests that nobody is reminded of, and at analysers whose basis nobody has stated."""
    reminded = {entry.sensor for entry in plan.alarm if entry.kind is Kind.DUE}
    for index, sensor in enumerate(plan.sensor):
        where, path = label("sensor", sensor.name), ("sensor", index)
        if sensor.entered and sensor.name not in reminded:
            yield Fault(
                path,
                f"{where}: people enter it and no alarm of kind due reminds them, so it is unknown after "
                f"{format_number(2 * sensor.enter_every_days)} days and nobody is told before",
            )
        if not sensor.entered and sensor.quantity in WEIGHED:
            unit = KEPT_UNIT[sensor.quantity]
            yield Fault(
                path,
                f"{where}: its {sensor.quantity.value} is taken as nitrogen [{unit} as N]; an analyser that shows "
                "the species shows more, so set it to nitrogen",
            )
