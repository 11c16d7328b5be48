"""Typical meteorological years as weather: the public station files that come with pvlib, read without it.

Formats: Wilcox and Marion 2008, Users Manual for TMY3 Data Sets, NREL/TP-581-43156; Marion and Urban 1995,
User's Manual for TMY2s, NREL/SP-463-7668. In both a record's stamp ends its hour: irradiance is the mean of
the sixty minutes before the stamp, and the air is that at the stamp itself. Stamps are in the station's
standard time, without summer time.
"""

import csv
from enum import Enum
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import NamedTuple

from simulators.chance import stream
from simulators.clouds import spread_hour
from simulators.sky import HOUR_MS, HourEnds, HourlySky, Weather, weave_hour
from simulators.sun import clear_minutes_w_m2

YEAR_HOURS = 8760
DAY_MS = 86_400_000
_DAYS_BEFORE = (0, 31, 59, 90, 120, 151, 181, 212, 243, 273, 304, 334)


class Station(Enum):
    """The stations at hand."""

    SAND_POINT_ALASKA = "703165TY.csv"
    GREENSBORO_NORTH_CAROLINA = "723170TYA.CSV"
    MIAMI_FLORIDA = "12839.tm2"


TIME_ZONES = {
    Station.SAND_POINT_ALASKA: "America/Anchorage",
    Station.GREENSBORO_NORTH_CAROLINA: "America/New_York",
    Station.MIAMI_FLORIDA: "America/New_York",
}
"""The clock on the wall at each station, by its IANA name; a test holds it against the file's standard time."""


class Record(NamedTuple):
    """A station's year: its place, and 8760 hours from the first of January.

    Attributes
    ----------
    latitude_deg, longitude_deg : float
        Place, north and east positive. [degrees]
    elevation_m : float
        Height above the sea. [m]
    utc_offset_h : int
        Standard time minus UTC. [h]
    global_w_m2 : tuple[float, ...]
        Mean global irradiance of the hour that begins with the index. [W/m2]
    air : tuple[tuple[float, float, float, float], ...]
        Temperature [C], humidity [%], wind [m/s], pressure [hPa] at the end of the hour that begins with the
        index.
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    utc_offset_h: int
    global_w_m2: tuple[float, ...]
    air: tuple[tuple[float, float, float, float], ...]


@lru_cache(maxsize=len(Station))
def read_station(station: Station) -> Record:
    """Read a station's file from the data folder of the installed pvlib, which is not imported.

    Parameters
    ----------
    station : Station
        Which one.

    Raises
    ------
    FileNotFoundError
        pvlib, or its data, is not installed.
    """
    spec = find_spec("pvlib")
    if spec is None or not spec.submodule_search_locations:
        raise FileNotFoundError("the weather years come with pvlib, which is not installed")
    path = Path(spec.submodule_search_locations[0]) / "data" / station.value
    lines = path.read_text(encoding="ascii").splitlines()
    record = _parse_tmy2(lines) if path.suffix == ".tm2" else _parse_tmy3(lines)
    if len(record.global_w_m2) != YEAR_HOURS:
        raise ValueError(f"{station.value}: {len(record.global_w_m2)} hours, a year has {YEAR_HOURS}")
    return record


def _parse_tmy3(lines: list[str]) -> Record:
    place = next(csv.reader(lines[:1]))
    light: list[float] = []
    air: list[tuple[float, float, float, float]] = []
    for row in csv.DictReader(lines[1:]):
        light.append(max(0.0, float(row["GHI (W/m^2)"])))
        air.append(
            (
                float(row["Dry-bulb (C)"]),
                float(row["RHum (%)"]),
                float(row["Wspd (m/s)"]),
                float(row["Pressure (mbar)"]),
            )
        )
    return Record(
        float(place[4]),
        float(place[5]),
        float(place[6]),
        round(float(place[3])),
        tuple(light),
        _fill_gaps(air),
    )


def _parse_tmy2(lines: list[str]) -> Record:
    """Parse columns: GHI 18-21, dry bulb 68-71 in tenths, humidity 80-82, pressure 85-88, wind 96-98."""
    head = lines[0].split()
    at = len(head) - 8
    latitude = (float(head[at + 2]) + float(head[at + 3]) / 60.0) * (1 if head[at + 1] == "N" else -1)
    longitude = (float(head[at + 5]) + float(head[at + 6]) / 60.0) * (1 if head[at + 4] == "E" else -1)
    light: list[float] = []
    air: list[tuple[float, float, float, float]] = []
    for line in lines[1:]:
        light.append(float(line[17:21]))
        air.append(
            (
                float(line[67:71]) / 10.0,
                float(line[79:82]),
                float(line[95:98]) / 10.0,
                float(line[84:88]),
            )
        )
    return Record(latitude, longitude, float(head[at + 7]), int(head[at]), tuple(light), _fill_gaps(air))


def _fill_gaps(
    air: list[tuple[float, float, float, float]],
) -> tuple[tuple[float, float, float, float], ...]:
    """Put the hour before in place of an hour marked missing (-9900 in TMY3, 999 or 9999 in TMY2)."""
    filled: list[tuple[float, float, float, float]] = []
    for hour in air:
        sound = (
            hour[0] > -90.0 and 0.0 < hour[1] <= 100.0 and 0.0 <= hour[2] < 90.0 and 500.0 < hour[3] < 1100.0
        )
        filled.append(hour if sound or not filled else filled[-1])
    return tuple(filled)


def hour_of_year(local_ms: int) -> int:
    """Hour of a year of 365 days that holds an instant [h], 0 to 8759; 29 February repeats the 28th.

    Parameters
    ----------
    local_ms : int
        Standard time at the station, counted like UTC since 1970. [ms]
    """
    days, rest = divmod(local_ms, DAY_MS)
    month, day = _month_and_day(days)
    if (month, day) == (2, 29):
        day = 28
    return (_DAYS_BEFORE[month - 1] + day - 1) * 24 + rest // HOUR_MS


def _month_and_day(days: int) -> tuple[int, int]:
    """Gregorian month and day of days since 1970 (Richards, Explanatory Supplement, section 15.11)."""
    julian = days + 2_440_588
    f = julian + 1401 + (4 * julian + 274_277) // 146_097 * 3 // 4 - 38
    e = 4 * f + 3
    h = 5 * (e % 1461 // 4) + 2
    return (h // 153 + 2) % 12 + 1, h % 153 // 5 + 1


class WeatherYear(HourlySky):
    """A station's typical year as weather by the minute, the same every year of the calendar.

    Hourly means of irradiance are those of the station; the minutes within are drawn.

    Parameters
    ----------
    seed : int
        The run's seed.
    station : Station
        Whose year.
    """

    def __init__(self, seed: int, station: Station) -> None:
        self.seed = seed
        self.record = read_station(station)
        self.latitude_deg = self.record.latitude_deg
        self.longitude_deg = self.record.longitude_deg
        self.elevation_m = self.record.elevation_m
        super().__init__()

    def _make_hour(self, hour: int) -> list[Weather]:
        record = self.record
        index = hour_of_year((hour + record.utc_offset_h) * HOUR_MS)
        clear, _ = clear_minutes_w_m2(
            hour * HOUR_MS, latitude_deg=record.latitude_deg, longitude_deg=record.longitude_deg
        )
        light = spread_hour(stream(self.seed, f"clouds/{hour}"), clear, record.global_w_m2[index])
        ends = HourEnds(record.air[index - 1], record.air[index])
        return weave_hour(self.seed, hour, light, ends)
