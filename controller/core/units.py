"""Quantities, the one unit each is kept in, and the table that converts into it.

Inside the house every quantity has one unit. Units from outside are converted by the table below and by
nothing else: a unit that is not in the table is refused, never guessed.

Sources: SenML units, RFC 8428 section 12.1 and RFC 9100 section 3 (secondary units); UCUM, case-sensitive
symbols. Daylight: 54 lx per umol m-2 s-1 for sun and sky (Thimijan & Heins 1983, HortScience 18(6):818-822);
4.57 umol per joule of photosynthetically active radiation (same) with 0.45 of global radiation active
(Jacovides et al. 2003, Theor. Appl. Climatol. 74:227-233).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeAlias

HouseMs: TypeAlias = int
"""Milliseconds on the house axis: never goes back, runs on across restarts. [ms]"""

UtcMs: TypeAlias = int
"""Milliseconds since 1970-01-01T00:00Z, as the board's clock has it. [ms]"""

SECOND_MS: Final = 1_000
MINUTE_MS: Final = 60_000
HOUR_MS: Final = 3_600_000
DAY_MS: Final = 86_400_000

LUX_PER_UMOL: Final = 54.0
"""Daylight: illuminance per photon flux. [lx / (umol m-2 s-1)]"""

UMOL_PER_JOULE_GLOBAL: Final = 0.45 * 4.57
"""Daylight: photons per joule of global radiation. [umol/J]"""


