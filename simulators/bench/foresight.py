"""The least a year can cost when every minute to come is known: dynamic programming over positions.

Backward over the minutes, with the value of each position the least of staying and of one move to the best
other position (Bellman 1957, Dynamic Programming). The curtain is in its new position at once.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

POSITIONS: Final = (0.0, 25.0, 50.0, 75.0, 100.0)
"""Positions that foresight may choose. [%]"""

COARSE: Final = (0.0, 50.0, 100.0)
"""A coarser choice, for comparison. [%]"""


def foresee(
    minute_costs: NDArray[np.float64], positions: tuple[float, ...], move: float
) -> NDArray[np.float64]:
    """Find the positions that cost least over the whole span, from an open curtain on [%].

    Parameters
    ----------
    minute_costs : numpy.ndarray
        Cost of each minute (rows) at each position (columns).
    positions : tuple of float
        The positions, of which one must be 0. [%]
    move : float
        Cost of one move.
    """
    rows = minute_costs.tolist()
    jump: list[int] = [0] * len(rows)
    limit: list[float] = [0.0] * len(rows)
    after: list[list[float]] = [[]] * len(rows)
    value = [0.0] * len(positions)
    for minute in range(len(rows) - 1, -1, -1):
        value = [now + then for now, then in zip(rows[minute], value, strict=True)]
        least = min(value)
        jump[minute], limit[minute], after[minute] = value.index(least), least + move, value
        value = [min(stay, least + move) for stay in value]
    here = positions.index(0.0)
    path = np.empty(len(rows), dtype=np.int64)
    for minute, values in enumerate(after):
        if values[here] > limit[minute]:
            here = jump[minute]
        path[minute] = here
    return np.array(positions)[path]
