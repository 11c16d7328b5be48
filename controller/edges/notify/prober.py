"""Tries ways to people while nothing is to be sent, so that a broken one is known before it is needed.

The modem looks after itself every few seconds, and a webhook cannot be tried without sending; the mail account is
signed in to. A way that fails is tried again soon, so that its trouble ends when it is mended.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from typing import Final, Protocol, runtime_checkable

from controller.core.plan.people import Way
from controller.edges.notify.way import Outcome, WayAdapter

AGAIN_S: Final = 300.0
"""A way that failed is tried again after this. [s]"""

FIRST_S: Final = 20.0
"""After a start or a change the first try waits so long, for the network to be there. [s]"""

STOP_WITHIN_S: Final = 1.0
"""A try that is under way when the daemon ends is not waited for longer than this. [s]"""


@runtime_checkable
class CanBeProbed(Protocol):
    """A way that can be tried without sending."""

    def probe(self) -> Outcome:
        """Try the way, within a bounded time."""
        ...


class Prober:
    """Tries every way that can be tried, on a thread of its own.

    Parameters
    ----------
    note
        Is told how each try went: what the sender makes of the outcome of a message.
    first_s, again_s
        Waits before the first try, and after one that failed. [s]
    """

    def __init__(
        self, note: Callable[[Way, Outcome], object], *, first_s: float = FIRST_S, again_s: float = AGAIN_S
    ) -> None:
        self._note = note
        self._first_s = first_s
        self._again_s = again_s
        self._adapters: Mapping[Way, WayAdapter] = {}
        self._every_s = 0.0
        self._changed = threading.Condition()
        self._over = False
        self._news = False
        self._thread = threading.Thread(target=self._run, name="prober", daemon=True)

    def start(self, adapters: Mapping[Way, WayAdapter], every_h: float) -> None:
        """Begin to try these ways every so many hours [h]; never if it is 0."""
        self.change(adapters, every_h)
        self._thread.start()

    def change(self, adapters: Mapping[Way, WayAdapter], every_h: float) -> None:
        """Try these ways from now on, and soon."""
        with self._changed:
            self._adapters, self._every_s, self._news = dict(adapters), every_h * 3600.0, True
            self._changed.notify()

    def stop(self) -> None:
        """Try no more."""
        with self._changed:
            self._over = True
            self._changed.notify()
        if self._thread.is_alive():
            self._thread.join(STOP_WITHIN_S)

    def _run(self) -> None:
        wait_s = self._first_s
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._over or self._news, timeout=wait_s)
                if self._over:
                    return
                if self._news:
                    self._news = False
                    wait_s = self._first_s
                    continue
                adapters, every_s = self._adapters, self._every_s
            if not every_s:
                wait_s = 3600.0
                continue
            wait_s = every_s if self._try(adapters) else min(self._again_s, every_s)

    def _try(self, adapters: Mapping[Way, WayAdapter]) -> bool:
        """Try each way once; whether all work."""
        good = True
        for way, adapter in adapters.items():
            if isinstance(adapter, CanBeProbed):
                outcome = adapter.probe()
                self._note(way, outcome)
                good = good and outcome.accepted
        return good