class Quantity(Enum):
    """What a sensor measures; the value is the word used in the settings."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"
    LIGHT = "light"
    WIND_SPEED = "wind speed"
    PRESSURE = "pressure"
    PH = "ph"
    OXYGEN = "oxygen"
    OXYGEN_SATURATION = "oxygen saturation"
    CONDUCTIVITY = "conductivity"
    LEVEL = "level"
    FLOW = "flow"
    TOTAL_AMMONIA = "total ammonia"
    UNIONISED_AMMONIA = "un-ionised ammonia"
    NITRITE = "nitrite"
    NITRATE = "nitrate"
    ALKALINITY = "alkalinity"
    CARBON_DIOXIDE = "carbon dioxide"
    WATER_LOSS = "loss of water"
    FILTER_LOAD = "filter load"
    POSITION = "position"
    SWITCH = "switch"


class Basis(Enum):
    """What a concentration is weighed as; the value is the word used on the command line."""

    NITROGEN = "N"
    AMMONIA = "NH3"
    AMMONIUM = "NH4"
    NITRITE = "NO2"
    NITRATE = "NO3"
    ITSELF = ""


@dataclass(frozen=True, slots=True)
class Conversion:
    """A linear step into the kept unit: kept = value * factor + offset."""

    factor: float
    offset: float = 0.0

    def apply(self, value: float) -> float:
        """Convert `value` [outside unit] to the kept unit."""
        return value * self.factor + self.offset


KEPT_UNIT: Final[dict[Quantity, str]] = {
    Quantity.TEMPERATURE: "C",
    Quantity.HUMIDITY: "%",
    Quantity.LIGHT: "W/m2",
    Quantity.WIND_SPEED: "m/s",
    Quantity.PRESSURE: "hPa",
    Quantity.PH: "pH",
    Quantity.OXYGEN: "mg/L",
    Quantity.OXYGEN_SATURATION: "%",
    Quantity.CONDUCTIVITY: "mS/cm",
    Quantity.LEVEL: "cm",
    Quantity.FLOW: "L/min",
    Quantity.TOTAL_AMMONIA: "mg/L",
    Quantity.UNIONISED_AMMONIA: "mg/L",
    Quantity.NITRITE: "mg/L",
    Quantity.NITRATE: "mg/L",
    Quantity.ALKALINITY: "mg/L",
    Quantity.CARBON_DIOXIDE: "mg/L",
    Quantity.WATER_LOSS: "L/h",
    Quantity.FILTER_LOAD: "%",
    Quantity.POSITION: "%",
    Quantity.SWITCH: "on/off",
}

_SAME: Final = Conversion(1.0)
_PERCENT: Final = {
    "%": _SAME,
    "/100": _SAME,
    "/": Conversion(100.0),
    "1": Conversion(100.0),
}
_MASS: Final = {
    "mg/L": _SAME,
    "mg/l": _SAME,
    "g/m3": _SAME,
    "kg/m3": Conversion(1_000.0),
    "ug/L": Conversion(1e-3),
}
# As test kits print it: 1 mg in a kilogram of water, which is a litre within 0.6 % up to 35 C.
_KIT: Final = {**_MASS, "ppm": _SAME}

CARBONATE_G_EQ: Final = 50.0435
"""Mass of calcium carbonate per equivalent of alkalinity (IUPAC standard atomic weights). [g/eq]"""

MG_L_PER_DKH: Final = 10.0 * 2.0 * CARBONATE_G_EQ / 56.0774
"""A German degree of carbonate hardness is 10 mg/L of CaO: so much calcium carbonate. [mg/L]"""

# A bare "%" is a percentage in UCUM and a ratio 0..1 in SenML; the SenML reader
# renames its own "%" to "/" before it asks this table (RFC 8428 section 12.1).
TABLE: Final[dict[Quantity, dict[str, Conversion]]] = {
    Quantity.TEMPERATURE: {
        "C": _SAME,
        "Cel": _SAME,
        "K": Conversion(1.0, -273.15),
        "F": Conversion(5 / 9, -160 / 9),
        "[degF]": Conversion(5 / 9, -160 / 9),
    },
    Quantity.HUMIDITY: {**_PERCENT, "%RH": _SAME},
    Quantity.LIGHT: {
        "W/m2": _SAME,
        "lx": Conversion(1.0 / (LUX_PER_UMOL * UMOL_PER_JOULE_GLOBAL)),
        "lux": Conversion(1.0 / (LUX_PER_UMOL * UMOL_PER_JOULE_GLOBAL)),
        "klx": Conversion(1_000.0 / (LUX_PER_UMOL * UMOL_PER_JOULE_GLOBAL)),
        "umol/m2/s": Conversion(1.0 / UMOL_PER_JOULE_GLOBAL),
    },
    Quantity.WIND_SPEED: {
        "m/s": _SAME,
        "km/h": Conversion(1 / 3.6),
        "[kn_i]": Conversion(1852 / 3600),
    },
    Quantity.PRESSURE: {
        "hPa": _SAME,
        "mbar": _SAME,
        "Pa": Conversion(0.01),
        "kPa": Conversion(10.0),
    },
    Quantity.PH: {"pH": _SAME, "[pH]": _SAME},
    Quantity.OXYGEN: _MASS,
    Quantity.OXYGEN_SATURATION: _PERCENT,
    Quantity.CONDUCTIVITY: {
        "mS/cm": _SAME,
        "uS/cm": Conversion(1e-3),
        "S/m": Conversion(10.0),
    },
    Quantity.LEVEL: {
        "cm": _SAME,
        "mm": Conversion(0.1),
        "m": Conversion(100.0),
    },
    Quantity.FLOW: {
        "L/min": _SAME,
        "l/min": _SAME,
        "L/s": Conversion(60.0),
        "l/s": Conversion(60.0),
        "m3/s": Conversion(60_000.0),
        "m3/h": Conversion(1_000 / 60),
    },
    Quantity.TOTAL_AMMONIA: _KIT,
    Quantity.UNIONISED_AMMONIA: _MASS,
    Quantity.NITRITE: _KIT,
    Quantity.NITRATE: _KIT,
    Quantity.ALKALINITY: {
        **_KIT,
        "dKH": Conversion(MG_L_PER_DKH),
        "meq/L": Conversion(CARBONATE_G_EQ),
    },
    Quantity.CARBON_DIOXIDE: _MASS,
    Quantity.WATER_LOSS: {"L/h": _SAME, "L/d": Conversion(1 / 24)},
    Quantity.FILTER_LOAD: _PERCENT,
    Quantity.POSITION: _PERCENT,
    Quantity.SWITCH: {"on/off": _SAME, "/": _SAME, "1": _SAME},
}

assert set(TABLE) == set(KEPT_UNIT) == set(Quantity), "every quantity has a kept unit and a table"


def find_conversion(quantity: Quantity, unit: str) -> Conversion | None:
    """Find the step from `unit` to the kept unit of `quantity`, or None when it is not in the table."""
    return TABLE[quantity].get(unit)


def allowed_units(quantity: Quantity) -> tuple[str, ...]:
    """Name the units that the table can convert for `quantity`."""
    return tuple(TABLE[quantity])
