"""A climate as a year of minutes: outdoor light and outdoor temperature, nothing else."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from simulators.years import Station, WeatherYear

if TYPE_CHECKING:
    from numpy.typing import NDArray

HOUR_MS: Final = 3_600_000
MINUTE_MS: Final = 60_000
DAY_MINUTES: Final = 1440

NEW_YEAR_UTC_MS: Final = 1_672_531_200_000
"""2023-01-01 00:00 UTC: a year of 365 days, as the stations' years are. [ms]"""

NAMES: Final[dict[Station, str]] = {
    Station.GREENSBORO_NORTH_CAROLINA: "temperate",
    Station.MIAMI_FLORIDA: "warm-humid",
    Station.SAND_POINT_ALASKA: "subarctic",
}
"""What the climate of each station is called in the table."""

ZONES: Final[dict[Station, str]] = {
    Station.GREENSBORO_NORTH_CAROLINA: "Etc/GMT+5",
    Station.MIAMI_FLORIDA: "Etc/GMT+5",
    Station.SAND_POINT_ALASKA: "Etc/GMT+9",
}
"""The time zone of each station without summer time (the sign of these names is turned round)."""


class Minutes(NamedTuple):
    """Weather by the minute.

    Attributes
    ----------
    station : Station
        Whose year.
    start_utc_ms : int
        Start of the first minute, midnight of the station's standard time. [ms]
    light_w_m2 : numpy.ndarray
        Mean global irradiance of each minute outside, at least 0. [W/m2]
    outside_c : numpy.ndarray
        Air temperature of each minute outside. [C]
    """

    station: Station
    start_utc_ms: int
    light_w_m2: NDArray[np.float64]
    outside_c: NDArray[np.float64]


def make_minutes(station: Station, *, seed: int, first_day: int = 0, days: int = 365) -> Minutes:
    """Make the minutes of a span of a station's year, with clouds of their own for each seed.

    Parameters
    ----------
    station : Station
        Whose year.
    seed : int
        The run's seed.
    first_day : int
        Days to leave out from the first of January. [days]
    days : int
        Length. [days]
    """
    weather = WeatherYear(seed, station)
    start = NEW_YEAR_UTC_MS - weather.record.utc_offset_h * HOUR_MS + first_day * DAY_MINUTES * MINUTE_MS
    rows = np.array(
        [
            (now.global_w_m2, now.outdoor_c)
            for now in (weather.at(start + minute * MINUTE_MS) for minute in range(days * DAY_MINUTES))
        ]
    )
    return Minutes(station, start, np.ascontiguousarray(rows[:, 0]), np.ascontiguousarray(rows[:, 1]))
