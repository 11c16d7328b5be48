"""What the clouds have been doing: the clear-sky index of the last minutes, remembered at three speeds.

The index is the light over that of a cloudless sky. Clouds have no length of their own: they follow a power law
over four decades (Wood & Field 2011, J. Climate 24:4800), so what has lasted is likely to last, and no single
memory fits. Three that fade with 4, 9 and 71 minutes, weighted by how restless the sky is, come close to such a
law; the figures were tuned in the benchmark on clouds other than those it reports (`simulators.bench`).
"""

from __future__ import annotations

import math
from operator import mul
from typing import Final, NamedTuple

INDEX_MOST: Final = 1.4
"""Brighter is counted as this: seconds beside a cloud's edge, not a sky to expect (our choice). [1]"""

BINS: Final = 15
INDEX_STEP: Final = INDEX_MOST / (BINS - 1)

SPEEDS_MIN: Final = (3.8, 9.4, 71.0, 7200.0)
"""How fast each memory fades; the last holds ten days of light, for when no sensor can be trusted. [min]"""

WEIGHTS: Final = (0.1, 0.4, 0.5, 0.0)
"""How much each counts when the next hour is judged. [1]"""

LOST_WEIGHTS: Final = (0.0, 0.0, 0.0, 1.0)
"""And when the sensor has been lost for a while: the clouds are as they have been for days. [1]"""

CLEAR_LEAST_W_M2: Final = 20.0
"""A lower sun tells nothing of clouds. [W/m2]"""

LEAST_SHARE: Final = 1e-3
"""A rarer index is left out, to spare the board the work. [1]"""

_EMPTY: Final = (0.0,) * BINS


class SkyMemory(NamedTuple):
    """Shares of time at each index, one row a speed; each row sums to 1 once anything is known.

    `seen_min` is how long the sky has been watched; a young memory is a plain mean.
    """

    rows: tuple[tuple[float, ...], ...] = (_EMPTY,) * len(SPEEDS_MIN)
    seen_min: float = 0.0


NOTHING_SEEN: Final = SkyMemory()


def remember_sky(memory: SkyMemory, light_w_m2: float, clear_w_m2: float, minutes: float) -> SkyMemory:
    """Take in that the light was this under a sky that could give that, for some minutes."""
    if clear_w_m2 < CLEAR_LEAST_W_M2:
        return memory
    index = min(max(light_w_m2 / clear_w_m2, 0.0), INDEX_MOST)
    low = min(int(index / INDEX_STEP), BINS - 2)
    upper = index / INDEX_STEP - low
    rows = []
    for speed_min, row in zip(SPEEDS_MIN, memory.rows, strict=True):
        keep = min(math.exp(-minutes / speed_min), memory.seen_min / (memory.seen_min + minutes))
        faded = [keep * share for share in row]
        faded[low] += (1.0 - keep) * (1.0 - upper)
        faded[low + 1] += (1.0 - keep) * upper
        rows.append(tuple(faded))
    return SkyMemory(tuple(rows), memory.seen_min + minutes)


def expect_sky(memory: SkyMemory, weights: tuple[float, ...] = WEIGHTS) -> list[tuple[float, float]]:
    """Return the indices to expect, each with its likelihood, summing to 1; none before anything is known."""
    if not memory.seen_min:
        return []
    mixed = [sum(map(mul, weights, column)) for column in zip(*memory.rows, strict=True)]
    likely = [(at * INDEX_STEP, share) for at, share in enumerate(mixed) if share > LEAST_SHARE]
    total = sum(share for _, share in likely)
    return [(index, share / total) for index, share in likely]


def mean_index(memory: SkyMemory, weights: tuple[float, ...] = WEIGHTS) -> float | None:
    """Return the index to expect on average, None before anything is known [1]."""
    expected = expect_sky(memory, weights)
    return sum(index * share for index, share in expected) if expected else None
