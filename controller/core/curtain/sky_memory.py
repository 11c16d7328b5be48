"""What the clouds have been doing: the clear-sky index of the last minutes, remembered at three speeds.

The index is the light over that of a cloudless sky. Clouds have no length of their own: they follow a power law
over four decades (Wood & Field 2011, J. Climate 24:4800), so what has lasted is likely to last, and no single
memory fits. Three that fade with 4, 20 and 90 minutes, weighted 0.2, 0.3 and 0.5, come close to such a law; the
figures were tuned in the benchmark on clouds other than those it reports (`simulators.bench`).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

INDEX_MOST: Final = 1.4
"""Brighter is counted as this: seconds beside a cloud's edge, not a sky to expect (our choice). [1]"""

BINS: Final = 15
INDEX_STEP: Final = INDEX_MOST / (BINS - 1)

SPEEDS_MIN: Final = (4.0, 20.0, 90.0)
"""How fast each memory fades. [min]"""

WEIGHTS: Final = (0.2, 0.3, 0.5)
"""How much each counts when the next hour is judged. [1]"""

CLEAR_LEAST_W_M2: Final = 20.0
"""A lower sun tells nothing of clouds. [W/m2]"""

_EMPTY: Final = (0.0,) * BINS


class SkyMemory(NamedTuple):
    """Shares of time at each index, one row a speed; each row sums to 1 once anything is known."""

    rows: tuple[tuple[float, ...], ...] = (_EMPTY, _EMPTY, _EMPTY)
    latest: float | None = None


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
        keep = math.exp(-minutes / speed_min) if memory.latest is not None else 0.0
        faded = [keep * share for share in row]
        faded[low] += (1.0 - keep) * (1.0 - upper)
        faded[low + 1] += (1.0 - keep) * upper
        rows.append(tuple(faded))
    return SkyMemory(tuple(rows), index)


def expect_sky(memory: SkyMemory) -> list[tuple[float, float]]:
    """Return the indices to expect for the next hour, each with its likelihood; none before anything is known."""
    if memory.latest is None:
        return []
    fast, middle, slow = memory.rows
    a, b, c = WEIGHTS
    mixed = [a * x + b * y + c * z for x, y, z in zip(fast, middle, slow, strict=True)]
    return [(at * INDEX_STEP, share) for at, share in enumerate(mixed) if share > 1e-3]


def mean_index(memory: SkyMemory) -> float | None:
    """Return the index to expect on average, None before anything is known [1]."""
    expected = expect_sky(memory)
    total = sum(share for _, share in expected)
    return sum(index * share for index, share in expected) / total if total > 0.0 else None
