"""What a kind of fault is."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

Mend = Callable[[], None]
"""Ends a fault."""


@dataclass(frozen=True, slots=True)
class Cast:
    """What a fault has to work with: the run, the part it breaks (empty: draw one), and dice of its own."""

    run: Clockwork
    where: str
    dice: random.Random

    def sensor(self, *choices: str) -> str:
        """Return the sensor to break: the named one, or one of the choices, or any."""
        if self.where:
            return self.where
        return self.dice.choice(choices or tuple(instrument.name for instrument in self.run.instruments))


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of fault.

    Attributes
    ----------
    name, says : str
        What it is called, and what happens, in a sentence.
    begin : Callable[[Cast], Mend]
        Breaks something, and returns how it is mended.
    shortest_min, longest_min : float
        How long it lasts when the dice decide. [min]
    random : bool
        Whether the dice may draw it.
    breaks : bool
        Whether something is broken that steers or moves the curtain or tells of it, so that promises about where it
        stands must wait until it is mended.
    """

    name: str
    says: str
    begin: Callable[[Cast], Mend]
    shortest_min: float = 10.0
    longest_min: float = 240.0
    random: bool = True
    breaks: bool = True


def schedule(
    run: Clockwork, kind: Kind, *, where: str, dice: random.Random, begin_ms: int, end_ms: int
) -> None:
    """Put a fault on a run's agenda, from one true instant to another [ms]."""
    label = f"{kind.name} ({where})" if where else kind.name

    def start() -> None:
        run.troubles.append(label)
        run.broken += kind.breaks
        run.bring_board_up_to_now()
        mend = kind.begin(Cast(run, where, dice))

        def end() -> None:
            run.bring_board_up_to_now()
            mend()
            run.troubles.remove(label)
            if kind.breaks:
                run.broken -= 1
                run.calm_since_ms = run.now_utc_ms

        run.later(end_ms, end)

    run.later(begin_ms, start)
