"""Healthy days, many of them: no horizon below an hour may be shown when nothing is wrong.

Run as `python -m simulators.bench.horizons`. Seeded houses live through days with clouds, meals, rounds, noisy
probes and a keeper who tests the water; nothing breaks. Every few minutes all outlooks are read, as a person at
`duskbell status` would. The exit status is 1 if any was below the bound.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

from controller.core.foresee import diagnose_waters, foresee_waters, see_state
from controller.core.plan.plan import Plan
from controller.settings.load import read_or_tell
from simulators.clockwork import Clockwork
from simulators.site import SETTINGS, build

BOUND_MIN: Final = 60.0
SETTLED_MIN: Final = 1440
"""On the first day the invented water still finds its balance with the air; that is no healthy day. [min]"""

START: Final = datetime(2026, 5, 1, tzinfo=UTC)


@dataclass(slots=True)
class Quiet:
    """What a run of healthy days came to."""

    seed: int
    looks: int = 0
    shown: int = 0
    least_min: float = float("inf")
    worst: str = ""
    likely: dict[str, int] = field(default_factory=dict)


def live(plan: Plan, *, seed: int, days: int, every_min: int) -> Quiet:
    """Let one house live through healthy days and look at its outlooks every few minutes."""
    clockwork = build(plan, days=days, seed=seed, start=START)
    quiet = Quiet(seed)

    def look(minute: int) -> None:
        if minute >= SETTLED_MIN and minute % every_min == 0:
            see(clockwork, quiet)

    clockwork.run(days * 1440, on_minute=look)
    return quiet


def see(clockwork: Clockwork, quiet: Quiet) -> None:
    """Read every outlook and every likely cause once."""
    state = clockwork.engine.state
    sight = see_state(state)
    quiet.looks += 1
    for outlook in foresee_waters(sight):
        if outlook.minutes is None:
            continue
        quiet.shown += 1
        if outlook.minutes < quiet.least_min:
            quiet.least_min = outlook.minutes
            quiet.worst = f"{clockwork.now_utc_ms}: {outlook.water}: {outlook.describe()}"
    for finding in diagnose_waters(sight):
        quiet.likely[finding.likely] = quiet.likely.get(finding.likely, 0) + 1


def main() -> int:
    """Run the houses and print what came of each."""
    parser = argparse.ArgumentParser(prog="python -m simulators.bench.horizons", description=__doc__)
    parser.add_argument("--seeds", type=int, default=20, help="houses (default %(default)s)")
    parser.add_argument("--first", type=int, default=1, help="first seed (default %(default)s)")
    parser.add_argument("--days", type=int, default=30, help="days of each (default %(default)s)")
    parser.add_argument("--every", type=int, default=5, help="minutes between looks (default %(default)s)")
    args = parser.parse_args()
    plan = read_or_tell(SETTINGS)
    if plan is None:
        return 2
    below = 0
    for seed in range(args.first, args.first + args.seeds):
        quiet = live(plan, seed=seed, days=args.days, every_min=args.every)
        below += quiet.least_min < BOUND_MIN
        sys.stdout.write(
            f"seed {seed}: {quiet.looks} looks, {quiet.shown} horizons, least {quiet.least_min:.0f} min "
            f"{quiet.worst}; likely: {quiet.likely}\n"
        )
        sys.stdout.flush()
    sys.stdout.write(
        f"{below} of {args.seeds} houses were shown less than {BOUND_MIN:g} min on a healthy day\n"
    )
    return 1 if below else 0


if __name__ == "__main__":
    raise SystemExit(main())
