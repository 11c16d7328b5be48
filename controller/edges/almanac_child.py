"""The short-lived process that reckons the sun, so that the daemon need not hold what it takes.

This is the only module that imports pvlib: the import alone costs about 130 MB and half a second, which
is gone again when this process ends. One question comes as JSON on standard input, the answer goes to
standard output, and a failure is a traceback on standard error with exit 1.

Sun: NREL's solar position algorithm (Reda & Andreas 2004, Solar Energy 76:577-589; NREL/TP-560-34302),
topocentric, good to 0.0003 degrees. Clear sky: Ineichen & Perez 2002, Solar Energy 73:151-157, with the
monthly Linke turbidity that pvlib ships. Clear-sky models differ from each other by 5 to 10 percent, far
more than any error of the sun's place.
"""

from __future__ import annotations

import json
import os
import sys
from array import array
from typing import Any, Final

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

from controller.core.sky.almanac import RISE_SET_HEIGHT_DEG, Almanac, pack
from controller.core.units import DAY_MS, MINUTE_MS

# A month at a time: a whole year in one array needs 200 MB more at its peak.
CHUNK_MINUTES: Final = 31 * 1440

# Crossings are first bracketed at this spacing. A dip below the limit shorter than this is less than
# 0.00001 degrees deep, which no sunrise is defined to.
BRACKET_MS: Final = 10_000

# Terrestrial minus universal time. Measured 69 s in the 2020s; 10 s more moves the sun 0.0001 degrees. [s]
DELTA_T_S: Final = 69.0

# Yearly mean, used for refraction in the air mass only. [C]
AIR_TEMPERATURE_C: Final = 12.0

# The daemon goes first on a small board.
NICENESS: Final = 10


class Site:
    """A place on earth, with the two reckonings made for it."""

    def __init__(self, request: dict[str, Any]) -> None:
        self.latitude_deg = float(request["latitude_deg"])
        self.longitude_deg = float(request["longitude_deg"])
        self.elevation_m = float(request["elevation_m"])
        self.pressure_pa = float(pvlib.atmosphere.alt2pres(self.elevation_m))

    def locate_sun(self, utc_ms: NDArray[np.int64]) -> pd.DataFrame:
        """Reckon where the sun stands at each instant: elevation, apparent_zenith, azimuth [deg]."""
        return pvlib.solarposition.spa_python(
            pd.DatetimeIndex(utc_ms.astype("datetime64[ms]"), tz="UTC"),
            latitude=self.latitude_deg,
            longitude=self.longitude_deg,
            altitude=self.elevation_m,
            pressure=self.pressure_pa,
            temperature=AIR_TEMPERATURE_C,
            delta_t=DELTA_T_S,
            how="numpy",
        )

    def reckon_clear_sky(self, sun: pd.DataFrame) -> NDArray[np.float64]:
        """Reckon the cloudless global irradiance for sun positions from `locate_sun` [W/m2]."""
        times = sun.index
        relative = pvlib.atmosphere.get_relative_airmass(sun["apparent_zenith"], model="kastenyoung1989")
        light = pvlib.clearsky.ineichen(
            apparent_zenith=sun["apparent_zenith"],
            airmass_absolute=pvlib.atmosphere.get_absolute_airmass(relative, self.pressure_pa),
            linke_turbidity=pvlib.clearsky.lookup_linke_turbidity(
                times, self.latitude_deg, self.longitude_deg
            ),
            altitude=self.elevation_m,
            dni_extra=pvlib.irradiance.get_extra_radiation(times),
        )
        # With the sun below the horizon there is no air mass, and so no number: it is night.
        return np.nan_to_num(np.asarray(light["ghi"], dtype=np.float64), nan=0.0)


def make_table(site: Site, *, start_utc_ms: int, days: int) -> bytes:
    """Reckon a packed almanac of whole days, both ends included."""
    heights, light = array("h"), array("H")
    instants = start_utc_ms + MINUTE_MS * np.arange(days * (DAY_MS // MINUTE_MS) + 1, dtype=np.int64)
    for first in range(0, len(instants), CHUNK_MINUTES):
        sun = site.locate_sun(instants[first : first + CHUNK_MINUTES])
        heights.extend(np.rint(sun["elevation"].to_numpy() * 100).astype(int).tolist())
        light.extend(np.rint(site.reckon_clear_sky(sun)).astype(int).tolist())
    return pack(Almanac(start_utc_ms, heights, light))


def report_day(site: Site, *, at_utc_ms: int, from_utc_ms: int, to_utc_ms: int) -> dict[str, object]:
    """Reckon the sun at one instant, and every crossing of sunrise height in the span [ms]."""
    sun = site.locate_sun(np.array([at_utc_ms], dtype=np.int64))
    instants = np.arange(from_utc_ms, to_utc_ms + BRACKET_MS, BRACKET_MS, dtype=np.int64)
    above = site.locate_sun(instants)["elevation"].to_numpy() >= RISE_SET_HEIGHT_DEG
    changes = np.flatnonzero(above[1:] != above[:-1])
    crossings = [(_refine(site, int(instants[i])), bool(above[i + 1])) for i in changes]
    inside = [(utc_ms, rises) for utc_ms, rises in crossings if from_utc_ms <= utc_ms < to_utc_ms]
    return {
        "sun_height_deg": float(sun["elevation"].iloc[0]),
        "azimuth_deg": float(sun["azimuth"].iloc[0]),
        "clear_sky_w_m2": float(site.reckon_clear_sky(sun)[0]),
        "sunrises_utc_ms": [utc_ms for utc_ms, rises in inside if rises],
        "sunsets_utc_ms": [utc_ms for utc_ms, rises in inside if not rises],
    }


def _refine(site: Site, bracket_utc_ms: int) -> int:
    """Find the crossing within the bracket that begins here, to a tenth of a second [ms]."""
    instants = np.arange(bracket_utc_ms, bracket_utc_ms + BRACKET_MS + 1, 100, dtype=np.int64)
    above = site.locate_sun(instants)["elevation"].to_numpy() >= RISE_SET_HEIGHT_DEG
    return int(instants[np.argmax(above != above[0])])


def main() -> int:
    """Answer the one question on standard input."""
    os.nice(NICENESS)
    request = json.load(sys.stdin)
    site = Site(request)
    match request["ask"]:
        case "table":
            answer = make_table(site, start_utc_ms=request["start_utc_ms"], days=request["days"])
        case "day":
            span = {name: int(request[name]) for name in ("at_utc_ms", "from_utc_ms", "to_utc_ms")}
            answer = json.dumps(report_day(site, **span), allow_nan=False).encode()
        case other:
            raise ValueError(f"unknown question {other!r}")
    sys.stdout.buffer.write(answer)
    return 0


if __name__ == "__main__":
    sys.exit(main())
