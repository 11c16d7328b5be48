"""`duskbell simulate`: days of the demo site in virtual time, from one seed, in fair weather or foul."""

from __future__ import annotations

import argparse
import gc
import json
import sys
from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from controller.core.plan.plan import Plan
from controller.edges.almanac import AlmanacFailed
from controller.settings.load import read_or_tell
from simulators.clockwork import Clockwork, InCircles, Watcher
from simulators.faults.catalogue import CATALOGUE
from simulators.faults.register import read_register
from simulators.plot import draw_plot
from simulators.promises.broken import PromiseBroken
from simulators.promises.watch import Promises
from simulators.scenario import (
    RANDOM,
    RANDOM_DAYS,
    BadScenario,
    Outcome,
    list_scenarios,
    play,
    play_random,
    read_scenario,
)
from simulators.site import SETTINGS, START, SYNTHETIC, build
from simulators.tally import Tally
from simulators.witness import Witness
from simulators.years import Station

__all__ = ["SETTINGS", "add_demo", "add_simulate", "run_simulate", "simulate"]

DAYS: Final = 7.0
DAYS_MOST: Final = 730.0
BAR_FROM_MIN: Final = 2 * 1440
"""Runs of at least this show a bar on a terminal. [min]"""


def add_demo(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the demonstration to the command line."""
    parser = commands.add_parser(
        "demo",
        help="show the main job: a simulated day on a real broker and a real mail server",
        description="Show the main job, from a checkout: a simulated day in about a minute, with real parts.",
    )
    parser.add_argument("--once", action="store_true", help="end after one simulated day")
    parser.set_defaults(run=_run_demo)


def _run_demo(args: argparse.Namespace) -> int:
    """Run the demonstration in a folder of its own in the current one."""
    from simulators.live.demo import show  # noqa: PLC0415 - the other commands need none of its libraries

    return show(once=args.once)


def add_simulate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    stations = (station.name.lower().replace("_", "-") for station in Station)
    parser = commands.add_parser(
        "simulate",
        help="run the demo site in virtual time",
        description="Run the whole daemon in a simulated greenhouse, in virtual time, from one seed. Every promise "
        "is checked after every turn; a broken one is told with its story, and the command ends with 1.",
    )
    parser.add_argument("--days", type=float, help=f"how long [days] (default {DAYS:g}, a scenario's own)")
    parser.add_argument(
        "--seed", type=int, default=1, help="everything is drawn from it (default %(default)s)"
    )
    parser.add_argument(
        "--start", metavar="ISO", help=f"first instant (default {START.isoformat()}, a scenario's own)"
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
        choices=(SYNTHETIC, *stations),
        help="an invented sky, or the year of a weather station (default %(default)s)",
    )
    parser.add_argument(
        "--scenario", metavar="NAME", help=f"what goes wrong; {RANDOM!r} draws it from the seed"
    )
    parser.add_argument(
        "--list",
        action="store_true",
        help="name the scenarios, the kinds of faults, and what shows each, and end",
    )
    parser.add_argument("--plot", type=Path, metavar="FILE", help="draw the run as SVG")
    parser.add_argument("--json", action="store_true", help="print the result for machines")
    parser.set_defaults(run=run_simulate)


def run_simulate(args: argparse.Namespace) -> int:
    """Carry the command out: 0 good, 1 failure, 2 settings or usage."""
    if args.list:
        return _list(as_json=args.json)
    plan = read_or_tell(args.settings)
    if plan is None:
        return 2
    try:
        document = _run(plan, args)
    except (BadScenario, ValueError) as error:
        print(f"duskbell simulate: {error}", file=sys.stderr)
        return 2
    except (AlmanacFailed, InCircles, OSError) as error:
        print(f"duskbell simulate: {error}", file=sys.stderr)
        return 1
    except PromiseBroken as error:
        print(error, file=sys.stderr)
        return 1
    if args.json:
        print(json.dumps(document, sort_keys=True))
    else:
        print("\n".join(_write_words(document)))
    return 1 if document.get("failed") else 0


def _collect_seldom() -> None:
    """Let a long run not be searched for rings of objects again and again: it makes none, and all it holds is old."""
    gc.freeze()
    gc.set_threshold(100_000, 50, 50)


def _run(plan: Plan, args: argparse.Namespace) -> dict[str, Any]:
    """Run what was asked for, draw it if that was asked for, and return what it came to."""
    _collect_seldom()
    witness = Witness()
    watching: tuple[Watcher, ...] = () if args.plot is None else (witness,)
    if args.scenario is None:
        start = _read_start(args.start)
        days = _read_days(args.days, DAYS)
        document = simulate(plan, days=days, seed=args.seed, start=start, weather=args.weather, also=watching)
        title = f"{days:g} days, seed {args.seed}"
    else:
        if args.start is not None or args.weather != SYNTHETIC:
            raise ValueError("a scenario has its own --start and --weather")
        outcome, days, start = _play(plan, args, (*watching, _Bar(args)))
        document = _write_outcome(outcome, name=args.scenario, days=days, seed=args.seed)
        title = f"{args.scenario}, seed {args.seed}"
    if args.plot is not None:
        args.plot.write_text(
            draw_plot(witness, title=title, start=start, zone=plan.site.time_zone), encoding="utf-8"
        )
    return document


def _play(
    plan: Plan, args: argparse.Namespace, watchers: tuple[Watcher, ...]
) -> tuple[Outcome, float, datetime]:
    """Play a scenario, or a story drawn from the seed."""
    if args.scenario == RANDOM:
        days = _read_days(args.days, RANDOM_DAYS)
        outcome = play_random(plan, seed=args.seed, days=days, watchers=watchers)
        return outcome, days, outcome.start
    scenario = read_scenario(args.scenario)
    if args.days is not None:
        raise ValueError("a scenario has its own --days")
    return play(scenario, plan, seed=args.seed, watchers=watchers), scenario.days, scenario.start


def _read_days(asked: float | None, default: float) -> float:
    """Read how long the run is."""
    days = default if asked is None else asked
    if not 0.0 < days <= DAYS_MOST:
        raise ValueError(f"--days needs a number above 0, at most {DAYS_MOST:g}")
    return days


def _read_start(asked: str | None) -> datetime:
    """Read when the run begins."""
    start = START if asked is None else datetime.fromisoformat(asked)
    if start.tzinfo is None:
        raise ValueError("--start needs an ISO 8601 time with offset")
    return start.astimezone(UTC)


def simulate(
    plan: Plan,
    *,
    days: float,
    seed: int,
    start: datetime,
    weather: str = SYNTHETIC,
    also: tuple[Watcher, ...] = (),
) -> dict[str, Any]:
    """Run the demo site, with nothing going wrong and all promises watched, and return what it came to.

    Raises
    ------
    AlmanacFailed
        The sun could not be reckoned.
    PromiseBroken
        A promise was broken.
    """
    run = build(
        plan,
        days=days,
        seed=seed,
        start=start,
        weather=weather,
        watch=lambda settled: (Promises(settled), *also),
    )
    total = round(days * 1440)
    tally = run.run(total, on_minute=_make_progress(total))
    head = {"days": days, "seed": seed, "start": start.isoformat(), "weather": weather}
    return head | _write_tally(tally)


def _write_tally(tally: Tally) -> dict[str, Any]:
    """Write a tally with figures that can be read."""
    return {
        key: round(value, 6) if isinstance(value, float) else value for key, value in asdict(tally).items()
    }


def _write_outcome(outcome: Outcome, *, name: str, days: float, seed: int) -> dict[str, Any]:
    """Write what came of a scenario."""
    head = {
        "scenario": name,
        "days": days,
        "seed": seed,
        "start": outcome.start.isoformat(),
        "weather": SYNTHETIC,
    }
    return head | {"story": list(outcome.story), "failed": list(outcome.failed)} | _write_tally(outcome.tally)


def _list(*, as_json: bool) -> int:
    """Name the scenarios and the kinds of faults."""
    try:
        scenarios = list_scenarios()
    except BadScenario as error:
        print(f"duskbell simulate: {error}", file=sys.stderr)
        return 1
    if as_json:
        document = {
            "scenarios": {scenario.name: scenario.says for scenario in scenarios},
            "faults": {kind.name: kind.says for kind in CATALOGUE.values()},
            "shown": {
                hazard.fault: {
                    "must": hazard.must,
                    "scenarios": list(hazard.scenarios),
                    "tests": [f"{file}::test_{test}" for file, test in hazard.tests],
                }
                for hazard in read_register()
            },
        }
        print(json.dumps(document, sort_keys=True))
        return 0
    width = max(len(scenario.name) for scenario in scenarios)
    print(f"Scenarios, besides {RANDOM!r}, which draws faults from the seed:")
    for scenario in scenarios:
        print(f"  {scenario.name:<{width}}  {scenario.says}")
    print("Kinds of faults that they are made of:")
    for kind in CATALOGUE.values():
        print(f"  {kind.name:<{width}}  {kind.says}")
    print("What Duskbell is made for, what it must do, and what shows that it does:")
    for hazard in read_register():
        print(f"  {hazard.fault}: {hazard.must}.")
        shown = [*hazard.scenarios, *(f"{file}::test_{test}" for file, test in hazard.tests)]
        print(f"    {', '.join(shown)}")
    return 0


class _Bar:
    """A bar for long scenarios on a terminal; as a watcher it sees each minute."""

    def __init__(self, args: argparse.Namespace) -> None:
        days = args.days or RANDOM_DAYS if args.scenario == RANDOM else 0.0
        self._show = _make_progress(round(days * 1440))
        self._minute = 0

    def turn(self, *_: object) -> None:
        """See a turn."""

    def handed(self, *_: object) -> None:
        """See an effect."""

    def died(self, *_: object) -> None:
        """See a loss of power."""

    def minute(self, run: Clockwork) -> None:
        """Show a minute."""
        if self._show is not None:
            self._show(run.tally.minutes - 1)


def _make_progress(total: int) -> Callable[[int], None] | None:
    """Make a progress bar for long runs on a terminal, else nothing."""
    if total < BAR_FROM_MIN or not sys.stderr.isatty():
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
    days = "1 day" if document["days"] == 1 else f"{document['days']:g} days"
    lines = [
        f"{days} from {document['start']}, seed {document['seed']}, {document['weather']} weather",
        *document.get("story", ()),
        f"curtain: {document['moves']} moves",
        f"air {document['air_least_c']:.1f} to {document['air_most_c']:.1f} C",
        f"heat: {document['heat_kwh_m2']:.1f} kWh/m2",
        f"light at the canopy: {document['canopy_mol_m2'] / document['days']:.1f} mol/m2 a day",
        f"least oxygen: {document['oxygen_least_mg_l']:.2f} mg/L",
        f"messages: {document['messages']}, answers: {document['answers']}, restarts: {document['restarts']}",
    ]
    lines.extend(f"alarm {name}: {count} times" for name, count in document["alarms"].items())
    failed = document.get("failed", [])
    lines.extend(f"NOT as expected: {text}" for text in failed)
    if not failed:
        lines.append("all promises kept" + (", all as expected" if "scenario" in document else ""))
    return lines
