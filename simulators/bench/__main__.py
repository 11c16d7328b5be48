"""`python -m simulators.bench`: print one table, a rule a row, for each climate."""

from __future__ import annotations

import argparse
from dataclasses import fields, replace
from pathlib import Path
from tempfile import gettempdir
from typing import TYPE_CHECKING, Final, NamedTuple

from simulators.bench import ours
from simulators.bench.climate import NAMES, make_minutes
from simulators.bench.costs import Costs, cost_of_positions
from simulators.bench.foresight import COARSE, POSITIONS, foresee
from simulators.bench.rivals import follow, tune_hysteresis, tune_threshold
from simulators.bench.score import Score, score, share_between

if TYPE_CHECKING:
    from collections.abc import Iterator

    from simulators.bench.climate import Minutes
    from simulators.years import Station

HEAD: Final = f"{'climate':<12}{'rule':<22}{'cost':>7}{'moves/day':>11}{'95th':>6}{'reversal':>10}"
TRADE: Final = (0.3, 3.0, 10.0)
"""How much dearer a move is told to be, to show cost against moves. [1]"""

CACHE: Final = Path(gettempdir()) / "duskbell-bench"


class Span(NamedTuple):
    """Which clouds, and which days of the year."""

    seed: int
    first_day: int
    days: int


def compare(weather: Minutes, costs: Costs, trade: tuple[float, ...] = ()) -> Iterator[tuple[str, Score]]:
    """Score every rule on one span: threshold and foresight first, as they set the scale.

    `trade` are multiples of a move's cost that the controller is told instead, to show cost against moves.
    """
    yield "plain threshold", score(costs, weather, follow(tune_threshold(costs, weather), costs, weather))
    best = foresee(cost_of_positions(costs, weather, POSITIONS), POSITIONS, costs.move)
    yield "perfect foresight", score(costs, weather, best)
    coarse = foresee(cost_of_positions(costs, weather, COARSE), COARSE, costs.move)
    yield "foresight, 0/50/100 %", score(costs, weather, coarse)
    yield "tuned hysteresis", score(costs, weather, follow(tune_hysteresis(costs, weather), costs, weather))
    almanac = ours.find_almanac(weather, CACHE)
    plain = ours.run(weather, ours.make_plan(weather, costs, **ours.plain_tables(costs)), almanac)
    yield "duskbell, plain rules", score(costs, weather, plain.drawn_percent)
    ours_now = ours.run(weather, ours.make_plan(weather, costs, **ours.balance_tables(costs)), almanac)
    yield "duskbell, balance", score(costs, weather, ours_now.drawn_percent)
    for factor in trade:
        told = replace(costs, move=factor * costs.move)
        other = ours.run(weather, ours.make_plan(weather, costs, **ours.balance_tables(told)), almanac)
        yield f"  a move {factor:g} times", score(costs, weather, other.drawn_percent)


def print_climate(station: Station, costs: Costs, *, span: Span, trade: tuple[float, ...] = ()) -> None:
    """Print the rows of one climate."""
    weather = make_minutes(station, seed=span.seed, first_day=span.first_day, days=span.days)
    scores: dict[str, Score] = {}
    for rule, result in compare(weather, costs, trade):
        scores[rule] = result
        if len(scores) < 2:
            continue
        for name in tuple(scores) if len(scores) == 2 else (rule,):
            threshold, foresight = scores["plain threshold"].cost, scores["perfect foresight"].cost
            share = share_between(scores[name].cost, threshold=threshold, foresight=foresight)
            figures = scores[name]
            say(
                f"{NAMES[station]:<12}{name:<22}{share:>7.2f}{figures.moves_mean:>11.1f}"
                f"{figures.moves_p95:>6.0f}{figures.reversal_min:>6.0f} min"
            )


def say(text: str) -> None:
    """Print a line at once."""
    print(text, flush=True)  # noqa: T201 - a command prints to whoever asked


def main() -> int:
    """Read the command line and print the table."""
    parser = argparse.ArgumentParser(prog="python -m simulators.bench", description=__doc__)
    parser.add_argument("--seed", type=int, default=7, help="clouds (default %(default)d)")
    parser.add_argument("--days", type=int, default=365, help="how long [days] (default %(default)d)")
    parser.add_argument("--from-day", type=int, default=0, help="days to leave out (default %(default)d)")
    parser.add_argument("--climate", choices=sorted(NAMES.values()), help="only this one")
    for field in fields(Costs):
        parser.add_argument(f"--{field.name.replace('_', '-')}", type=float, metavar="X")
    parser.add_argument(
        "--trade",
        type=float,
        nargs="*",
        default=list(TRADE),
        metavar="X",
        help="also with a move X times as dear; empty for none (default 0.3 3 10)",
    )
    args = parser.parse_args()
    span = Span(args.seed, args.from_day, args.days)
    given = {f.name: getattr(args, f.name) for f in fields(Costs) if getattr(args, f.name) is not None}
    costs = replace(Costs(), **given)
    say("cost: perfect foresight 0.00, plain threshold 1.00; the curtain is where it was sent at once")
    say(HEAD)
    for station, name in NAMES.items():
        if args.climate in {None, name}:
            print_climate(station, costs, span=span, trade=tuple(args.trade))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
