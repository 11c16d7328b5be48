"""Curtains: their sensors, their thresholds, and what the motor can do in its time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.core.plan.sensor import Mounted, Sensor
from controller.core.plan.sensor_defaults import possible_range
from controller.core.units import UMOL_PER_JOULE_GLOBAL, Quantity
from controller.settings.checks.names import check_names
from controller.settings.checks.zones import check_zones
from controller.settings.problems import Fault
from controller.settings.words import format_number, label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.core.plan.curtain import Curtain, HoldHeat, LightCeiling
    from controller.core.plan.economics import Economics
    from controller.settings.draft import Draft
    from controller.settings.problems import Path


def check_curtains(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in a curtain and between it and its sensors."""
    yield from check_names(draft, "curtain")
    for placed in draft.curtains:
        where = label("curtain", placed.part.name)
        for place, text in _check_curtain(placed.part, draft):
            yield Fault(placed.path + place, f"{where}: {text}")


def _check_curtain(curtain: Curtain, draft: Draft) -> Iterator[tuple[Path, str]]:
    yield from _check_sensor(curtain, draft, "light_sensor", Quantity.LIGHT)
    yield from _check_sensor(curtain, draft, "second_light_sensor", Quantity.LIGHT)
    second = draft.find_sensor(curtain.second_light_sensor) if curtain.second_light_sensor else None
    if second is not None and second.mounted is Mounted.OUTSIDE:
        yield (
            ("second_light_sensor",),
            "`second_light_sensor` hangs outside; one above or below the curtain is needed to learn from",
        )
    for key in ("inside_temperature", "outside_temperature"):
        yield from _check_sensor(curtain, draft, key, Quantity.TEMPERATURE)
        if curtain.hold_heat is not None and not getattr(curtain, key):
            yield (
                ("hold_heat",),
                (
                    f"holding heat needs `{key}`, the name of a temperature sensor; set it or leave the "
                    "table "
                    "out"
                ),
            )
    if curtain.inside_temperature and curtain.inside_temperature == curtain.outside_temperature:
        yield (
            ("outside_temperature",),
            (
                "`inside_temperature` and `outside_temperature` name the same sensor; two different ones are "
                "needed"
            ),
        )
    yield from _check_motor(curtain)
    if curtain.light_ceiling is not None:
        yield from _check_light_ceiling(
            curtain.light_ceiling, curtain, draft.find_sensor(curtain.light_sensor)
        )
    if curtain.hold_heat is not None:
        yield from _check_hold_heat(curtain.hold_heat)
    yield from _check_guards(curtain, draft)
    yield from check_zones(curtain)
    if curtain.economics is not None:
        yield from _check_economics(curtain.economics, curtain, draft.find_sensor(curtain.light_sensor))


def _check_sensor(
    curtain: Curtain, draft: Draft, key: str, quantity: Quantity, *, table: str = ""
) -> Iterator[tuple[Path, str]]:
    name = getattr(getattr(curtain, table) if table else curtain, key)
    place: Path = (table, key) if table else (key,)
    if not name:
        return
    if not draft.has_name("sensor", name):
        yield place, f"`{key}`: {draft.describe_name('sensor', name)}"
        return
    sensor = draft.find_sensor(name)
    if sensor is not None and sensor.quantity is not quantity:
        yield (
            place,
            (
                f"`{key}`: the sensor {write_value(name)} measures {sensor.quantity.value}, "
                f"one that measures {quantity.value} is needed"
            ),
        )


