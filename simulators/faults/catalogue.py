"""All kinds of faults, and stories drawn from them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from simulators.chance import stream
from simulators.faults import daemon, machines, people, sensors, wire
from simulators.faults.kind import Kind, schedule

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

MINUTE_MS: Final = 60_000

CATALOGUE: Final[dict[str, Kind]] = {
    kind.name: kind for kind in (*sensors.KINDS, *wire.KINDS, *machines.KINDS, *people.KINDS, *daemon.KINDS)
}
"""Every kind by name."""

FAULTS_A_DAY: Final = 3.0
"""How many faults a random story has a day, on average; most overlap with another."""


def draw_story(run: Clockwork, *, seed: int, first_min: int, last_min: int) -> tuple[str, ...]:
    """Draw faults from one seed and put them on a run's agenda; return them in words.

    Parameters
    ----------
    run : Clockwork
        The run, not yet begun.
    seed : int
        The seed; the same draws the same story.
    first_min, last_min : int
        Minutes of the run between which all faults begin and end. [min]
    """
    dice = stream(seed, "story")
    kinds = [kind for kind in CATALOGUE.values() if kind.random]
    count = max(1, round((last_min - first_min) / 1440.0 * FAULTS_A_DAY))
    told = []
    for number in range(count):
        kind = dice.choice(kinds)
        begin_min = dice.uniform(first_min, last_min - 6.0)
        longest = min(kind.longest_min, last_min - begin_min)
        for_min = dice.uniform(min(kind.shortest_min, longest), longest)
        schedule(
            run,
            kind,
            where="",
            dice=stream(seed, f"story/{number}"),
            begin_ms=run.start_utc_ms + round(begin_min * MINUTE_MS),
            end_ms=run.start_utc_ms + round((begin_min + for_min) * MINUTE_MS),
        )
        told.append(f"minute {begin_min:.0f} for {for_min:.0f} min: {kind.name}")
    return tuple(told)
