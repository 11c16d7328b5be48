"""Weather by the minute: an invented one for any place, and the shape both kinds of weather share.

A sky is asked for any instant and answers with the minute's `Weather`. Every hour draws from a stream of its
own, named by seed and hour, so a minute's weather depends neither on when the run began nor on what was asked
before.
"""

from math import cos, log, pi, radians, sqrt, tau
from typing import NamedTuple, Protocol

from simulators.air import saturation_pa
from simulators.chance import stream
from simulators.clouds import mean_index, smooth_step, spread_hour
from simulators.sun import clear_minutes_w_m2

HOUR_MS = 3_600_000
YEAR_H = 8765.82


class Weather(NamedTuple):
    """The weather of one minute.

    Attributes
    ----------
    global_w_m2 : float
        Global irradiance on the level outside, at least 0. [W/m2]
    outdoor_c : float
        Air temperature. [C]
    humidity_percent : float
        Relative humidity, 1 to 100. [%]
    wind_m_s : float
        Wind, mean of the minute, at least 0. [m/s]
    pressure_hpa : float
        Air pressure at the site. [hPa]
    """

    global_w_m2: float
    outdoor_c: float
    humidity_percent: float
    wind_m_s: float
    pressure_hpa: float


class Sky(Protocol):
    """Anything that knows the weather."""

    def at(self, utc_ms: int) -> Weather:
        """Tell the weather of the minute that holds an instant."""
        ...


class HourEnds(NamedTuple):
    """Air at both ends of an hour: temperature, humidity, wind, pressure, in the units of `Weather`."""

    start: tuple[float, float, float, float]
    end: tuple[float, float, float, float]


def weave_hour(seed: int, hour: int, global_w_m2: list[float], ends: HourEnds) -> list[Weather]:
    """Weather of sixty minutes from their irradiance and the air at both ends of the hour.

    Temperature, humidity and pressure run straight from end to end. Wind gusts about its line with a spread
    of a fifth, common practice for the turbulence of open land, no source.

    Parameters
    ----------
    seed : int
        The run's seed.
    hour : int
        Whole hours since 1970, which names the hour's stream. [h]
    global_w_m2 : list[float]
        Irradiance of the sixty minutes. [W/m2]
    ends : HourEnds
        Air at the start and the end of the hour.
    """
    gauss = stream(seed, f"gusts/{hour}").gauss
    (air, humidity, wind, pressure), (air_1, humidity_1, wind_1, pressure_1) = ends
    by_air, by_humidity = (air_1 - air) / 60.0, (humidity_1 - humidity) / 60.0
    by_wind, by_pressure = (wind_1 - wind) / 60.0, (pressure_1 - pressure) / 60.0
    minutes: list[Weather] = []
    at = 0.5
    for light in global_w_m2:
        gust = (wind + by_wind * at) * gauss(1.0, 0.2)
        minutes.append(
            Weather(
                light,
                air + by_air * at,
                humidity + by_humidity * at,
                max(0.0, gust),
                pressure + by_pressure * at,
            )
        )
        at += 1.0
    return minutes


