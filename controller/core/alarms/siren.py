"""When the siren sounds: while an emergency is unanswered, a bounded time on, then a pause, until somebody has it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from controller.core.signals.sense import NEVER
from controller.core.units import HouseMs


@dataclass(frozen=True, slots=True)
class Playing:
    """What the siren does. `until_ms` it may sound, from `free_ms` on it may sound again; house time, in ms.

    `effect_id` is the last command; `judged` says that it has been looked at since the start, `spoke` that it has
    been heard since whether the siren obeys.
    """

    wanted: bool = False
    until_ms: HouseMs = 0
    free_ms: HouseMs = 0
    effect_id: str = ""
    judged: bool = False
    spoke: bool = False


def play(
    playing: Playing, *, wanted: bool, on_ms: int, pause_ms: int, now: HouseMs
) -> tuple[Playing, int | None]:
    """Decide what to tell the siren now: sound for so long at most [ms], be silent (0), or nothing (None)."""
    playing = replace(playing, wanted=wanted, judged=True)
    if wanted and now >= playing.free_ms:
        return replace(playing, until_ms=now + on_ms, free_ms=now + on_ms + pause_ms), on_ms
    if not wanted and now < playing.until_ms:
        # A new emergency sounds at once: the pause spares ears, not people.
        return replace(playing, until_ms=now, free_ms=now), 0
    if not wanted and playing.free_ms > now:
        return replace(playing, free_ms=now), None
    return playing, None


def next_play_ms(playing: Playing) -> HouseMs:
    """Return when there is something to decide without new input [ms]."""
    return playing.free_ms if playing.wanted else NEVER
