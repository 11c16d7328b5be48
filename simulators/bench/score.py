"""Figures of one run of positions: its cost between foresight and threshold, its moves and its reversals."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from simulators.bench.climate import DAY_MINUTES
from simulators.bench.costs import total_cost

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from simulators.bench.climate import Minutes
    from simulators.bench.costs import Costs


class Score(NamedTuple):
    """How a rule did.

    Attributes
    ----------
    cost : float
        Cost of the span [per m2].
    moves_mean, moves_p95 : float
        Moves a day, on average and at the 95th percentile of days.
    reversal_min : float
        Shortest time from a move to one the other way [min]; infinite when there is none.
    """

    cost: float
    moves_mean: float
    moves_p95: float
    reversal_min: float


def score(costs: Costs, weather: Minutes, drawn_percent: NDArray[np.float64]) -> Score:
    """Score the positions of a span of whole days."""
    changes = np.diff(drawn_percent, prepend=0.0)
    moved = np.flatnonzero(changes)
    days = np.bincount(moved // DAY_MINUTES, minlength=len(drawn_percent) // DAY_MINUTES)
    ways = np.sign(changes[moved])
    turns = np.diff(moved)[ways[1:] != ways[:-1]]
    return Score(
        total_cost(costs, weather, drawn_percent),
        float(days.mean()),
        float(np.percentile(days, 95)),
        float(turns.min()) if turns.size else float("inf"),
    )


def share_between(cost: float, *, threshold: float, foresight: float) -> float:
    """Place a cost between perfect foresight (0) and the plain threshold (1) [1]."""
    return (cost - foresight) / (threshold - foresight)
