"""A scenario: what happens in the house, and what must come of it, as one small TOML file.

A file has `says` (what happens, in a sentence), `start` and `days`, the faults, and the expectations, each a
table that names one thing and when it must, or must not, be so. All minutes count from the start. With
`all_rules = true` the curtain has every rule there is (`rulebook`); a table `[curtain]` changes single settings of
it on top of that. With `all_ways = true` people are reached by text, mail and webhook, there is a siren, and the
chain is proven every week.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from controller.core.plan.plan import Plan
from simulators.chance import stream
from simulators.clockwork import MINUTE_MS, Clockwork, Watcher
from simulators.expectations import Expectation, read_expectation
from simulators.faults.catalogue import CATALOGUE, draw_story
from simulators.faults.kind import schedule
from simulators.promises.watch import Promises
from simulators.rulebook import add_rules, add_ways, change_curtain
from simulators.site import START, build
from simulators.tally import Tally
from simulators.witness import Witness

FOLDER: Final = Path(__file__).parent / "scenarios"
RANDOM: Final = "random"
"""The scenario that is drawn from the seed."""

RANDOM_DAYS: Final = 10.0
CALM_DAYS: Final = 2.0
"""At the end of a random story nothing breaks any more for this long, and everything must recover. [days]"""

ALL_RULES_SHARE: Final = 0.5
ALL_WAYS_SHARE: Final = 0.5
"""So many random stories have every rule of the curtain, and every way to people; the others the demo site's. [1]"""

FIRST_FAULT_MIN: Final = 12 * 60
SEASONS: Final = tuple(
    datetime(2026, month, day, tzinfo=UTC) for month, day in ((1, 12), (3, 24), (6, 1), (10, 20))
)
"""Random stories begin in midwinter, before either change of the clocks, or in early summer."""


class BadScenario(Exception):  # noqa: N818 - named by what happened
    """A scenario cannot be read; the text says why."""


@dataclass(frozen=True, slots=True)
class FaultTable:
    """One fault of a scenario: which kind, where, from when, for how long [min]."""

    kind: str
    where: str
    at_min: float
    for_min: float


@dataclass(frozen=True, slots=True)
class Scenario:
    """A scenario as it was read."""

    name: str
    says: str
    start: datetime
    days: float
    faults: tuple[FaultTable, ...]
    expects: tuple[Expectation, ...]
    all_rules: bool = False
    all_ways: bool = False
    curtain: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a run: its first instant, its tally, its story in words, and the expectations that failed."""

    start: datetime
    tally: Tally
    story: tuple[str, ...]
    failed: tuple[str, ...]


def list_scenarios() -> tuple[Scenario, ...]:
    """Read all scenarios, in order of name."""
    return tuple(read_scenario(path.stem) for path in sorted(FOLDER.glob("*.toml")))


def read_scenario(name: str) -> Scenario:
    """Read a scenario by name.

    Raises
    ------
    BadScenario
        There is none, or it has mistakes.
    """
    path = FOLDER / f"{name}.toml"
    if path.parent != FOLDER or not path.is_file():
        raise BadScenario(f"there is no scenario {name!r}; --list names them")
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        return _read(name, document)
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError) as error:
        raise BadScenario(f"{path.name}: {error}") from error


def _read(name: str, document: Mapping[str, Any]) -> Scenario:
    """Read a scenario from its document."""
    faults = tuple(
        FaultTable(
            str(table["kind"]), str(table.get("where", "")), float(table["at_min"]), float(table["for_min"])
        )
        for table in document.get("fault", ())
    )
    for fault in faults:
        if fault.kind not in CATALOGUE:
            raise ValueError(f"there is no kind of fault {fault.kind!r}")
    return Scenario(
        name,
        str(document["says"]),
        document.get("start", START),
        float(document["days"]),
        faults,
        tuple(read_expectation(table) for table in document.get("expect", ())),
        bool(document.get("all_rules", False)),
        bool(document.get("all_ways", False)),
        document.get("curtain", {}),
    )


def play(scenario: Scenario, plan: Plan, *, seed: int, watchers: tuple[Watcher, ...] = ()) -> Outcome:
    """Run a scenario under all promises, and hold its expectations against what came.

    Raises
    ------
    PromiseBroken
        A promise was broken.
    AlmanacFailed
        The sun could not be reckoned.
    """
    plan = change_curtain(add_rules(plan) if scenario.all_rules else plan, scenario.curtain)
    if scenario.all_ways:
        plan = add_ways(plan)
    run, promises, witness = _prepare(
        plan, days=scenario.days, seed=seed, start=scenario.start, also=watchers
    )
    for number, fault in enumerate(scenario.faults):
        schedule(
            run,
            CATALOGUE[fault.kind],
            where=fault.where,
            dice=stream(seed, f"fault/{number}"),
            begin_ms=run.start_utc_ms + round(fault.at_min * MINUTE_MS),
            end_ms=run.start_utc_ms + round((fault.at_min + fault.for_min) * MINUTE_MS),
        )
    run.run(round(scenario.days * 1440))
    promises.ask_recovered(run)
    failed = tuple(text for expect in scenario.expects if (text := expect.judge(witness)))
    story = tuple(
        f"minute {f.at_min:g} for {f.for_min:g} min: {f.kind} {f.where}".strip() for f in scenario.faults
    )
    return Outcome(scenario.start, run.tally, story, failed)


def play_random(
    plan: Plan, *, seed: int, days: float = RANDOM_DAYS, watchers: tuple[Watcher, ...] = ()
) -> Outcome:
    """Run a story drawn from the seed: faults for all but the last days, then a calm in which all recovers.

    Raises
    ------
    PromiseBroken
        A promise was broken.
    AlmanacFailed
        The sun could not be reckoned.
    """
    start = SEASONS[seed % len(SEASONS)]
    if stream(seed, "rules").random() < ALL_RULES_SHARE:
        plan = add_rules(plan)
    if stream(seed, "ways").random() < ALL_WAYS_SHARE:
        plan = add_ways(plan)
    run, promises, _ = _prepare(plan, days=days, seed=seed, start=start, also=watchers)
    calm = min(CALM_DAYS, days / 3.0)
    story = draw_story(run, seed=seed, first_min=FIRST_FAULT_MIN, last_min=round((days - calm) * 1440))
    run.run(round(days * 1440))
    promises.ask_recovered(run)
    return Outcome(start, run.tally, story, ())


def _prepare(
    plan: Plan, *, days: float, seed: int, start: datetime, also: tuple[Watcher, ...]
) -> tuple[Clockwork, Promises, Witness]:
    """Build a run with promises and a witness."""
    witness = Witness()
    kept: list[Promises] = []

    def watch(settled: Plan) -> tuple[Watcher, ...]:
        kept.append(Promises(settled))
        return (kept[0], witness, *also)

    run = build(plan, days=days, seed=seed, start=start, watch=watch)
    return run, kept[0], witness
