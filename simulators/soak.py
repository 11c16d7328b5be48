"""`make soak`: many random stories, each from a seed of its own, on all cores; not one promise may break."""

from __future__ import annotations

import argparse
import os
import sys
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Final

from controller.core.plan.plan import Plan
from controller.settings.load import read_settings
from simulators.clockwork import InCircles
from simulators.promises.broken import PromiseBroken
from simulators.scenario import RANDOM_DAYS, play_random
from simulators.site import SETTINGS

SEEDS: Final = 200
BROKEN_SHOWN_MOST: Final = 10


def main() -> int:
    """Play the stories; 0 if all promises were kept, 1 if not, 2 for a wrong call."""
    parser = argparse.ArgumentParser(prog="make soak", description="Random stories under all promises.")
    parser.add_argument("--seeds", type=int, default=SEEDS, help="how many (default %(default)s)")
    parser.add_argument("--first", type=int, default=1, help="the first seed (default %(default)s)")
    parser.add_argument("--days", type=float, default=RANDOM_DAYS, help="each [days] (default %(default)g)")
    parser.add_argument("--settings", type=Path, default=SETTINGS, metavar="FILE")
    args = parser.parse_args()
    if args.seeds < 1 or not 1.0 <= args.days <= 60.0:
        sys.stderr.write("soak: --seeds at least 1, --days 1 to 60\n")
        return 2
    began = time.monotonic()
    seeds = range(args.first, args.first + args.seeds)
    broken = []
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        jobs = {seed: pool.submit(_play, str(args.settings), seed, args.days) for seed in seeds}
        for number, (seed, job) in enumerate(jobs.items(), start=1):
            text = job.result()
            if text:
                broken.append(seed)
                if len(broken) <= BROKEN_SHOWN_MOST:
                    sys.stdout.write(f"{text}\n\n")
            if sys.stderr.isatty():
                sys.stderr.write(f"\r{number} of {len(seeds)} stories, {len(broken)} with a broken promise ")
                sys.stderr.flush()
    took_s = time.monotonic() - began
    sys.stdout.write(
        f"{len(seeds)} stories of {args.days:g} days in {took_s:.0f} s: "
        + (
            f"broken promises with the seeds {', '.join(map(str, broken))}\n"
            if broken
            else "all promises kept\n"
        )
    )
    return 1 if broken else 0


def _play(settings: str, seed: int, days: float) -> str:
    """Play one story; return what was broken, or nothing."""
    plan = read_settings(Path(settings))
    if not isinstance(plan, Plan):
        return "\n".join(str(problem) for problem in plan)
    try:
        play_random(plan, seed=seed, days=days)
    except (PromiseBroken, InCircles) as broken:
        return str(broken) if isinstance(broken, PromiseBroken) else f"seed {seed}: {broken}"
    except Exception:  # noqa: BLE001 - whatever it is that the daemon died of, its seed must be told
        return f"the daemon answers every event, but not with seed {seed}:\n{traceback.format_exc(limit=-4)}"
    return ""


if __name__ == "__main__":
    raise SystemExit(main())