def _check_guards(curtain: Curtain, draft: Draft) -> Iterator[tuple[Path, str]]:
    """Find what does not fit in the tables against weather, heat, cold, moisture and too much light in a day."""
    storm, gap = curtain.storm_and_snow, curtain.humidity_gap
    if storm is not None:
        yield from _check_sensor(curtain, draft, "wind_sensor", Quantity.WIND_SPEED, table="storm_and_snow")
        yield from _check_sensor(curtain, draft, "snow_sensor", Quantity.SWITCH, table="storm_and_snow")
        yield from _check_order(curtain, "storm_and_snow", "calm_below_m_s", "storm_above_m_s", "m/s")
    if gap is not None:
        yield from _check_sensor(curtain, draft, "humidity_sensor", Quantity.HUMIDITY, table="humidity_gap")
        yield from _check_sensor(
            curtain, draft, "surface_temperature", Quantity.TEMPERATURE, table="humidity_gap"
        )
        if curtain.hold_heat is None and curtain.economics is None:
            yield ("humidity_gap",), "a gap is for a curtain that holds heat; set `hold_heat` or `economics`"
    for table in ("too_hot", "too_cold", "staged_opening"):
        if getattr(curtain, table) is not None and not curtain.inside_temperature:
            yield (
                (table,),
                "it needs `inside_temperature`, the name of a temperature sensor; set it or leave the table out",
            )
    if curtain.staged_opening is not None and not curtain.outside_temperature:
        yield (
            ("staged_opening",),
            "it needs `outside_temperature`, the name of a temperature sensor; set it or leave the table out",
        )
    if curtain.too_hot is not None and curtain.too_cold is not None:
        hot_over = curtain.too_hot.above_c - curtain.too_hot.hysteresis_c
        cold_over = curtain.too_cold.below_c + curtain.too_cold.hysteresis_c
        if cold_over >= hot_over:
            yield (
                ("too_cold", "below_c"),
                (
                    f"too cold is over at {format_number(cold_over)} and too hot at {format_number(hot_over)} [C]; "
                    "too cold must be over at a lower temperature, or the curtain would go to and fro"
                ),
            )
    yield from _check_reach(curtain, draft.find_sensor(curtain.light_sensor))
    if curtain.light_sum is not None:
        yield from _check_order(curtain, "light_sum", "low_mol_m2", "high_mol_m2", "mol/m2/d")


def _check_reach(curtain: Curtain, sensor: Sensor | None) -> Iterator[tuple[Path, str]]:
    """Refuse limits of light that the light sensor ends below."""
    if sensor is None or sensor.quantity is not Quantity.LIGHT:
        return
    most = possible_range(sensor)[1] if sensor.sensor_ceiling is None else sensor.sensor_ceiling
    if sensor.mounted is not Mounted.OUTSIDE:
        most /= curtain.cover_transmission
    for table, key in (("too_hot", "shade_above_w_m2"), ("too_cold", "light_below_w_m2")):
        part = getattr(curtain, table)
        if part is not None and most <= getattr(part, key):
            yield (
                (table, key),
                (
                    f"`{key}` is {format_number(getattr(part, key))}, but the light sensor "
                    f"{write_value(sensor.name)} ends at {most:.0f} [W/m2] of outside light and would never show it; "
                    "a value below that is needed"
                ),
            )


def _check_order(curtain: Curtain, table: str, low: str, high: str, unit: str) -> Iterator[tuple[Path, str]]:
    part = getattr(curtain, table)
    if getattr(part, low) >= getattr(part, high):
        yield (
            (table, low),
            (
                f"`{low}` is {format_number(getattr(part, low))}, a value below `{high}` "
                f"{format_number(getattr(part, high))} [{unit}] is needed"
            ),
        )


def _check_motor(curtain: Curtain) -> Iterator[tuple[Path, str]]:
    if curtain.duty_s_per_hour < curtain.travel_time_s:
        yield (
            ("duty_s_per_hour",),
            (
                f"`duty_s_per_hour` is {format_number(curtain.duty_s_per_hour)}, at least one full "
                f"travel is needed, `travel_time_s` {format_number(curtain.travel_time_s)} [s]"
            ),
        )
    ceiling = curtain.light_ceiling
    if ceiling is not None and ceiling.drawn_percent < curtain.smallest_move_percent:
        yield (
            ("light_ceiling", "drawn_percent"),
            (
                f"`drawn_percent` is {format_number(ceiling.drawn_percent)}, at least "
                "`smallest_move_percent` is "
                f"needed, {format_number(curtain.smallest_move_percent)} [%], or it never moves"
            ),
        )


