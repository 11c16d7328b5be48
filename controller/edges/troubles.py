"""What an edge has to tell of its own troubles: once when one begins, once when it is over."""

from __future__ import annotations

import threading
from typing import Final

from controller.core.plan.alarm import Watched
from controller.core.units import HOUR_MS, HouseMs
from controller.core.vocabulary import TroubleSeen

# A thing that happened once, such as a file set aside, stands told for so long, past any on-delay.
TOLD_FOR_MS: Final = HOUR_MS


class Troubles:
    """Conditions, which last until they end, and happenings, which are told for an hour. For any thread."""

    def __init__(self) -> None:
        self._conditions: dict[Watched, str] = {}
        self._happenings: dict[Watched, tuple[str, HouseMs | None]] = {}
        self._shown: dict[Watched, str | None] = {}
        self._to_say: list[TroubleSeen] = []
        self._lock = threading.Lock()

    def begin(self, part: Watched, text: str) -> None:
        """Tell that a part is in trouble until `end`."""
        with self._lock:
            self._conditions[part] = text
            self._show(part)

    def end(self, part: Watched) -> None:
        """Tell that the condition is over; one that never began is over too, and is told the first time."""
        with self._lock:
            self._conditions.pop(part, None)
            self._show(part)

    def happened(self, part: Watched, text: str) -> None:
        """Tell a thing that happened; the hour counts from the next `tick`."""
        with self._lock:
            self._happenings[part] = (text, None)
            self._show(part)

    def tick(self, house_ms: HouseMs) -> None:
        """Let the time go on: end what has been told long enough."""
        with self._lock:
            for part, (text, until_ms) in list(self._happenings.items()):
                if until_ms is None:
                    self._happenings[part] = (text, house_ms + TOLD_FOR_MS)
                elif house_ms >= until_ms:
                    del self._happenings[part]
                    self._show(part)

    def take(self) -> tuple[TroubleSeen, ...]:
        """Hand over what has changed since the last call, in order."""
        with self._lock:
            said, self._to_say = tuple(self._to_say), []
        return said

    def _show(self, part: Watched) -> None:
        happening = self._happenings.get(part)
        text = self._conditions.get(part) or (happening[0] if happening else None)
        if part not in self._shown or self._shown[part] != text:
            self._shown[part] = text
            self._to_say.append(TroubleSeen(part, text))
