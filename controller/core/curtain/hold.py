"""A person's wish for the curtain: named, with an end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from controller.core.units import HouseMs

LONGEST_HOLD_MIN: Final = 24 * 60.0
"""A hold ends by itself within a day, so that a forgotten one is no trap. [min]"""


@dataclass(frozen=True, slots=True)
class Hold:
    """Keep the curtain at `drawn_percent` until `until_ms`, because `person` said so."""

    drawn_percent: float
    until_ms: HouseMs
    person: str
