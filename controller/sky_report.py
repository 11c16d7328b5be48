"""`duskbell sky`: where the sun stands at an instant, and when it rises and sets on that day.

Sunrise and sunset are those of the site's civil day (midnight to midnight on its clocks), with the centre
of the sun 0.8333 degrees below the horizon. In the far north and south a day can hold two of a kind: then
the sunrise given is the first and the sunset given is the last of the day, and the text says that there
are more. On such days the sunset may come before the sunrise. A day without one gives none.
"""

from __future__ import annotations

import json
import math
import sys
import tomllib
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from controller.core.sky.almanac import RISE_SET_HEIGHT_DEG
from controller.edges.almanac import YEARS, AlmanacFailed, SkyReport, report_sky
from controller.settings.plain_file import read_plain

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_NUMBER_KEYS: Final = ("latitude_deg", "longitude_deg", "elevation_m")
_OPTIONS: Final = {
    "latitude_deg": "--latitude",
    "longitude_deg": "--longitude",
    "elevation_m": "--elevation-m",
    "time_zone": "--time-zone",
}

# A settings file is some tens of kilobytes; a larger one is another file given by mistake.
_SETTINGS_BYTES_MAX: Final = 4_000_000


class _Refused(ValueError):  # noqa: N818 - named by what happened
    """What was asked cannot be answered as it stands; the message is the one line to say."""


@dataclass(frozen=True, slots=True)
class _Site:
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    zone: ZoneInfo


def add_sky(subparsers: argparse._SubParsersAction[argparse.ArgumentParser], settings: Path) -> None:
    """Add the command `sky` to the command line; `settings` is where the site is looked up if nobody says."""
    parser = subparsers.add_parser(
        "sky",
        help="where the sun stands, clear-sky light, sunrise and sunset",
        description="Say where the sun stands at an instant, the light a cloudless sky would give, and "
        "sunrise and sunset of that day on the site's clocks.",
    )
    parser.add_argument(
        "--at",
        metavar="TIME",
        help="the instant, ISO 8601, such as 2025-06-21T12:00; without an offset it is the site's "
        "local time, a date alone is its midnight",
    )
    parser.add_argument(
        "--settings",
        metavar="FILE",
        help="take the site from the table [site] of this file (default: the settings of this machine, if it has any)",
    )
    parser.add_argument("--latitude", metavar="DEGREES", help="positive north; wins over the file")
    parser.add_argument("--longitude", metavar="DEGREES", help="positive east; wins over the file")
    parser.add_argument("--elevation-m", metavar="METRES", help="above the sea; wins over the file")
    parser.add_argument("--time-zone", metavar="NAME", help="such as Europe/London; wins over the file")
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")
    parser.set_defaults(run=run_sky, own_settings=settings)


def run_sky(args: argparse.Namespace) -> int:
    """Answer `duskbell sky`: 0 when answered, 2 when asked wrongly, 1 when the sun could not be reckoned."""
    try:
        site = _read_site(args)
        at, note = _read_instant(args.at, site.zone)
        day = at.date()
        midnight, next_midnight = _midnight(day, site.zone), _midnight(day + timedelta(days=1), site.zone)
        report = report_sky(
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
            at_utc_ms=_to_utc_ms(at),
            from_utc_ms=_to_utc_ms(midnight),
            to_utc_ms=_to_utc_ms(next_midnight),
        )
    except AlmanacFailed as error:
        sys.stderr.write(f"duskbell sky: {_one_line(error)}\n")
        return 1
    except ValueError as error:
        sys.stderr.write(f"duskbell sky: {_one_line(error)}\n")
        return 2
    if note:
        sys.stderr.write(f"duskbell sky: {note}\n")
    sys.stdout.write(_format_json(report, site.zone) if args.json else _format_text(report, site, at))
    return 0


def _read_site(args: argparse.Namespace) -> _Site:
    """Take the site from the settings file, if given, and from the options, which win."""
    options = {
        "latitude_deg": args.latitude,
        "longitude_deg": args.longitude,
        "elevation_m": args.elevation_m,
        "time_zone": args.time_zone,
    }
    given = {key: value for key, value in options.items() if value is not None}
    path = None if args.settings is None else Path(args.settings)
    if path is None and len(given) < len(options) and args.own_settings.is_file():
        path = args.own_settings
    found: dict[str, Any] = ({} if path is None else _read_site_table(path)) | given
    missing = [key for key in options if key not in found]
    if missing:
        absent = f"there is no settings file {args.own_settings}, and " if path is None else ""
        raise _Refused(
            f"{absent}the site lacks {', '.join(missing)}: give --settings FILE, or "
            f"{_join([_OPTIONS[key] for key in missing])}"
        )
    latitude_deg, longitude_deg, elevation_m = (_read_number(key, found[key]) for key in _NUMBER_KEYS)
    return _Site(latitude_deg, longitude_deg, elevation_m, _read_zone(found["time_zone"]))


def _join(words: list[str]) -> str:
    """Join words as a sentence does."""
    return " and ".join(filter(None, [", ".join(words[:-1]), words[-1]]))


def _read_site_table(path: Path) -> dict[str, Any]:
    try:
        text = read_plain(path, _SETTINGS_BYTES_MAX + 1)
    except OSError as error:
        raise _Refused(f"cannot read {path}: {error.strerror or error}") from error
    if len(text) > _SETTINGS_BYTES_MAX:
        raise _Refused(f"{path} is too large for a settings file")
    try:
        site = tomllib.loads(text.decode()).get("site")
    except ValueError as error:
        raise _Refused(f"{path} is no valid TOML file: {error}") from error
    if not isinstance(site, dict):
        raise _Refused(f"{path} has no table [site]")
    return site


