"""Where the sun stands over the simulated house, and what a clear sky would give.

The position is the low-precision formula of the Astronomical Almanac (section C), as set out by Michalsky
1988, Solar Energy 40:227-235, who states 0.01 degrees for 1950 to 2050. Clear sky after Haurwitz 1945, J.
Meteorol. 2:154-166.
"""

from math import asin, atan2, cos, degrees, exp, radians, sin, tan
from typing import NamedTuple

J2000_MS = 946_728_000_000  # 2000-01-01 12:00 UTC
DAY_MS = 86_400_000
HOUR_ANGLE_RAD_S = 7.2722e-5  # how fast the sun's hour angle grows: 15 degrees an hour, to one part in 3000


class Sun(NamedTuple):
    """The sun seen from the Earth's centre.

    Attributes
    ----------
    sin_declination, cos_declination : float
        Sine and cosine of the declination. [1]
    greenwich_rad : float
        Hour angle at Greenwich, positive after noon, not reduced. [rad]
    """

    sin_declination: float
    cos_declination: float
    greenwich_rad: float


def find_sun(utc_ms: int) -> Sun:
    """Find the sun at an instant, to 0.01 degrees between 1950 and 2050.

    Parameters
    ----------
    utc_ms : int
        Instant, since 1970. [ms]
    """
    days = (utc_ms - J2000_MS) / DAY_MS
    mean_longitude_deg = 280.460 + 0.9856474 * days
    anomaly = radians(357.528 + 0.9856003 * days)
    longitude = radians(mean_longitude_deg + 1.915 * sin(anomaly) + 0.020 * sin(2 * anomaly))
    obliquity = radians(23.439 - 4e-7 * days)
    right_ascension = atan2(cos(obliquity) * sin(longitude), cos(longitude))
    declination = asin(sin(obliquity) * sin(longitude))
    # Mean sidereal time: 18.697374558 h at the epoch and 24.06570982441908 h a day.
    sidereal = radians((18.697374558 + 24.06570982441908 * days) % 24.0 * 15.0)
    return Sun(sin(declination), cos(declination), sidereal - right_ascension)


def elevation_deg(utc_ms: int, *, latitude_deg: float, longitude_deg: float) -> float:
    """Elevation of the sun's centre without refraction [degrees], negative below the horizon.

    Parameters
    ----------
    utc_ms : int
        Instant, since 1970. [ms]
    latitude_deg, longitude_deg : float
        Place, north and east positive. [degrees]
    """
    sun, latitude, hour = _look_from(utc_ms, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    return degrees(
        asin(sin(latitude) * sun.sin_declination + cos(latitude) * sun.cos_declination * cos(hour))
    )


def azimuth_deg(utc_ms: int, *, latitude_deg: float, longitude_deg: float) -> float:
    """Azimuth of the sun [degrees], clockwise from north, 0 to 360.

    Parameters
    ----------
    utc_ms : int
        Instant, since 1970. [ms]
    latitude_deg, longitude_deg : float
        Place, north and east positive. [degrees]
    """
    sun, latitude, hour = _look_from(utc_ms, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    east = -sun.cos_declination * sin(hour)
    north = cos(latitude) * sun.sin_declination - sin(latitude) * sun.cos_declination * cos(hour)
    return degrees(atan2(east, north)) % 360.0


def _look_from(utc_ms: int, *, latitude_deg: float, longitude_deg: float) -> tuple[Sun, float, float]:
    """Return the sun, and of a place the latitude and the sun's hour angle [rad]."""
    sun = find_sun(utc_ms)
    return sun, radians(latitude_deg), sun.greenwich_rad + radians(longitude_deg)


def refraction_deg(true_elevation_deg: float) -> float:
    """Lift of the sun by the air at 1010 hPa and 10 C [degrees], at least 0.

    Saemundsson 1986, Sky and Telescope 72:70, as given by Meeus, Astronomical Algorithms, chapter 16.

    Parameters
    ----------
    true_elevation_deg : float
        Elevation without refraction; far below the horizon the lift is 0. [degrees]
    """
    if true_elevation_deg < -2.0:
        return 0.0
    return 1.02 / tan(radians(true_elevation_deg + 10.3 / (true_elevation_deg + 5.11))) / 60.0


def haurwitz_w_m2(sin_elevation: float) -> float:
    """Global irradiance under a clear sky [W/m2], 0 with the sun down.

    Parameters
    ----------
    sin_elevation : float
        Sine of the sun's elevation, -1 to 1. [1]
    """
    return 1098.0 * sin_elevation * exp(-0.059 / sin_elevation) if sin_elevation > 0.0 else 0.0


def clear_minutes_w_m2(
    start_ms: int, *, latitude_deg: float, longitude_deg: float
) -> tuple[list[float], list[float]]:
    """Clear-sky irradiance and sine of the elevation in the middle of each minute of an hour [W/m2], [1].

    Haurwitz leaves out the glow of a low or set sun. Here it is added: 4 W/m2 at the horizon (about 400 lux),
    falling to 0.03 (3 lux) at 6 degrees below; both illuminances from memory.

    Parameters
    ----------
    start_ms : int
        Start of the hour, since 1970. [ms]
    latitude_deg, longitude_deg : float
        Place, north and east positive. [degrees]
    """
    middle_ms = start_ms + 1_800_000
    sun, latitude, hour = _look_from(middle_ms, latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    level = sin(latitude) * sun.sin_declination
    swing = cos(latitude) * sun.cos_declination
    step = 60.0 * HOUR_ANGLE_RAD_S
    sines = [level + swing * cos(hour + (minute - 29.5) * step) for minute in range(60)]
    return [_clear_w_m2(s) for s in sines], sines


def _clear_w_m2(sine: float) -> float:
    if sine > 0.0:
        return 1098.0 * sine * exp(-0.059 / sine) + 4.0 * exp(-19.0 * sine)
    return 4.0 * exp(47.7 * sine) if sine > -0.105 else 0.0