def _check_light_ceiling(
    ceiling: LightCeiling, curtain: Curtain, sensor: Sensor | None
) -> Iterator[tuple[Path, str]]:
    draw, opened = ceiling.draw_above_w_m2, ceiling.open_below_w_m2
    if opened >= draw:
        yield (
            ("light_ceiling", "open_below_w_m2"),
            (
                f"`open_below_w_m2` is {format_number(opened)}, a value below `draw_above_w_m2` "
                f"{format_number(draw)} [W/m2] is needed, or the curtain would go to and fro"
            ),
        )
    if sensor is None or sensor.quantity is not Quantity.LIGHT:
        return
    if sensor.mounted is Mounted.BELOW_CURTAIN and "transmission" not in curtain.model_fields_set:
        yield (
            ("light_sensor",),
            (
                f"the light sensor {write_value(sensor.name)} is below the curtain and sees its shadow, so "
                "`transmission` (share of light the drawn curtain lets through) must be set, above 0 up to 1"
            ),
        )
    most = possible_range(sensor)[1] if sensor.sensor_ceiling is None else sensor.sensor_ceiling
    through = ""
    if sensor.mounted is not Mounted.OUTSIDE:
        most /= curtain.cover_transmission
        through = f" (`cover_transmission` {format_number(curtain.cover_transmission)})"
    if most <= draw:
        yield (
            ("light_ceiling", "draw_above_w_m2"),
            (
                f"`draw_above_w_m2` is {format_number(draw)}, but the light sensor "
                f"{write_value(sensor.name)} ends at "
                f"{most:.0f} [W/m2] of outside light{through} and would never show it; a value below that is needed"
            ),
        )


def _check_economics(
    economics: Economics, curtain: Curtain, sensor: Sensor | None
) -> Iterator[tuple[Path, str]]:
    for low, high, unit in (
        ("drawn_u_w_m2_k", "open_u_w_m2_k", "W/m2/K"),
        ("day_light_low_mol_m2", "day_light_high_mol_m2", "mol/m2/d"),
    ):
        if getattr(economics, low) > getattr(economics, high):
            yield (
                ("economics", low),
                (
                    f"`{low}` is {format_number(getattr(economics, low))}, at most `{high}` "
                    f"{format_number(getattr(economics, high))} [{unit}] is allowed"
                ),
            )
    if sensor is None or sensor.quantity is not Quantity.LIGHT:
        return
    most = possible_range(sensor)[1] if sensor.sensor_ceiling is None else sensor.sensor_ceiling
    canopy = most * UMOL_PER_JOULE_GLOBAL
    if sensor.mounted is Mounted.OUTSIDE:
        canopy *= curtain.cover_transmission
    if canopy <= economics.light_ceiling_umol_m2_s:
        yield (
            ("economics", "light_ceiling_umol_m2_s"),
            (
                f"`light_ceiling_umol_m2_s` is {format_number(economics.light_ceiling_umol_m2_s)}, but the light "
                f"sensor {write_value(sensor.name)} ends at {canopy:.0f} [umol/m2/s] at the canopy and would never "
                "show it; a value below that is needed"
            ),
        )


def _check_hold_heat(heat: HoldHeat) -> Iterator[tuple[Path, str]]:
    if heat.open_least_w_m2 > heat.open_most_w_m2:
        yield (
            ("hold_heat", "open_least_w_m2"),
            (
                f"`open_least_w_m2` is {format_number(heat.open_least_w_m2)}, at most `open_most_w_m2` "
                f"{format_number(heat.open_most_w_m2)} [W/m2] is allowed"
            ),
        )
    if heat.low_light_below_w_m2 >= heat.open_least_w_m2:
        yield (
            ("hold_heat", "low_light_below_w_m2"),
            (
                f"`low_light_below_w_m2` is {format_number(heat.low_light_below_w_m2)}, a value below "
                f"`open_least_w_m2` {format_number(heat.open_least_w_m2)} [W/m2] is needed, or the curtain "
                "would go to "
                "and fro"
            ),
        )
