"""The demo site as one run: its settings, sky, world, instruments, people, and the table of the sun."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Final

from controller.core.plan.plan import Plan
from controller.core.sky.almanac import Almanac
from controller.core.units import DAY_MS
from controller.edges.almanac import almanac_cached
from simulators.clockwork import Clockwork, Watcher
from simulators.instruments import ROOF_FILE, read_site
from simulators.people import Person
from simulators.rounds import plan_rounds
from simulators.sky import Sky, SyntheticSky
from simulators.world import World
from simulators.years import TIME_ZONES, Station, WeatherYear, read_station

SETTINGS: Final = Path(__file__).parent.parent / "config" / "duskbell.toml"
SYNTHETIC: Final = "synthetic"
START: Final = datetime(2026, 6, 1, tzinfo=UTC)
DAYS_MOST: Final = 730
"""The table of the sun is reckoned for two years at most. [days]"""

MakeWatchers = Callable[[Plan], tuple[Watcher, ...]]


def build(
    plan: Plan,
    *,
    days: float,
    seed: int,
    start: datetime,
    weather: str = SYNTHETIC,
    watch: MakeWatchers | None = None,
) -> Clockwork:
    """Build a run of the demo site.

    Parameters
    ----------
    plan : Plan
        The settings.
    days : float
        How long it may run. [days]
    seed : int
        Everything is drawn from it.
    start : datetime
        First instant, with an offset.
    weather : str
        `synthetic`, or a weather station's name in small letters with hyphens; then the house stands there.
    watch : Callable
        Makes what looks on, from the settings as the run has them.

    Raises
    ------
    AlmanacFailed
        The sun could not be reckoned.
    """
    start_ms = round(start.timestamp()) * 1000
    plan = slow_down(plan)
    sky: Sky
    if weather == SYNTHETIC:
        site = plan.site
        sky = SyntheticSky(
            seed,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
        )
    else:
        station = Station[weather.upper().replace("-", "_")]
        sky = WeatherYear(seed, station)
        plan = move_to(plan, station)
        site = plan.site
    travel_s = plan.curtain[0].travel_time_s if plan.curtain else 300.0
    instruments = read_site(seed)
    known = {sensor.name for sensor in plan.sensor}
    instruments += tuple(roof for roof in read_site(seed, ROOF_FILE) if roof.name in known)
    run = Clockwork(
        plan,
        World(seed, sky, travel_s=travel_s),
        instruments,
        almanac=_reckon_sun(
            site.latitude_deg,
            site.longitude_deg,
            site.elevation_m,
            start_ms - start_ms % DAY_MS - DAY_MS,
            min(int(days) + 3, DAYS_MOST + 3),
        ),
        start_utc_ms=start_ms,
        seed=seed,
        people=[Person(seed=seed, name=person.name) for person in plan.person],
        watchers=() if watch is None else watch(plan),
    )
    plan_rounds(run)
    return run


@lru_cache(maxsize=4)
def _reckon_sun(
    latitude_deg: float, longitude_deg: float, elevation_m: float, start_utc_ms: int, days: int
) -> Almanac:
    """Have the sun reckoned, once for all runs that share place and time."""
    return almanac_cached(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
        start_utc_ms=start_utc_ms,
        days=days,
        cache_dir=None,
    )


def move_to(plan: Plan, station: Station) -> Plan:
    """Let the house stand at a weather station: its sun and its clock must be those of its weather."""
    record = read_station(station)
    site = plan.site.model_copy(
        update={
            "latitude_deg": record.latitude_deg,
            "longitude_deg": record.longitude_deg,
            "elevation_m": record.elevation_m,
            "time_zone": TIME_ZONES[station],
        }
    )
    return plan.model_copy(update={"site": site})


def slow_down(plan: Plan) -> Plan:
    """Let sensors that speak more often than every minute be expected every minute, as the simulation has it."""
    sensors = tuple(
        sensor if sensor.interval_s >= 60 else sensor.model_copy(update={"interval_s": 60.0})
        for sensor in plan.sensor
    )
    return plan.model_copy(update={"sensor": sensors})