class Wander:
    """A smooth random walk that returns: standard normal draws at fixed spacing, joined by a cosine.

    Parameters
    ----------
    seed : int
        The run's seed.
    part : str
        Names the stream.
    spacing_h : float
        Distance of the draws, above 0. [h]
    """

    __slots__ = ("_from", "_index", "_part", "_seed", "_to", "spacing_h")

    def __init__(self, seed: int, part: str, spacing_h: float) -> None:
        self._seed = seed
        self._part = part
        self.spacing_h = spacing_h
        self._index: int | None = None
        self._from = 0.0
        self._to = 0.0

    def at(self, hours: float) -> float:
        """Tell where it stands, spread about 0.87 around 0 [1].

        Parameters
        ----------
        hours : float
            Time since 1970. [h]
        """
        place = hours / self.spacing_h
        index = int(place // 1)
        if index != self._index:
            known = self._to if self._index is not None and index == self._index + 1 else self._draw(index)
            self._from, self._to, self._index = known, self._draw(index + 1), index
        share = 0.5 - 0.5 * cos(pi * (place - index))
        return self._from + (self._to - self._from) * share

    def _draw(self, index: int) -> float:
        return stream(self._seed, f"{self._part}/{index}").gauss(0.0, 1.0)


class HourlySky:
    """Weather that is made an hour at a time and told by the minute; a subclass says how an hour is made."""

    def __init__(self) -> None:
        self._hour: int | None = None
        self._minutes: list[Weather] = []

    def at(self, utc_ms: int) -> Weather:
        """Tell the weather of the minute that holds an instant.

        Parameters
        ----------
        utc_ms : int
            Instant, since 1970. [ms]
        """
        hour, rest = divmod(utc_ms, HOUR_MS)
        if hour != self._hour:
            self._minutes = self._make_hour(hour)
            self._hour = hour
        return self._minutes[rest // 60_000]

    def _make_hour(self, hour: int) -> list[Weather]:
        """Make the sixty minutes of an hour, counted since 1970."""
        raise NotImplementedError


class SyntheticSky(HourlySky):
    """An invented maritime weather for any place; the figures are ours, of the size of lowland England.

    Fronts of a few days drive cloud, warmth, wind and pressure; cloud damps the daily swing of temperature;
    minutes of sun come from `clouds`.

    Parameters
    ----------
    seed : int
        The run's seed.
    latitude_deg, longitude_deg : float
        Place, north and east positive. [degrees]
    elevation_m : float
        Height above the sea. [m]
    mean_c, season_c, day_c : float
        Mean of the year; half the swing of the seasons; half the swing of a cloudless day. [C]
    cloudiness : float
        Shifts the cover; 0 gives about half the sky covered on average, +1 a grey climate, -1 a sunny one.
        [1]
    mean_wind_m_s : float
        Mean wind, above 0. [m/s]
    """

    def __init__(  # noqa: PLR0913 - a climate has this many figures, each with a default
        self,
        seed: int,
        *,
        latitude_deg: float,
        longitude_deg: float,
        elevation_m: float = 15.0,
        mean_c: float = 9.5,
        season_c: float = 6.5,
        day_c: float = 4.5,
        cloudiness: float = 0.7,
        mean_wind_m_s: float = 3.5,
    ) -> None:
        self.seed = seed
        self.latitude_deg = latitude_deg
        self.longitude_deg = longitude_deg
        self.elevation_m = elevation_m
        self.mean_c = mean_c
        self.season_c = season_c
        self.day_c = day_c
        self.cloudiness = cloudiness
        self.mean_wind_m_s = mean_wind_m_s
        # International Standard Atmosphere (ICAO Doc 7488).
        self._mean_hpa = 1013.25 * (1.0 - 2.25577e-5 * elevation_m) ** 5.25588
        self._fronts = Wander(seed, "fronts", 60.0)
        self._bands = Wander(seed, "bands", 9.0)
        self._showers = Wander(seed, "showers", 2.0)
        self._warmth = Wander(seed, "warmth", 72.0)
        self._damp = Wander(seed, "damp", 24.0)
        self._breeze = Wander(seed, "breeze", 7.0)
        super().__init__()
        self._end: tuple[int, tuple[float, float, float, float]] | None = None

    def cover(self, hours: float) -> float:
        """Share of the sky covered [1], 0 to 1.

        Parameters
        ----------
        hours : float
            Time since 1970. [h]
        """
        mood = 1.1 * self._fronts.at(hours) + 0.8 * self._bands.at(hours) + 0.5 * self._showers.at(hours)
        return smooth_step(1.2 * (mood + self.cloudiness))

    def _make_hour(self, hour: int) -> list[Weather]:
        draws = stream(self.seed, f"clouds/{hour}")
        clear, _ = clear_minutes_w_m2(
            hour * HOUR_MS, latitude_deg=self.latitude_deg, longitude_deg=self.longitude_deg
        )
        mean = mean_index(draws, self.cover(hour + 0.5)) * sum(clear) / 60.0
        light = spread_hour(draws, clear, mean)
        start = self._end[1] if self._end is not None and self._end[0] == hour else self._air(hour)
        end = self._air(hour + 1)
        self._end = (hour + 1, end)
        return weave_hour(self.seed, hour, light, HourEnds(start, end))

    def _air(self, hour: int) -> tuple[float, float, float, float]:
        """Air at the start of an hour, in the units and order of `HourEnds`."""
        season = cos(tau * (hour / YEAR_H - 0.055)) * (-1.0 if self.latitude_deg >= 0 else 1.0)
        solar_h = (hour + self.longitude_deg / 15.0) % 24.0
        clearness = 1.0 - 0.75 * self.cover(hour)
        # The day swings less where the sun hardly rises: at 60 degrees in winter almost not at all.
        sunniness = max(0.25, 0.65 + 0.5 * season * abs(self.latitude_deg) / 60.0)
        swing = self.day_c * clearness * sunniness * cos(tau * (solar_h - 15.0) / 24.0)
        base = self.mean_c + self.season_c * season + 3.2 * self._warmth.at(hour)
        air = base + swing
        dew = base - 2.8 - 1.6 * self._damp.at(hour) - 2.0 * clearness * sunniness
        humidity = min(100.0, max(5.0, 100.0 * saturation_pa(dew) / saturation_pa(air)))
        # A Rayleigh wind from a uniform draw, a little brisker in the afternoon.
        calm = 1.0 - smooth_step(0.8 * self._fronts.at(hour) + 0.8 * self._breeze.at(hour))
        wind = self.mean_wind_m_s * 2.0 / sqrt(pi) * sqrt(-log(calm))
        wind *= 1.0 + 0.15 * cos(radians(15.0 * (solar_h - 14.0)))
        pressure = self._mean_hpa - 9.0 * self._fronts.at(hour) - 4.0 * self._bands.at(hour)
        return air, humidity, wind, pressure
