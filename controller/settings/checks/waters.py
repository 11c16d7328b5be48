"""The bodies of water: what their names point at, and that limits of one loop never judge the other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import AlarmEntry, Kind
from controller.core.plan.sensor import Sensor
from controller.core.plan.water import Loop, Water
from controller.core.units import Quantity
from controller.core.water.readings import make_recipes, make_sensor
from controller.settings.checks.names import check_names
from controller.settings.presets import Kind as PresetKind
from controller.settings.presets import Preset, PresetRefused, list_presets, load_preset
from controller.settings.problems import Fault, describe_unknown
from controller.settings.words import label, write_value

if TYPE_CHECKING:
    from controller.settings.draft import Draft

MEASURES: Final[dict[str, tuple[Quantity, ...]]] = {
    "oxygen": (Quantity.OXYGEN,),
    "temperature": (Quantity.TEMPERATURE,),
    "ph": (Quantity.PH,),
    "level": (Quantity.LEVEL,),
    "conductivity": (Quantity.CONDUCTIVITY,),
    "flow": (Quantity.FLOW,),
    "total_ammonia": (Quantity.TOTAL_AMMONIA,),
    "alkalinity": (Quantity.ALKALINITY,),
    "pressure": (Quantity.PRESSURE,),
    "heater": (Quantity.SWITCH,),
    "surroundings": (Quantity.TEMPERATURE,),
}
"""What the sensor that a key names must measure."""

OF_ONE_LOOP: Final = frozenset(
    {"oxygen", "temperature", "ph", "level", "conductivity", "total_ammonia", "alkalinity"}
)
"""Keys whose sensor hangs in this water; the air around and a pump may serve both loops."""

LOOP_KINDS: Final = frozenset({Kind.HIGH, Kind.LOW, Kind.RATE})

NO_FISH: Final = ("fish_kg", "feed_g_d", "filter_m2")
"""What nutrient solution does not have."""


def check_waters(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in a body of water, between waters, and between a limit and its loop."""
    yield from check_names(draft, "water")
    for placed in draft.waters:
        where = label("water", placed.part.name)
        for key, text in (
            *_check_links(placed.part, draft),
            *_check_figures(placed.part),
            *_check_presets(placed.part),
        ):
            yield Fault((*placed.path, key), f"{where}: {text}")
    yield from _check_derived_names(draft)
    yield from _check_loops(draft)
    for entry in draft.alarms:
        for key, text in _check_loop_of(entry.part, draft):
            yield Fault((*entry.path, key), f"{label('alarm', entry.part.name)}: {text}")


def find_derived(draft: Draft, name: str) -> Sensor | None:
    """Find the derived reading of that name, described as a sensor."""
    for placed in draft.waters:
        for recipe in make_recipes(placed.part, elevation_m=0.0):
            if recipe.name == name:
                return make_sensor(recipe)
    return None


def list_derived(draft: Draft) -> list[str]:
    """Name every derived reading of the waters that could be validated."""
    return [recipe.name for placed in draft.waters for recipe in make_recipes(placed.part, elevation_m=0.0)]


def _check_links(water: Water, draft: Draft) -> Iterator[tuple[str, str]]:
    for key, quantities in MEASURES.items():
        name = getattr(water, key)
        if name:
            yield from _check_sensor(key, name, quantities, draft)
    for name in water.air:
        yield from _check_sensor("air", name, (Quantity.SWITCH,), draft)
    if water.curtain and not draft.has_name("curtain", water.curtain):
        yield "curtain", f"`curtain`: {draft.describe_name('curtain', water.curtain)}"
    if water.mirror and not draft.has_name("water", water.mirror):
        yield "mirror", f"`mirror`: {draft.describe_name('water', water.mirror)}"
    elif water.mirror == water.name and water.mirror:
        yield "mirror", "`mirror` names the water itself; another one is needed"


def _check_sensor(
    key: str, name: str, quantities: tuple[Quantity, ...], draft: Draft
) -> Iterator[tuple[str, str]]:
    if not draft.has_name("sensor", name):
        yield key, f"`{key}`: {draft.describe_name('sensor', name)}"
        return
    sensor = draft.find_sensor(name)
    if sensor is not None and sensor.quantity not in quantities:
        wanted = " or ".join(each.value for each in quantities)
        yield key, f"`{key}` needs a sensor of {wanted}; {write_value(name)} measures {sensor.quantity.value}"


