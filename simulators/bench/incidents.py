"""A thousand incidents, each with one broken path to people: every emergency must reach somebody who answers.

Run as `python -m simulators.bench.incidents`. Each seed draws an hour of the year, what fails in the house, and
one thing that is broken between the alarm and a person. Counted are, from outside of the daemon: whether each
emergency was answered by a named person or is still being called for; how long after its time had come the
first message was handed over; and whether a message that was decided on was ever lost. The exit status is 1 if
one of these was not as it must be.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING, Final, NamedTuple

from controller.core.alarms.lifecycle import SOUNDING, Phase
from controller.core.plan.plan import Plan
from controller.core.units import MINUTE_MS
from controller.settings.load import read_settings
from simulators.bench.broken_paths import BROKEN
from simulators.bench.ear import Ear, EarWatcher
from simulators.chance import stream
from simulators.faults.catalogue import CATALOGUE
from simulators.faults.kind import Cast, schedule
from simulators.site import SETTINGS, build

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

FAILS_AT_MIN: Final = 70
LASTS_MIN: Final = 150
RUN_MIN: Final = FAILS_AT_MIN + LASTS_MIN + 60
BREAKS_AT_MIN: Final = FAILS_AT_MIN - 10
"""A run in minutes: the path breaks, the house fails, is mended, and an hour more. [min]"""

IN_TIME_MS: Final = 5_000
"""The first message is handed over within this of the alarm's time. [ms]"""

GATHERED_MS: Final = 15 * MINUTE_MS
"""Still calling means that the next call comes within this. [ms]"""

DAYS: Final = tuple(
    datetime(2026, month, day, tzinfo=UTC) for month, day in ((1, 12), (3, 28), (6, 1), (10, 24))
)
"""Midwinter, the nights in which the clocks change, and early summer; any hour of these days."""

HOUSE: Final = ("air pump stops", "mains lost", "water pump stops", "tank leaks", "air stones clog")
"""What fails in the house, as the catalogue of faults calls it."""


@dataclass(slots=True)
class Outcome:
    """What came of one incident."""

    seed: int
    house: str
    broken: str
    emergencies: int = 0
    answered: int = 0
    calling: int = 0
    silent: list[str] = field(default_factory=list)
    late_ms: list[int] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    doubled_most: int = 0
    answer_min: list[float] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """Whether all was as it must be."""
        in_time = all(late <= IN_TIME_MS for late in self.late_ms)
        return not self.silent and not self.lost and in_time and self.doubled_most <= 1


class Story(NamedTuple):
    """What an incident is made of."""

    house: str
    broken: str
    start: datetime


def draw(seed: int) -> Story:
    """Draw an incident from a seed."""
    dice = stream(seed, "incident")
    house, broken = dice.choice(HOUSE), dice.choice(sorted(BROKEN))
    return Story(house, broken, dice.choice(DAYS) + timedelta(hours=dice.randrange(24)))


def play(plan: Plan, seed: int) -> Outcome:
    """Play one incident, drawn from a seed."""
    house, broken, start = draw(seed)
    ears: list[Ear] = []

    def watch(settled: Plan) -> tuple[EarWatcher]:
        ears.append(Ear({entry.name: entry for entry in settled.alarm}))
        return (EarWatcher(ears[0]),)

    run = build(plan, days=2, seed=seed, start=start, watch=watch)
    at = run.start_utc_ms
    run.later(
        at + BREAKS_AT_MIN * MINUTE_MS, lambda: BROKEN[broken](run, Cast(run, "", stream(seed, "broken")))
    )
    schedule(
        run, CATALOGUE[house], where="", dice=stream(seed, "house"),
        begin_ms=at + FAILS_AT_MIN * MINUTE_MS, end_ms=at + (FAILS_AT_MIN + LASTS_MIN) * MINUTE_MS,
    )  # fmt: skip
    run.run(RUN_MIN)
    return judge(run, ears[0], Outcome(seed, house, broken))


