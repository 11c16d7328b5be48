"""Where almanacs come from: a process of its own that reckons the sun and then is gone.

Nothing here imports the astronomy; see `controller.edges.almanac_child`. A table takes about a second, so
no decision waits for one: it is made beforehand and the rules look it up.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.metadata
import json
import math
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from controller.core.sky.almanac import Almanac, pack, unpack
from controller.core.units import DAY_MS, MINUTE_MS

if TYPE_CHECKING:
    from pathlib import Path

# The longest span one call makes: two years and a day, so that a year's replay may start anywhere.
DAYS_MAX: Final = 2 * 366 + 1

# A year takes 4 s on a desktop machine; a small board is some ten times slower, and swapping costs more.
TIME_LIMIT_S: Final = 180.0

# Tables of a year are about 0.5 MB each; the newest are kept, so the folder stays below some 10 MB.
CACHE_FILES_MAX: Final = 20

# Years the sun is reckoned for. Far beyond them the difference of terrestrial and universal time is a guess.
YEARS: Final = range(1950, 2100)

# The same as instants: 1950-01-01 and 2100-01-01.
_UTC_MS_MIN: Final = -631_152_000_000
_UTC_MS_MAX: Final = 4_102_444_800_000

_CHILD: Final = (sys.executable, "-m", "controller.edges.almanac_child")


class AlmanacFailed(Exception):  # noqa: N818 - named by what happened, like every event of the house
    """The reckoning process failed, ran out of time, or answered nonsense; the message says which."""


@dataclass(frozen=True, slots=True)
class SkyReport:
    """The sun at one instant and its crossings of sunrise height in one span.

    Parameters
    ----------
    sun_height_deg
        Height of the sun's centre without refraction, positive above the horizon. [deg]
    azimuth_deg
        Direction of the sun, from north by east. [deg] From 0 to 360.
    clear_sky_w_m2
        Global irradiance on a level plane under a cloudless sky. [W/m2]
    sunrises_utc_ms, sunsets_utc_ms
        Instants in the span at which the sun's centre passes -0.8333 degrees, in order. [ms]
    """

    sun_height_deg: float
    azimuth_deg: float
    clear_sky_w_m2: float
    sunrises_utc_ms: tuple[int, ...]
    sunsets_utc_ms: tuple[int, ...]


def make_almanac(
    *,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    start_utc_ms: int,
    days: int,
    time_limit_s: float = TIME_LIMIT_S,
) -> Almanac:
    """Make the table of whole days from an instant on, in a process of its own.

    Parameters
    ----------
    latitude_deg
        Geographic latitude, positive north. [deg] From -90 to 90.
    longitude_deg
        Geographic longitude, positive east. [deg] From -180 to 180.
    elevation_m
        Height of the site above the sea. [m] From -500 to 9000.
    start_utc_ms
        Instant of the first entry; rounded down to the whole minute. [ms]
    days
        Number of days of 24 hours. From 1 to `DAYS_MAX`. The end of the last one is covered too.
    time_limit_s
        The process is ended after this time. [s]

    Raises
    ------
    ValueError
        A parameter is out of range.
    AlmanacFailed
        No table came of it.
    """
    start_utc_ms -= start_utc_ms % MINUTE_MS
    _check_span(start_utc_ms=start_utc_ms, days=days)
    question = _site(latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m)
    question |= {"ask": "table", "start_utc_ms": start_utc_ms, "days": days}
    try:
        almanac = unpack(_ask(question, time_limit_s=time_limit_s))
    except ValueError as error:
        raise AlmanacFailed(f"the process that reckons the sun answered no almanac: {error}") from error
    if not _fits(almanac, start_utc_ms=start_utc_ms, days=days):
        raise AlmanacFailed("the process that reckons the sun answered another span than asked")
    return almanac


def almanac_cached(
    *,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    start_utc_ms: int,
    days: int,
    cache_dir: Path | None,
    time_limit_s: float = TIME_LIMIT_S,
) -> Almanac:
    """Take the table from the folder if it is there, else make it and leave it there.

    Parameters and errors are those of `make_almanac`; without a folder the two are the same. A damaged
    file is made anew. A folder that cannot be read or written costs time only, and is no error.
    """
    start_utc_ms -= start_utc_ms % MINUTE_MS
    _check_span(start_utc_ms=start_utc_ms, days=days)
    site = _site(latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m)
    path = None if cache_dir is None else cache_dir / _cache_name(site, start_utc_ms=start_utc_ms, days=days)
    if path is not None:
        with contextlib.suppress(OSError, ValueError):  # absent, unreadable or damaged: made anew below
            almanac = unpack(path.read_bytes())
            if _fits(almanac, start_utc_ms=start_utc_ms, days=days):
                return almanac
    almanac = make_almanac(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
        start_utc_ms=start_utc_ms,
        days=days,
        time_limit_s=time_limit_s,
    )
    if path is not None:
        with contextlib.suppress(OSError):  # the table is in hand; a full disk only costs the next start
            _keep(path, almanac)
    return almanac


def report_sky(
    *,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    at_utc_ms: int,
    from_utc_ms: int,
    to_utc_ms: int,
    time_limit_s: float = TIME_LIMIT_S,
) -> SkyReport:
    """Reckon the sun at one instant, and its risings and settings within one span of up to two days.

    Site parameters are those of `make_almanac`. The start of the span belongs to it, its end does not.

    Raises
    ------
    ValueError
        A parameter is out of range.
    AlmanacFailed
        No answer came of it.
    """
    if not _UTC_MS_MIN <= at_utc_ms < _UTC_MS_MAX:
        raise ValueError("the sun is reckoned from 1950 to 2099 only")
    if not 0 < to_utc_ms - from_utc_ms <= 2 * DAY_MS:
        raise ValueError("sunrise and sunset are looked for in a span of up to two days")
    question = _site(latitude_deg=latitude_deg, longitude_deg=longitude_deg, elevation_m=elevation_m)
    question |= {"ask": "day", "at_utc_ms": at_utc_ms, "from_utc_ms": from_utc_ms, "to_utc_ms": to_utc_ms}
    answer = _ask(question, time_limit_s=time_limit_s)
    try:
        fields = json.loads(answer)
        return SkyReport(
            sun_height_deg=float(fields["sun_height_deg"]),
            azimuth_deg=float(fields["azimuth_deg"]),
            clear_sky_w_m2=float(fields["clear_sky_w_m2"]),
            sunrises_utc_ms=tuple(int(utc_ms) for utc_ms in fields["sunrises_utc_ms"]),
            sunsets_utc_ms=tuple(int(utc_ms) for utc_ms in fields["sunsets_utc_ms"]),
        )
    except (ValueError, TypeError, KeyError) as error:
        raise AlmanacFailed(f"the process that reckons the sun answered nonsense: {error!r}") from error


def _site(*, latitude_deg: float, longitude_deg: float, elevation_m: float) -> dict[str, object]:
    limits = (
        ("latitude_deg", latitude_deg, -90, 90),
        ("longitude_deg", longitude_deg, -180, 180),
        ("elevation_m", elevation_m, -500, 9000),
    )
    for name, value, low, high in limits:
        if not (math.isfinite(value) and low <= value <= high):
            raise ValueError(f"{name} must lie from {low} to {high}, not {value:g}")
    return {name: float(value) for name, value, _, _ in limits}


def _check_span(*, start_utc_ms: int, days: int) -> None:
    if not 1 <= days <= DAYS_MAX:
        raise ValueError(f"an almanac is made for 1 to {DAYS_MAX} days, not {days}")
    if not _UTC_MS_MIN <= start_utc_ms <= _UTC_MS_MAX - days * DAY_MS:
        raise ValueError("the sun is reckoned from 1950 to 2099 only")


def _fits(almanac: Almanac, *, start_utc_ms: int, days: int) -> bool:
    minutes = days * (DAY_MS // MINUTE_MS) + 1
    return (almanac.start_utc_ms, len(almanac.sun_height_cdeg)) == (start_utc_ms, minutes)


def _ask(question: dict[str, object], *, time_limit_s: float) -> bytes:
    """Put the question to the process and wait for its answer."""
    # One thread of linear algebra: none is needed, and each further one takes memory.
    environment = os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    try:
        done = subprocess.run(  # noqa: S603 - our own interpreter and module, no shell, nothing from outside
            _CHILD,
            input=json.dumps(question).encode(),
            capture_output=True,
            timeout=time_limit_s,
            check=False,
            env=environment,
        )
    except subprocess.TimeoutExpired as error:
        raise AlmanacFailed(
            f"the process that reckons the sun took longer than {time_limit_s:g} s"
        ) from error
    except OSError as error:
        raise AlmanacFailed(f"the process that reckons the sun did not start: {error}") from error
    if done.returncode != 0:
        lines = done.stderr.decode(errors="replace").strip().splitlines() or ["it gave no reason"]
        how = f"exit {done.returncode}" if done.returncode > 0 else f"signal {-done.returncode}"
        raise AlmanacFailed(f"the process that reckons the sun failed ({how}): {lines[-1]}")
    return done.stdout


def _cache_name(site: dict[str, object], *, start_utc_ms: int, days: int) -> str:
    # The library's version is part of the name, so that a better sun replaces the old one.
    reckoner = importlib.metadata.version("pvlib")
    key = json.dumps([1, site, start_utc_ms, days, reckoner], sort_keys=True)
    return f"sky-{hashlib.sha256(key.encode()).hexdigest()[:32]}.almanac"


def _keep(path: Path, almanac: Almanac) -> None:
    """Leave the table in the folder, whole or not at all, and drop the oldest beyond the limit."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.NamedTemporaryFile(dir=path.parent, prefix="sky-", suffix=".part", delete=False) as part:
        try:
            part.write(pack(almanac))
            part.flush()
            os.replace(part.name, path)  # noqa: PTH105 - the temporary file's name is a string
        except BaseException:
            os.unlink(part.name)  # noqa: PTH108 - the same
            raise
    tables = sorted(path.parent.glob("sky-*.almanac"), key=lambda table: table.stat().st_mtime, reverse=True)
    for table in tables[CACHE_FILES_MAX:]:
        table.unlink(missing_ok=True)