def _check_figures(water: Water) -> Iterator[tuple[str, str]]:
    if water.loop is Loop.NUTRIENT:
        for key in NO_FISH:
            if getattr(water, key) is not None:
                yield key, f'`{key}` is only for `loop = "{Loop.FISH.value}"`; leave it out'
    for key, needs in (
        ("fish_kg", "volume_l"),
        ("filter_m2", "feed_g_d"),
        ("surface_m2", "level"),
        ("heat_loss_w_k", "heater"),
        ("heat_loss_w_k", "surroundings"),
        ("heat_loss_w_k", "volume_l"),
    ):
        if getattr(water, key) is not None and not getattr(water, needs):
            yield key, f"`{key}` is of no use without `{needs}`; set both or none"


def _check_presets(water: Water) -> Iterator[tuple[str, str]]:
    for name in water.presets:
        try:
            preset: Preset = load_preset(name)
        except PresetRefused as refusal:
            known = list_presets()
            text = describe_unknown(name, list(known)) if name not in known else str(refusal)
            yield "presets", f"`presets`: there is no preset {write_value(name)}; {text}"
            continue
        if water.loop is Loop.NUTRIENT and preset.kind is not PresetKind.CROP:
            yield (
                "presets",
                (
                    f"`presets`: {write_value(name)} is a {preset.kind.value}, and no {preset.kind.value} lives in "
                    f"{Loop.NUTRIENT.value}; its limits do not belong to this loop"
                ),
            )


def _check_derived_names(draft: Draft) -> Iterator[Fault]:
    for placed in draft.waters:
        for recipe in make_recipes(placed.part, elevation_m=0.0):
            if recipe.name in draft.list_names("sensor"):
                yield Fault(
                    (*placed.path, "name"),
                    f"{label('water', placed.part.name)}: a sensor is already called {write_value(recipe.name)}, "
                    "as this water's derived reading is; another name is needed",
                )


def _check_loops(draft: Draft) -> Iterator[Fault]:
    """Refuse a sensor that hangs in two waters of different loops."""
    owner: dict[str, Water] = {}
    for placed in draft.waters:
        for key in sorted(OF_ONE_LOOP):
            name = getattr(placed.part, key)
            if not name:
                continue
            first = owner.setdefault(name, placed.part)
            if first.loop is not placed.part.loop:
                yield Fault(
                    (*placed.path, key),
                    f"{label('water', placed.part.name)}: `{key}` names {write_value(name)}, which hangs in "
                    f"{write_value(first.name)} of the other loop; one probe is in one water",
                )


def find_loops(name: str, waters: tuple[Water, ...]) -> set[Loop]:
    """Find the loops in which a sensor hangs, or from which a derived reading comes."""
    return {
        water.loop
        for water in waters
        if name in {getattr(water, key) for key in OF_ONE_LOOP}
        or name in {recipe.name for recipe in make_recipes(water, elevation_m=0.0)}
    }


def _check_loop_of(entry: AlarmEntry, draft: Draft) -> Iterator[tuple[str, str]]:
    if entry.kind not in LOOP_KINDS or not entry.sensor:
        return
    waters = tuple(placed.part for placed in draft.waters)
    loops = find_loops(entry.sensor, waters)
    if entry.loop is not None and not loops:
        yield "loop", f"`loop` is set, but {write_value(entry.sensor)} hangs in no [[water]]; name it there"
    elif entry.loop is not None and entry.loop not in loops:
        (other,) = loops
        yield (
            "loop",
            (
                f"the limit is meant for {entry.loop.value}, but {write_value(entry.sensor)} hangs in {other.value}; "
                "limits of one loop never judge the other"
            ),
        )
    elif entry.loop is None and loops and _needs_loop(entry, draft, waters):
        yield (
            "sensor",
            (
                f"{write_value(entry.sensor)} measures conductivity and both loops are here: say with `loop` whether "
                f'the limit is meant for "{Loop.FISH.value}" or "{Loop.NUTRIENT.value}"'
            ),
        )


def _needs_loop(entry: AlarmEntry, draft: Draft, waters: tuple[Water, ...]) -> bool:
    """Tell whether a limit must say its loop: the conductivity of one would be no limit for the other."""
    sensor = draft.find_sensor(entry.sensor)
    return (
        sensor is not None
        and sensor.quantity is Quantity.CONDUCTIVITY
        and {water.loop for water in waters} == set(Loop)
    )
