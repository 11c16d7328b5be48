"""Watching the siren: it must say that it sounds when told to, and must not sound for longer or on its own.

The command goes out with the other commands over MQTT; here only its read-back is watched.
"""

from __future__ import annotations

import threading
from typing import Final

from controller.core.plan.alarm import Watched
from controller.core.plan.reach import Siren as SirenSettings
from controller.core.units import SECOND_MS, HouseMs
from controller.core.vocabulary import SoundSiren
from controller.edges.inbox import Inbox
from controller.edges.troubles import Troubles

GRACE_MS: Final = 15 * SECOND_MS
"""A sounding may end so much late: clocks of boards are coarse and reports take their time. [ms]"""


class SirenWatch:
    """Compares what the siren was told with what it reports. Any thread may call.

    All times are of one clock, the network's: house time goes on over a restart and would never meet it.

    Parameters
    ----------
    settings
        The siren's settings; None while there is no siren.
    inbox
        Where the trouble goes.
    """

    def __init__(self, settings: SirenSettings | None, inbox: Inbox) -> None:
        self._settings = settings
        self._inbox = inbox
        self._troubles = Troubles()
        self._lock = threading.Lock()
        self._confirm_by_ms: HouseMs | None = None
        self._wanted_on = False
        self._may_sound_until_ms: HouseMs = 0
        self._on: bool | None = None
        self._on_since_ms: HouseMs = 0
        self._troubled = False
        self._overlong = False

    def change(self, settings: SirenSettings | None) -> None:
        """Take new settings. Without a siren there is no trouble with it."""
        with self._lock:
            self._settings = settings
            if settings is None:
                self._confirm_by_ms = self._on = None
                if self._troubled:
                    self._tell(None)

    def told(self, sound: SoundSiren, now_ms: HouseMs) -> None:
        """Take note that the siren is being told to sound or to be silent."""
        with self._lock:
            if self._settings is None:
                return
            self._wanted_on = sound.run_at_most_ms > 0
            self._may_sound_until_ms = now_ms + sound.run_at_most_ms
            # Boards report when something changes; what it does already it need not say again.
            self._confirm_by_ms = None
            if self._on is not self._wanted_on:
                self._confirm_by_ms = now_ms + round(self._settings.confirm_s * SECOND_MS)

    def heard(self, *, on: bool, now_ms: HouseMs) -> None:
        """Take note of a report."""
        with self._lock:
            if on and not self._on:
                self._on_since_ms = now_ms
            self._on = on
            if self._confirm_by_ms is not None and on is self._wanted_on:
                self._confirm_by_ms = None
                self._tell(None)
            elif self._confirm_by_ms is None and not on:
                self._clear_if_overlong()

    def tick(self, now_ms: HouseMs) -> None:
        """Let the time go on: tell what has not been confirmed, and what sounds and should not."""
        with self._lock:
            if self._confirm_by_ms is not None and now_ms > self._confirm_by_ms:
                self._confirm_by_ms = None
                what = "that it sounds" if self._wanted_on else "that it is silent"
                self._tell(f"the siren does not report {what}")
            elif (
                self._on
                and not self._troubled
                and now_ms > max(self._may_sound_until_ms, self._on_since_ms) + GRACE_MS
            ):
                self._overlong = True
                self._tell("the siren sounds though nobody tells it to")

    def _clear_if_overlong(self) -> None:
        """End the trouble of a siren that sounded on its own; one that did not obey has yet to do so."""
        if self._overlong:
            self._tell(None)

    def _tell(self, text: str | None) -> None:
        if text is None:
            self._overlong = False
            self._troubles.end(Watched.SIREN)
        else:
            self._troubles.begin(Watched.SIREN, text)
        self._troubled = text is not None
        for trouble in self._troubles.take():
            self._inbox.put(trouble)
