"""Healthy months, many of them: nobody is called for an emergency, and hardly anybody for today.

Run as `python -m simulators.bench.months`. Seeded houses live through thirty days with weather, clouds, meals,
noisy probes, people who answer late or not at all, ways that are busy now and then, and a keeper who tests the
water on most of the days on which a test is due; nothing breaks. The exit status is 1 if a house called an
emergency, or told more than two messages for today.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Final

from controller.core.plan.alarm import Response
from controller.core.plan.plan import Plan
from controller.core.vocabulary import Effect, Event, Ledger, Note, SendMessage, Stamp
from controller.settings.load import read_settings
from simulators.clockwork import Clockwork
from simulators.site import SETTINGS, build

MESSAGES_MOST: Final = 2
"""So many messages for today a healthy month may bring."""

SEASONS: Final = tuple(datetime(2026, month, 1, tzinfo=UTC) for month in (1, 3, 5, 7, 10))
"""The houses begin in turn in midwinter, before either change of the clocks, in spring and in high summer."""


@dataclass(slots=True)
class Month:
    """What a healthy month came to: alarms by name, messages by kind, and the first words of those that call."""

    seed: int
    start: datetime
    emergencies: int = 0
    today: int = 0
    notes: int = 0
    messages: Counter[str] = field(default_factory=Counter)
    alarms: Counter[str] = field(default_factory=Counter)
    said: list[str] = field(default_factory=list)

    @property
    def calm(self) -> bool:
        """Whether people were left in peace."""
        return not self.messages["emergency"] and self.messages["today"] <= MESSAGES_MOST


class _Listener:
    """Reads every message and every alarm that begins."""

    def __init__(self, month: Month) -> None:
        self._month = month

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Read a turn."""
        del stamp, event
        phrases = run.plan.phrases
        heads = {
            f"DUSKBELL {phrases.emergency}:": "emergency",
            f"DUSKBELL {phrases.today}:": "today",
            "DUSKBELL TEST": "test call",
            "DUSKBELL all well": "all well",
            "DUSKBELL NOT all well": "not all well",
        }
        day = (run.now_utc_ms - run.start_utc_ms) // 86_400_000
        for effect in effects:
            if isinstance(effect, SendMessage):
                kind = next(
                    (kind for head, kind in heads.items() if effect.subject.startswith(head)), "other"
                )
                self._month.messages[kind] += 1
                if kind in {"emergency", "today"}:
                    self._month.said.append(f"day {day}: {effect.person}: {effect.text.splitlines()[0]}")
            elif (
                isinstance(effect, Note) and effect.ledger is Ledger.ALARM and effect.rule == "unacknowledged"
            ):
                self._month.alarms[effect.subject] += 1

    def handed(self, run: Clockwork, stamp: Stamp, effect: Effect) -> None:
        """See an effect reach the world."""

    def died(self, run: Clockwork, stamp: Stamp, event: Event) -> None:
        """See a loss of power."""

    def minute(self, run: Clockwork) -> None:
        """See a minute end."""


def live(plan: Plan, *, seed: int, days: int) -> Month:
    """Let one house live through healthy days."""
    start = SEASONS[seed % len(SEASONS)]
    month = Month(seed, start)
    clockwork = build(plan, days=days, seed=seed, start=start, watch=lambda _: (_Listener(month),))
    clockwork.run(days * 1440)
    tell = {entry.name: entry.response for entry in clockwork.entries}
    month.emergencies = sum(count for name, count in month.alarms.items() if tell[name] is Response.EMERGENCY)
    month.today = sum(count for name, count in month.alarms.items() if tell[name] is Response.TODAY)
    month.notes = sum(count for name, count in month.alarms.items() if tell[name] is Response.NOTE)
    return month


def _live(seed: int, days: int) -> Month:
    """Read the settings and let one house live: for a process of its own."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan), "the demo site's settings are good"
    return live(plan, seed=seed, days=days)


def write_month(month: Month) -> str:
    """Write what a month came to."""
    counts = ", ".join(f"{count} {kind}" for kind, count in sorted(month.messages.items())) or "no message"
    alarms = ", ".join(f"{name} {count}" for name, count in sorted(month.alarms.items())) or "none"
    lines = [f"seed {month.seed} from {month.start:%d %b}: {counts}; alarms: {alarms}"]
    lines += [f"    {text}" for text in month.said]
    return "\n".join(lines)


def main() -> int:
    """Run the houses and print what came of each."""
    parser = argparse.ArgumentParser(prog="python -m simulators.bench.months", description=__doc__)
    parser.add_argument("--seeds", type=int, default=20, help="houses (default %(default)s)")
    parser.add_argument("--first", type=int, default=1, help="first seed (default %(default)s)")
    parser.add_argument("--days", type=int, default=30, help="days of each (default %(default)s)")
    parser.add_argument("--jobs", type=int, default=1, help="at once (default %(default)s)")
    args = parser.parse_args()
    seeds = range(args.first, args.first + args.seeds)
    loud = 0
    with ProcessPoolExecutor(max_workers=args.jobs) as pool:
        for month in pool.map(_live, seeds, [args.days] * len(seeds)):
            loud += not month.calm
            sys.stdout.write(f"{write_month(month)}\n")
            sys.stdout.flush()
    sys.stdout.write(
        f"{args.seeds - loud} of {args.seeds} houses called no emergency and told at most {MESSAGES_MOST} "
        f"messages for today in {args.days} healthy days\n"
    )
    return 1 if loud else 0


if __name__ == "__main__":
    raise SystemExit(main())
