"""`duskbell simulate`: days of the demo site in virtual time, from one seed."""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from controller.core.plan.plan import Plan
from controller.core.units import DAY_MS
from controller.edges.almanac import AlmanacFailed, almanac_cached
from controller.settings.load import read_settings
from simulators.clockwork import Clockwork
from simulators.instruments import read_site
from simulators.people import Person
from simulators.sky import Sky, SyntheticSky
from simulators.world import World
from simulators.years import Station, WeatherYear

SETTINGS: Final = Path(__file__).parent.parent / "config" / "duskbell.toml"
SYNTHETIC: Final = "synthetic"
START: Final = datetime(2026, 6, 1, tzinfo=UTC)


def add_simulate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "simulate",
        help="run the demo site in virtual time",
        description="Run the whole daemon in a simulated greenhouse, in virtual time, from one seed.",
    )
    parser.add_argument("--days", type=float, default=7.0, help="how long [days] (default %(default)g)")
    parser.add_argument(
        "--seed", type=int, default=1, help="everything is drawn from it (default %(default)s)"
    )
    parser.add_argument(
        "--start", default=START.isoformat(), metavar="ISO", help="first instant (default %(default)s)"
    )
    parser.add_argument(
        "--settings",
        type=Path,
        default=SETTINGS,
        metavar="FILE",
        help="the settings (default: the demo site)",
    )
    parser.add_argument(
        "--weather",
        default=SYNTHETIC,
        choices=(SYNTHETIC, *(station.name.lower().replace("_", "-") for station in Station)),
        help="an invented sky, or the year of a weather station (default %(default)s)",
    )
    parser.add_argument("--json", action="store_true", help="print the result for machines")
    parser.set_defaults(run=run_simulate)


def run_simulate(args: argparse.Namespace) -> int:
    """Carry the command out: 0 good, 1 failure, 2 settings or usage."""
    plan = read_settings(args.settings)
    if not isinstance(plan, Plan):
        for problem in plan:
            print(problem, file=sys.stderr)
        return 2
    try:
        start = datetime.fromisoformat(args.start)
    except ValueError:
        start = None
    if start is None or start.tzinfo is None or not 0 < args.days <= 3660:
        print(
            "duskbell simulate: --start needs an ISO 8601 time with offset, --days a number up to 3660",
            file=sys.stderr,
        )
        return 2
    try:
        document = simulate(plan, days=args.days, seed=args.seed, start=start, weather=args.weather)
    except AlmanacFailed as error:
        print(f"duskbell simulate: {error}", file=sys.stderr)
        return 1
    if args.json:
        print(json.dumps(document, sort_keys=True))
    else:
        print("\n".join(_write_words(document)))
    return 0


def simulate(
    plan: Plan, *, days: float, seed: int, start: datetime, weather: str = SYNTHETIC
) -> dict[str, Any]:
    """Run the demo site and return what it came to.

    Raises
    ------
    AlmanacFailed
        The sun could not be reckoned.
    """
    clockwork = build(plan, days=days, seed=seed, start=start, weather=weather)
    total = round(days * 1440)
    show = _make_progress(total)
    tally = clockwork.run(total, on_minute=show)
    document = {"days": days, "seed": seed, "start": start.isoformat(), "weather": weather, **asdict(tally)}
    return {key: round(value, 6) if isinstance(value, float) else value for key, value in document.items()}


def build(plan: Plan, *, days: float, seed: int, start: datetime, weather: str = SYNTHETIC) -> Clockwork:
    """Build a run of the demo site: sky, world, instruments, people and the sun's table."""
    start_ms = round(start.timestamp()) * 1000
    plan = slow_down(plan)
    site = plan.site
    sky: Sky
    if weather == SYNTHETIC:
        sky = SyntheticSky(
            seed,
            latitude_deg=site.latitude_deg,
            longitude_deg=site.longitude_deg,
            elevation_m=site.elevation_m,
        )
    else:
        sky = WeatherYear(seed, Station[weather.upper().replace("-", "_")])
    travel_s = plan.curtain[0].travel_time_s if plan.curtain else 300.0
    almanac = almanac_cached(
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        elevation_m=site.elevation_m,
        start_utc_ms=start_ms - start_ms % DAY_MS - DAY_MS,
        days=min(int(days) + 3, 733),
        cache_dir=None,
    )
    people = [Person(seed=seed, name=person.name) for person in plan.person]
    return Clockwork(
        plan,
        World(seed, sky, travel_s=travel_s),
        read_site(seed),
        almanac=almanac,
        start_utc_ms=start_ms,
        seed=seed,
        people=people,
    )


def slow_down(plan: Plan) -> Plan:
    """Let sensors that speak more often than every minute be expected every minute, as the simulation has it."""
    sensors = tuple(
        sensor if sensor.interval_s >= 60 else sensor.model_copy(update={"interval_s": 60.0})
        for sensor in plan.sensor
    )
    return plan.model_copy(update={"sensor": sensors})


def _make_progress(total: int) -> Any:  # noqa: ANN401 - None or a callable, as the run takes it
    """Make a progress bar for long runs on a terminal, else nothing."""
    if total < 2 * 1440 or not sys.stderr.isatty():
        return None
    every = max(1, total // 200)

    def show(minute: int) -> None:
        if minute % every == 0 or minute == total - 1:
            share = (minute + 1) / total
            bar = "#" * round(30 * share)
            end = "\n" if minute == total - 1 else ""
            sys.stderr.write(f"\r[{bar:<30}] {minute // 1440 + 1} of {total // 1440} days{end}")
            sys.stderr.flush()

    return show


def _write_words(document: dict[str, Any]) -> list[str]:
    """Write the result for people."""
    lines = [
        f"{document['days']:g} days from {document['start']}, seed {document['seed']}, {document['weather']} weather",
        f"curtain: {document['moves']} moves",
        f"air {document['air_least_c']:.1f} to {document['air_most_c']:.1f} C",
        f"heat: {document['heat_kwh_m2']:.1f} kWh/m2",
        f"light at the canopy: {document['canopy_mol_m2'] / document['days']:.1f} mol/m2 a day",
        f"least oxygen: {document['oxygen_least_mg_l']:.2f} mg/L",
        f"messages: {document['messages']}, answers: {document['answers']}",
    ]
    lines.extend(f"alarm {name}: {count} times" for name, count in document["alarms"].items())
    return lines
