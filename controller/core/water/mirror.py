"""Two waters side by side: the paired difference of what both measure, and how sure it is.

Pairs are readings of the same minute, so that what moves both (the sun, the house) drops out. Neighbouring
minutes say much the same, so the number of pairs that counts is reduced by their lag-one correlation (Bartlett
1935; n (1 - r) / (1 + r)). The interval is Student's, 95 %.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from statistics import NormalDist, fmean, stdev
from typing import Final

from controller.core.plan.water import Water
from controller.core.signals.sense import UNHEARD, Sense
from controller.core.units import KEPT_UNIT, Quantity
from controller.core.vocabulary import Trust
from controller.core.water.trace import EMPTY, Point, Trace, list_long

PAIRS_LEAST: Final = 8
NEAR_MIN: Final = 1.0
"""Readings this near in time are a pair. [min]"""

COMPARED: Final = (Quantity.PH, Quantity.CONDUCTIVITY, Quantity.TEMPERATURE)


@dataclass(frozen=True, slots=True)
class Comparison:
    """How far one water is from its mirror, in one quantity.

    Attributes
    ----------
    water, mirror
        The two waters; the difference is the first less the second.
    quantity
        What is compared.
    difference, plus_minus
        Mean paired difference and half its 95 % interval [kept unit]; None where nobody can tell.
    pairs
        Pairs of readings used.
    why
        Why nobody can tell; empty otherwise.
    """

    water: str
    mirror: str
    quantity: Quantity
    difference: float | None
    plus_minus: float | None
    pairs: int
    why: str = ""

    def describe(self) -> str:
        """Say it in one line."""
        name = "pH" if self.quantity is Quantity.PH else self.quantity.value
        unit = "" if self.quantity is Quantity.PH else f" {KEPT_UNIT[self.quantity]}"
        if self.difference is None or self.plus_minus is None:
            return f"{name}: cannot be compared, {self.why}"
        sure = "" if abs(self.difference) > self.plus_minus else ", no difference is certain"
        return (
            f"{name}: {self.difference:+.3g} +/- {self.plus_minus:.2g}{unit} ({self.pairs} pairs, 95 %){sure}"
        )


def compare(
    water: Water, mirror: Water, senses: Mapping[str, Sense], traces: Mapping[str, Trace]
) -> tuple[Comparison, ...]:
    """Compare a water with the one it mirrors, in each quantity that both measure."""
    found: list[Comparison] = []
    for quantity in COMPARED:
        mine, theirs = _find_sensor(water, quantity), _find_sensor(mirror, quantity)
        if not mine or not theirs or mine == theirs:
            continue
        unsure = [name for name in (mine, theirs) if senses.get(name, UNHEARD).trust is not Trust.GOOD]
        pairs = pair(list_long(traces.get(mine, EMPTY)), list_long(traces.get(theirs, EMPTY)))
        why = f"{unsure[0]} cannot be trusted" if unsure else ""
        if not why and len(pairs) < PAIRS_LEAST:
            why = f"only {len(pairs)} pairs yet"
        if why:
            found.append(Comparison(water.name, mirror.name, quantity, None, None, len(pairs), why))
        else:
            mean, half = find_interval(pairs)
            found.append(Comparison(water.name, mirror.name, quantity, mean, half, len(pairs)))
    return tuple(found)


def pair(mine: Sequence[Point], theirs: Sequence[Point]) -> tuple[float, ...]:
    """Pair readings of the same minute and return their differences, in order of time [kept unit]."""
    differences: list[float] = []
    place = 0
    for at, value in mine:
        while place < len(theirs) and theirs[place][0] < at - NEAR_MIN:
            place += 1
        if place < len(theirs) and abs(theirs[place][0] - at) <= NEAR_MIN:
            differences.append(value - theirs[place][1])
            place += 1
    return tuple(differences)


def find_interval(differences: Sequence[float]) -> tuple[float, float]:
    """Compute the mean of paired differences and half its 95 % interval [their unit].

    Parameters
    ----------
    differences
        Three or more, in order of time.
    """
    mean, spread = fmean(differences), stdev(differences)
    count = len(differences)
    if spread == 0.0:
        return mean, 0.0
    lag = sum((a - mean) * (b - mean) for a, b in pairwise(differences)) / (spread**2 * (count - 1))
    lag = min(max(lag, 0.0), 0.95)
    counting = max(count * (1.0 - lag) / (1.0 + lag), 2.0)
    return mean, find_student_t(freedom=counting - 1.0) * spread / sqrt(counting)


def find_student_t(*, freedom: float) -> float:
    """Compute the two-sided 95 % point of Student's distribution.

    Exact for 1 and 2 degrees of freedom by closed form; else the expansion of Abramowitz & Stegun 26.7.5, within
    0.5 % from 3 on. Between 1 and 3 the larger neighbour is taken, on the safe side.
    """
    if freedom < 2.0:
        return 12.706
    if freedom < 3.0:
        return 4.303
    z = NormalDist().inv_cdf(0.975)
    g1 = (z**3 + z) / 4.0
    g2 = (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0
    g3 = (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0
    g4 = (79.0 * z**9 + 776.0 * z**7 + 1482.0 * z**5 - 1920.0 * z**3 - 945.0 * z) / 92160.0
    return z + g1 / freedom + g2 / freedom**2 + g3 / freedom**3 + g4 / freedom**4


def _find_sensor(water: Water, quantity: Quantity) -> str:
    match quantity:
        case Quantity.PH:
            return water.ph
        case Quantity.CONDUCTIVITY:
            return water.conductivity
        case _:
            return water.temperature
