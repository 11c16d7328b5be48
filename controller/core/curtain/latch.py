"""A fact that must last before it counts, and be over for long enough before it is over: hysteresis and delay."""

from __future__ import annotations

from typing import Final, NamedTuple

from controller.core.units import HouseMs


class Latch(NamedTuple):
    """Whether it counts, and since when the opposite has been seen (house time, None while not)."""

    on: bool = False
    since_ms: HouseMs | None = None


OFF: Final = Latch()


def follow(latch: Latch, *, begins: bool, ends: bool, now: HouseMs, begin_ms: float, end_ms: float) -> Latch:
    """Bring a latch up to date; the same object if nothing has changed.

    Parameters
    ----------
    latch
        What was remembered.
    begins, ends
        Whether what is seen now would begin it, or end it; between the two limits neither is so.
    now
        House time. [ms]
    begin_ms, end_ms
        How long either must last without a break. [ms]
    """
    seen = ends if latch.on else begins
    if not seen:
        return latch if latch.since_ms is None else Latch(latch.on)
    since_ms = now if latch.since_ms is None else latch.since_ms
    if now - since_ms >= (end_ms if latch.on else begin_ms):
        return Latch(not latch.on)
    return latch if since_ms == latch.since_ms else Latch(latch.on, since_ms)
