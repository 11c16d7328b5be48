"""A body of water: who lives in it, what feeds and filters it, and which sensors look at it."""

from __future__ import annotations

from enum import Enum

from controller.core.plan.part import REQUIRED, Part, key


class Loop(Enum):
    """Which of the two waters it is; each has limits of its own."""

    FISH = "fish water"
    NUTRIENT = "nutrient solution"


class Water(Part):
    """One body of water. From its sensors and figures come derived readings and the time left until harm."""

    name: str = key(REQUIRED, "Name, as staff say it; its derived readings begin with it.", max_length=18)
    loop: Loop = key(Loop.FISH, "Which loop it belongs to; limits of one never judge the other.")
    presets: tuple[str, ...] = key((), "Who lives in it: names of presets, for the band that suits them all.")
    volume_l: float | None = key(None, "Water that it holds.", unit="L", ge=1, le=999_999)
    surface_m2: float | None = key(
        None, "Surface that falls with the level; for the loss of water.", unit="m2", ge=0.01, le=100_000
    )
    fish_kg: float | None = key(
        None, "Fish in it; for the time left without air.", unit="kg", ge=0, le=100_000
    )
    demand_mg_kg_h: float = key(
        300.0, "Oxygen that a kilogram of fish takes in an hour, fed.", unit="mg/kg/h", ge=1, le=2000
    )
    feed_g_d: float | None = key(None, "Feed given in a day.", unit="g/d", ge=0, le=999_999)
    protein_percent: float = key(35.0, "Crude protein of the feed.", unit="%", ge=5, le=70)
    filter_m2: float | None = key(
        None, "Wetted area of the filter's media; for its load.", unit="m2", ge=0.01, le=999_999
    )
    filter_most_g_m2_d: float = key(
        0.5, "Most ammonia nitrogen that an area of it removes at 20 C.", unit="g/m2/d", ge=0.01, le=5
    )
    oxygen: str = key("", "Sensor of its dissolved oxygen.")
    temperature: str = key("", "Sensor of its temperature.")
    ph: str = key("", "Sensor of its pH.")
    level: str = key("", "Sensor of its level.")
    conductivity: str = key("", "Sensor of its conductivity.")
    flow: str = key("", "Sensor of the flow through it.")
    least_flow_l_min: float = key(
        1.0, "Flow below which the pump counts as off.", unit="L/min", gt=0, le=5000
    )
    air: tuple[str, ...] = key(
        (), "Switches that are on while it gets air; one that is off or unknown: none."
    )
    total_ammonia: str = key("", "Sensor of total ammonia, mostly entered by hand.")
    alkalinity: str = key("", "Sensor of alkalinity, mostly entered by hand.")
    pressure: str = key("", "Sensor of the air pressure at the site; its elevation counts if absent.")
    heater: str = key("", "Switch that is on while its heater has power.")
    heat_loss_w_k: float | None = key(
        None,
        "Heat that it loses per kelvin of difference to the air around.",
        unit="W/K",
        ge=0.01,
        le=100_000,
    )
    surroundings: str = key("", "Sensor of the air around it.")
    curtain: str = key("", "Curtain over it, for the likely cause of cold.")
    mirror: str = key("", "Water that it is compared with, its mirror.")