def judge(run: Clockwork, ear: Ear, outcome: Outcome) -> Outcome:
    """Hold what came against what must be."""
    state = run.engine.state
    now = run.clocks.stamp(run.now_utc_ms).house_ms
    for name, raised_ms in ear.raised_ms.items():
        alarm = state.durable.alarms[name]
        outcome.emergencies += 1
        if alarm.answered_by or name in ear.answered_ms:
            outcome.answered += 1
            if name in ear.answered_ms:
                outcome.answer_min.append((ear.answered_ms[name] - raised_ms) / MINUTE_MS)
        elif alarm.phase in SOUNDING and alarm.next_call_ms <= now + GATHERED_MS:
            outcome.calling += 1
        elif alarm.phase is not Phase.SUPPRESSED:  # then its cause is being called for
            outcome.silent.append(f"{name} is {alarm.phase.value}")
    outcome.late_ms = ear.late_ms
    outcome.silent += [f"{name} was told to nobody" for name in ear.untold]
    for effect_id, message in ear.decided.items():
        if ear.handed[effect_id] == 0:
            outcome.lost.append(f"{effect_id}: {message.subject}")
    outcome.doubled_most = max(
        (count - 1 - ear.refused[effect_id] for effect_id, count in ear.handed.items()), default=0
    )
    return outcome


@lru_cache(maxsize=1)
def _read_plan() -> Plan:
    """Read the demo site's settings, once a process."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan), "the demo site's settings are good"
    return plan


def _play(seed: int) -> Outcome:
    """Play one incident of the demo site, in a process of its own."""
    return play(_read_plan(), seed)


def write_outcomes(outcomes: list[Outcome]) -> list[str]:
    """Write what came of all incidents: the sums, and by what was broken."""
    late = sorted(each for one in outcomes for each in one.late_ms)
    waits = sorted(each for one in outcomes for each in one.answer_min)
    emergencies = sum(one.emergencies for one in outcomes)
    lines = [f"seed {one.seed}: {one}" for one in outcomes if not one.good]
    for broken in sorted(BROKEN):
        mine = [one for one in outcomes if one.broken == broken]
        if mine:
            slow = sorted(each for one in mine for each in one.answer_min)
            lines.append(
                f"{broken:<40} {len(mine):>4} incidents, {sum(one.emergencies for one in mine):>4} emergencies, "
                f"{sum(one.answered for one in mine):>4} answered, {sum(one.calling for one in mine):>3} calling, "
                f"half within {slow[len(slow) // 2] if slow else 0:.0f} min"
            )
    lines.append(
        f"{len(outcomes)} incidents, {emergencies} emergencies: {sum(one.answered for one in outcomes)} answered, "
        f"{sum(one.calling for one in outcomes)} still calling, {sum(len(one.silent) for one in outcomes)} neither"
    )
    if late:
        lines.append(
            f"first message after the alarm's time: half within {late[len(late) // 2] / 1000:.1f} s, all within "
            f"{late[-1] / 1000:.1f} s"
        )
    if waits:
        lines.append(
            f"first answer: half within {waits[len(waits) // 2]:.0f} min, all within {waits[-1]:.0f} min"
        )
    lost = sum(len(one.lost) for one in outcomes)
    doubled = max((one.doubled_most for one in outcomes), default=0)
    lines.append(f"messages lost: {lost}; a message was handed over again {doubled} times at most")
    return lines


def main() -> int:
    """Play the incidents and print what came of them."""
    parser = argparse.ArgumentParser(prog="python -m simulators.bench.incidents", description=__doc__)
    parser.add_argument("--seeds", type=int, default=1000, help="incidents (default %(default)s)")
    parser.add_argument("--first", type=int, default=1, help="first seed (default %(default)s)")
    parser.add_argument("--jobs", type=int, default=1, help="at once (default %(default)s)")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.seeds)
    with ProcessPoolExecutor(max_workers=args.jobs) as pool:
        outcomes = list(pool.map(_play, seeds, chunksize=8))
    sys.stdout.writelines(f"{line}\n" for line in write_outcomes(outcomes))
    return 0 if all(one.good for one in outcomes) else 1


if __name__ == "__main__":
    raise SystemExit(main())
