"""Which sensor shows which true value, and how badly."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from simulators.sensors import Sensor, mild_air_temperature, mild_light
from simulators.world import World

SITE_FILE: Final = Path(__file__).parent / "kestrel-wharf.toml"
"""The instruments of the demo site."""

ROOF_FILE: Final = Path(__file__).parent / "roof.toml"
"""What its roof has besides where every rule of the curtain is set (`rulebook`)."""


@dataclass(slots=True)
class Instrument:
    """A sensor in its place: `shows` names the true value, `every_min` how often it speaks."""

    name: str
    shows: str
    sensor: Sensor
    every_min: int

    def read(self, world: World, minute: int, seconds: float) -> float | None:
        """Read now, in the kept unit of the quantity; None when it sends nothing."""
        return self.sensor.advance(seconds, world.true[self.shows], minute_of_day=minute)


def read_site(seed: int, path: Path = SITE_FILE) -> tuple[Instrument, ...]:
    """Read the instruments of a site from its file.

    Raises
    ------
    OSError, tomllib.TOMLDecodeError, KeyError, TypeError
        The file is not a site's.
    """
    with path.open("rb") as file:
        document = tomllib.load(file)
    return tuple(_make(seed, table) for table in document["instrument"])


def _make(seed: int, table: Mapping[str, Any]) -> Instrument:
    """Make one instrument; keys besides `sensor`, `shows`, `every_min` and `like` are a sensor's figures."""
    figures = {
        key: value for key, value in table.items() if key not in {"sensor", "shows", "every_min", "like"}
    }
    name = str(table["sensor"])
    match table.get("like"):
        case "pyranometer":
            sensor = mild_light(seed, name)
        case "air thermometer":
            sensor = mild_air_temperature(seed, name)
        case None:
            sensor = Sensor(seed=seed, name=name)
        case other:
            raise KeyError(f"{name}: no sensor is made like {other!r}")
    for key, value in figures.items():
        if not hasattr(sensor, key):
            raise KeyError(f"{name}: a sensor has no figure {key!r}")
        setattr(sensor, key, value)
    return Instrument(name, str(table["shows"]), sensor, int(table.get("every_min", 1)))
