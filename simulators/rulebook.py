"""The demo site with every rule of the curtain and every way to people, and the sensors that some rules need.

Limits are set so that each rule has its day within a week: it is a house to prove rules in, not one to copy.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from controller.core.plan.alarm import Response
from controller.core.plan.curtain import Curtain
from controller.core.plan.people import Way
from controller.core.plan.plan import Plan
from controller.core.plan.reach import Modem, Siren, Webhook
from controller.core.plan.sensor import Sensor
from controller.core.plan.supervision import Supervision
from controller.core.units import Quantity

RULES: Final[Mapping[str, Mapping[str, Any]]] = {
    "light_ceiling": {"draw_above_w_m2": 600, "open_below_w_m2": 500},
    "hold_heat": {"inside_below_c": 20, "least_difference_c": 5},
    "storm_and_snow": {"wind_sensor": "wind", "snow_sensor": "snow"},
    "too_hot": {"above_c": 27, "shade_above_w_m2": 300},
    "too_cold": {"below_c": 13},
    "humidity_gap": {"humidity_sensor": "air humidity", "above_percent": 80},
    "staged_opening": {"difference_above_c": 8},
    "light_sum": {"crop": "pak choi", "low_mol_m2": 12, "high_mol_m2": 17},
}
"""The tables of a curtain with all rules."""

WEATHER_SENSORS: Final = (
    {"name": "wind", "quantity": Quantity.WIND_SPEED, "unit": "m/s", "topic": "kestrel/roof/wind"},
    {"name": "snow", "quantity": Quantity.SWITCH, "unit": "1", "topic": "kestrel/roof/snow"},
)
"""What the roof has besides."""


def add_rules(plan: Plan) -> Plan:
    """Give the curtain every rule, and the site the sensors of wind and snow."""
    known = {sensor.name for sensor in plan.sensor}
    sensors = tuple(
        Sensor.model_validate({**table, "interval_s": 60.0})
        for table in WEATHER_SENSORS
        if table["name"] not in known
    )
    return change_curtain(plan.model_copy(update={"sensor": (*plan.sensor, *sensors)}), RULES)


def change_curtain(plan: Plan, changes: Mapping[str, Any]) -> Plan:
    """Change settings of the first curtain: a key, a table as a whole, or with `false` no such table."""
    if not changes or not plan.curtain:
        return plan
    first, *others = plan.curtain
    table = {name: value for name, value in first if value is not None}
    table |= {name: None if value is False else value for name, value in changes.items()}
    return plan.model_copy(update={"curtain": (Curtain.model_validate(table), *others)})


def add_ways(plan: Plan) -> Plan:
    """Give the site a modem, webhooks and a siren, prove the chain every week, and call by all of them.

    Texts go first, to phones of the range that is set apart for stories (Ofcom: 07700 900000 to 900999).
    """
    people = tuple(
        person.model_copy(
            update={
                "phone": f"+4477009000{number:02d}",
                "webhook": f"https://phones.example.org/{person.name}",
            }
        )
        for number, person in enumerate(plan.person, start=11)
    )
    calls = tuple(
        step.model_copy(update={"ways": (Way.TEXT, *step.ways, *((Way.WEBHOOK,) if step.after_min else ()))})
        if step.response is Response.EMERGENCY
        else step.model_copy(update={"ways": (Way.TEXT,) if not step.after_min else (Way.EMAIL, Way.WEBHOOK)})
        for step in plan.call
    )
    return plan.model_copy(
        update={
            "person": people,
            "call": calls,
            "modem": Modem(device="/dev/serial/by-id/usb-modem"),
            "webhook": Webhook(secret_file="webhook.secret"),  # noqa: S106 - the name of a file
            "siren": Siren(command_topic="kestrel/siren/set", report_topic="kestrel/siren/state"),
            "supervision": Supervision(),
        }
    )
