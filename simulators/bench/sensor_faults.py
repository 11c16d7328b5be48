"""`python -m simulators.bench.sensor_faults`: what a bad light sensor costs, and when it is named.

The same minutes are replayed with a fault in the light that the controller hears; what it then does is scored on the
true light. The loss stands beside the distance from the plain threshold to perfect foresight: over a year that is as
good or bad as the hundred days replayed, and over the days of the fault alone.
"""

from __future__ import annotations

import argparse
import math
import random
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from simulators.bench import ours
from simulators.bench.__main__ import CACHE, say
from simulators.bench.climate import DAY_MINUTES, MINUTE_MS, NAMES, Minutes, make_minutes
from simulators.bench.costs import Costs, cost_of_positions
from simulators.bench.foresight import POSITIONS, foresee
from simulators.bench.rivals import follow, tune_threshold
from simulators.bench.score import score

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Light = NDArray[np.float64]

FROM_DAY: Final = 60
"""Days of the span before a fault begins: the sensor's usual clear days must be known. [days]"""


class Fault(NamedTuple):
    """A fault: its name, how many days it lasts, and what it makes of the light."""

    name: str
    days: int
    spoil: Callable[[Light, random.Random], Light]


def _stick(light: Light, _: random.Random) -> Light:
    """Stand on the value of noon."""
    return np.full_like(light, light[DAY_MINUTES // 2])


def _lose(light: Light, _: random.Random) -> Light:
    """Say nothing at all."""
    return np.full_like(light, math.nan)


def _soil(light: Light, _: random.Random) -> Light:
    """Show 20 % less."""
    return light * 0.8


def _offset_nights(light: Light, _: random.Random) -> Light:
    """Show 40 W/m2 more, by night and by day."""
    return light + 40.0


def _spike(light: Light, dice: random.Random) -> Light:
    """Show 3000 W/m2 for a minute, once in twenty."""
    hit = np.array([dice.random() < 0.05 for _ in range(len(light))])
    return np.where(hit, 3000.0, light)


def _leave_gaps(light: Light, dice: random.Random) -> Light:
    """Say nothing for half an hour, twice in three hours."""
    silent = np.zeros(len(light), dtype=bool)
    for start in range(0, len(light), 90):
        begin = start + dice.randrange(60)
        silent[begin : begin + 30] = True
    return np.where(silent, math.nan, light)


FAULTS: Final = (
    Fault("stuck three days", 3, _stick),
    Fault("lost two days", 2, _lose),
    Fault("dirty, -20 %, a month", 30, _soil),
    Fault("offset of 40 W/m2, a week", 7, _offset_nights),
    Fault("spikes, a week", 7, _spike),
    Fault("gaps, a week", 7, _leave_gaps),
)


def spoil(weather: Minutes, fault: Fault, seed: int) -> Minutes:
    """Return the minutes as the faulty sensor tells them; NaN is silence."""
    light = weather.light_w_m2.copy()
    span = slice(FROM_DAY * DAY_MINUTES, (FROM_DAY + fault.days) * DAY_MINUTES)
    light[span] = fault.spoil(light[span], random.Random(seed))  # noqa: S311 - weather, no secrets
    return weather._replace(light_w_m2=light)


def find_named(reasons: ours.Run, weather: Minutes, fault: Fault) -> float | None:
    """Return how long after its beginning a fault of the sensor was told [min], or None."""
    begin = weather.start_utc_ms + FROM_DAY * DAY_MINUTES * MINUTE_MS
    end = begin + (fault.days + 1) * DAY_MINUTES * MINUTE_MS
    told = [at for at, subject, _ in reasons.sensor_notes if subject == ours.LIGHT and begin < at < end]
    return (min(told) - begin) / MINUTE_MS if told else None


def main() -> int:
    """Read the command line and print the table."""
    parser = argparse.ArgumentParser(prog="python -m simulators.bench.sensor_faults", description=__doc__)
    parser.add_argument("--seed", type=int, default=7, help="clouds (default %(default)d)")
    parser.add_argument(
        "--from-day",
        type=int,
        default=90,
        help="first day; the fault begins 60 days later (default %(default)d)",
    )
    parser.add_argument("--climate", choices=sorted(NAMES.values()), help="only this one")
    args = parser.parse_args()
    costs = Costs()
    say(f"{'climate':<12}{'fault':<28}{'of the year':>16}{'of its days':>14}{'told after':>13}")
    for station, name in NAMES.items():
        if args.climate not in {None, name}:
            continue
        weather = make_minutes(station, seed=args.seed, first_day=args.from_day, days=FROM_DAY + 40)
        plain = follow(tune_threshold(costs, weather), costs, weather)
        best = foresee(cost_of_positions(costs, weather, POSITIONS), POSITIONS, costs.move)
        plan = ours.make_plan(weather, costs, **ours.balance_tables(costs))
        almanac = ours.find_almanac(weather, CACHE)
        sound = ours.run(weather, plan, almanac)
        for fault in FAULTS:
            run = ours.run(spoil(weather, fault, args.seed), plan, almanac)
            worse = _cost(costs, weather, run.drawn_percent) - _cost(costs, weather, sound.drawn_percent)
            whole = _cost(costs, weather, plain) - _cost(costs, weather, best)
            span = slice(FROM_DAY * DAY_MINUTES, (FROM_DAY + fault.days) * DAY_MINUTES)
            spell = weather._replace(light_w_m2=weather.light_w_m2[span], outside_c=weather.outside_c[span])
            spell_d = _cost(costs, spell, plain[span]) - _cost(costs, spell, best[span])
            told = find_named(run, weather, fault)
            when = "never" if told is None else f"{told / 60:.1f} h"
            say(
                f"{name:<12}{fault.name:<28}{worse / whole * len(weather.light_w_m2) / DAY_MINUTES / 365:>16.3f}"
                f"{worse / spell_d:>14.2f}{when:>13}"
            )
    return 0


def _cost(costs: Costs, weather: Minutes, drawn_percent: Light) -> float:
    return score(costs, weather, drawn_percent).cost


if __name__ == "__main__":
    raise SystemExit(main())