def _read_number(key: str, value: object) -> float:
    """Accept a number, or an option's text that is one; ranges are judged where the sun is reckoned."""
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise _Refused(f"{key} must be a number, not {value!r}")
    try:
        number = float(value)
    except (ValueError, OverflowError):
        raise _Refused(f"{key} must be a number, not {value!r}") from None
    if not math.isfinite(number):
        raise _Refused(f"{key} must be a finite number, not {value!r}")
    return number


def _read_zone(name: object) -> ZoneInfo:
    if not isinstance(name, str):
        raise _Refused(f"time_zone must be a name such as 'Europe/London', not {name!r}")
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise _Refused(f"time_zone {name!r} is not known; a name looks like 'Europe/London'") from None


def _read_instant(text: str | None, zone: ZoneInfo) -> tuple[datetime, str | None]:
    """Read the instant as the site's local time, with a note where its clocks skip or repeat it."""
    if text is None:
        raise _Refused("say the instant with --at, such as --at 2025-06-21T12:00")
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        raise _Refused(f"--at {text!r} is no ISO 8601 date and time, such as 2025-06-21T12:00") from None
    if read.year not in YEARS:  # judged first, so that no zone can push the instant off the calendar
        raise _Refused(f"--at {text!r}: the sun is reckoned from {YEARS[0]} to {YEARS[-1]} only")
    if read.tzinfo is not None:
        return read.astimezone(zone), None
    # PEP 495: where the clocks skip the time, fold=0 takes the offset before the jump, which lands after
    # it; where they repeat it, fold=0 is the first and fold=1 the second.
    first, second = read.replace(tzinfo=zone), read.replace(tzinfo=zone, fold=1)
    local = first.astimezone(UTC).astimezone(zone)
    said = read.isoformat()
    if local.replace(tzinfo=None) != read:
        return local, (
            f"local time {said} is skipped when the clocks go forward; taken as {local.isoformat()}"
        )
    if first.utcoffset() != second.utcoffset():
        return local, (
            f"local time {said} comes twice when the clocks go back; taken as the first, "
            f"{first.isoformat()}; the second is {second.isoformat()}"
        )
    return local, None


def _midnight(day: date, zone: ZoneInfo) -> datetime:
    """Give the first instant of a civil day; where midnight is skipped, that is when the clocks jump."""
    return datetime.combine(day, time(), tzinfo=zone)


def _to_utc_ms(instant: datetime) -> int:
    return (instant.astimezone(UTC) - _EPOCH) // timedelta(milliseconds=1)


def _to_local(utc_ms: int, zone: ZoneInfo) -> datetime:
    """Give the local time, rounded to the second."""
    return (_EPOCH + timedelta(seconds=round(utc_ms / 1000))).astimezone(zone)


def _sunrise_sunset(report: SkyReport, zone: ZoneInfo) -> tuple[datetime | None, datetime | None]:
    """Choose the day's first sunrise and last sunset."""
    sunrise = _to_local(report.sunrises_utc_ms[0], zone) if report.sunrises_utc_ms else None
    sunset = _to_local(report.sunsets_utc_ms[-1], zone) if report.sunsets_utc_ms else None
    return sunrise, sunset


def _format_json(report: SkyReport, zone: ZoneInfo) -> str:
    sunrise, sunset = _sunrise_sunset(report, zone)
    answer = {
        "sun_height_deg": round(report.sun_height_deg, 4),
        "azimuth_deg": round(report.azimuth_deg, 4),
        "clear_sky_w_m2": round(report.clear_sky_w_m2, 2),
        "sunrise": sunrise and sunrise.isoformat(timespec="seconds"),
        "sunset": sunset and sunset.isoformat(timespec="seconds"),
    }
    return json.dumps(answer, indent=2) + "\n"


def _format_text(report: SkyReport, site: _Site, at: datetime) -> str:
    height_deg = report.sun_height_deg
    side = "above" if height_deg >= 0 else "below"
    lines = [
        f"{at.isoformat()} ({site.zone.key}) at {_format_place(site)}:",
        (
            f"Sun {abs(height_deg):.2f} degrees {side} the horizon (without refraction), "
            f"azimuth {report.azimuth_deg:.2f} degrees from north by east."
        ),
        f"A cloudless sky would give {report.clear_sky_w_m2:.0f} W/m2 on a level plane.",
        _format_day(report, site.zone),
    ]
    return "\n".join(lines) + "\n"


def _format_place(site: _Site) -> str:
    north, east = site.latitude_deg >= 0, site.longitude_deg >= 0
    return (
        f"{abs(site.latitude_deg):g} {'N' if north else 'S'}, "
        f"{abs(site.longitude_deg):g} {'E' if east else 'W'}, {site.elevation_m:g} m"
    )


def _format_day(report: SkyReport, zone: ZoneInfo) -> str:
    sunrise, sunset = _sunrise_sunset(report, zone)
    if sunrise is None and sunset is None:
        stays = "up" if report.sun_height_deg >= RISE_SET_HEIGHT_DEG else "down"
        return f"The sun stays {stays} all that day."
    parts = [
        f"sunrise {sunrise:%H:%M:%S}" if sunrise else "no sunrise",
        f"sunset {sunset:%H:%M:%S}" if sunset else "no sunset",
    ]
    text = f"That day: {parts[0]}, {parts[1]}."
    for name, instants in (("sunrises", report.sunrises_utc_ms), ("sunsets", report.sunsets_utc_ms)):
        if len(instants) > 1:
            text += f" It has {_format_times(instants, zone)} as {name}."
    return text


def _format_times(instants: Sequence[int], zone: ZoneInfo) -> str:
    return " and ".join(f"{_to_local(utc_ms, zone):%H:%M:%S}" for utc_ms in instants)


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())
