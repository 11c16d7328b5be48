"""A tank with everything that looks at it, and courses of its readings in one line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from random import Random
from typing import Any

from makers import make_entry, make_person, make_plan, make_sensor, make_step

from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Sensor
from controller.core.plan.water import Loop, Water
from controller.core.signals.sense import NEVER, UNHEARD, Sense
from controller.core.units import MINUTE_MS, Quantity
from controller.core.vocabulary import Trust
from controller.core.water.outlook import Harm, Scene
from controller.core.water.trace import EMPTY, Trace, follow

OXYGEN, WARMTH, PH, LEVEL = "tank oxygen", "tank warmth", "tank pH", "tank level"
FLOW, AIR, HEATER, HOUSE = "flow", "air", "heater", "house"
AMMONIA, ALKALINITY = "tank ammonia kit", "tank alkalinity kit"
UNIONISED = "tank un-ionised ammonia"


def make_water(**changes: Any) -> Water:  # noqa: ANN401 - any key
    """Make a tank of 1 m3 with 20 kg of fish that take 300 mg/kg/h, and every sensor."""
    words: dict[str, Any] = {
        "name": "tank", "volume_l": 1000.0, "surface_m2": 2.0, "fish_kg": 20.0, "demand_mg_kg_h": 300.0,
        "feed_g_d": 300.0, "protein_percent": 32.0, "filter_m2": 100.0, "oxygen": OXYGEN, "temperature": WARMTH,
        "ph": PH, "level": LEVEL, "flow": FLOW, "least_flow_l_min": 10.0, "air": (AIR,), "total_ammonia": AMMONIA,
        "alkalinity": ALKALINITY, "heater": HEATER, "heat_loss_w_k": 40.0, "surroundings": HOUSE, "curtain": "roof",
    }  # fmt: skip
    return Water(**(words | changes))


def make_kit(name: str, quantity: Quantity, **changes: Any) -> Sensor:  # noqa: ANN401 - any key
    """Make a sensor whose values people enter."""
    return Sensor(
        **({"name": name, "quantity": quantity, "unit": "mg/L", "entered": True, "place": "tank"} | changes)
    )


def make_tank_plan(*entries: AlarmEntry, water: Water | None = None, **changes: Any) -> Plan:  # noqa: ANN401
    """Make a house with one tank, its sensors and test kits."""
    sensors = (
        make_sensor(OXYGEN, Quantity.OXYGEN, "mg/L", place="tank"),
        make_sensor(WARMTH, Quantity.TEMPERATURE, "C"),
        make_sensor(PH, Quantity.PH, "pH"),
        make_sensor(LEVEL, Quantity.LEVEL, "cm"),
        make_sensor(FLOW, Quantity.FLOW, "L/min"),
        make_sensor(AIR, Quantity.SWITCH, "on/off"),
        make_sensor(HEATER, Quantity.SWITCH, "on/off"),
        make_sensor(HOUSE, Quantity.TEMPERATURE, "C"),
        make_kit(AMMONIA, Quantity.TOTAL_AMMONIA),
        make_kit(ALKALINITY, Quantity.ALKALINITY),
    )
    words: dict[str, Any] = {
        "sensor": sensors,
        "water": (make_water(curtain="") if water is None else water,),
        "curtain": (),
        "alarm": entries,
        "person": (make_person("keeper"),),
        "call": (make_step(0, "keeper"), make_step(0, "keeper", response=Response.TODAY)),
    }
    return make_plan(**(words | changes))


def low_oxygen(**changes: Any) -> AlarmEntry:  # noqa: ANN401 - any key
    """Make the emergency that oxygen is under 5 mg/L, with harm at 3."""
    words: dict[str, Any] = {
        "name": "oxygen low",
        "sensor": OXYGEN,
        "limit": 5.0,
        "harm_at": 3.0,
        "on_delay_s": 0.0,
    }
    return make_entry(**(words | changes))


def air_off(**changes: Any) -> AlarmEntry:  # noqa: ANN401 - any key
    """Make the emergency that the air is off."""
    words: dict[str, Any] = {
        "name": "air off", "kind": Kind.SWITCH, "sensor": AIR, "limit": None, "deadband": 0.0, "on_delay_s": 0.0,
    }  # fmt: skip
    return make_entry(**(words | changes))


def draw_noise(seed: int) -> Random:
    """Make a stream of noise that is the same every time."""
    return Random(seed)  # noqa: S311 - noise, and no secret


def good(value: float, at_ms: int = 0) -> Sense:
    """Make a reading that can be trusted."""
    return Sense(value, Trust.GOOD, "", at_ms, at_ms, NEVER, 0.0, 0, None, value, 0)


def spoilt(trust: Trust, why: str = "no good") -> Sense:
    """Make a reading that cannot be trusted."""
    return UNHEARD._replace(trust=trust, why=why, value=5.0, heard_ms=1000, last=5.0)


def run_course(value: Callable[[float], float], *, minutes: int, every_s: float = 60.0) -> Trace:
    """Follow a reading whose value at a time [min] is given by a function, the last one included."""
    trace = EMPTY
    for step in range(round(minutes * 60 / every_s) + 1):
        at_min = step * every_s / 60.0
        trace = follow(trace, at_ms=round(at_min * MINUTE_MS), value=value(at_min))
    return trace


def make_scene(
    values: Mapping[str, float | Sense],
    *,
    traces: Mapping[str, Trace] | None = None,
    harms: Mapping[str, Harm] | None = None,
    doubts: Mapping[str, str] | None = None,
) -> Scene:
    """Make a scene: numbers are readings that can be trusted. Air, flow and heater are on unless said."""
    usual: dict[str, float | Sense] = {AIR: 1.0, FLOW: 50.0, HEATER: 1.0, **values}
    senses = {name: each if isinstance(each, Sense) else good(each) for name, each in usual.items()}
    return Scene(senses, traces or {}, doubts or {}, harms or {})


NUTRIENT = Loop.NUTRIENT
