"""Telling systemd that the deciding loop lives (sd_notify(3)): one datagram to the socket it names.

The beat comes from the loop itself and only while what it hangs on lives, never from a thread of its own: a
free-running thread would go on beating over a dead heart.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable
from typing import Final

import structlog

log = structlog.get_logger("duskbell.watchdog")

BEAT_SHARE: Final = 0.4
"""A beat is sent this share of the allowed time after the last, as sd_watchdog_enabled(3) advises half."""

SEND_S: Final = 0.5
"""Longest wait for systemd to take a datagram; the loop has better things to do. [s]"""

STATUS_CHARACTERS_MAX: Final = 200


class Watchdog:
    """The line to systemd; without one it does nothing.

    Parameters
    ----------
    read_steady_s
        A clock that never goes back. [s]
    """

    def __init__(self, *, read_steady_s: Callable[[], float] = time.monotonic) -> None:
        self._read_steady_s = read_steady_s
        self._address = os.environ.get("NOTIFY_SOCKET", "")
        allowed_us = os.environ.get("WATCHDOG_USEC", "")
        meant_for = os.environ.get("WATCHDOG_PID", "")
        mine = not meant_for or meant_for == str(os.getpid())
        self._every_s = int(allowed_us) / 1e6 * BEAT_SHARE if allowed_us.isdigit() and mine else None
        self._last_s = float("-inf")

    def ready(self) -> None:
        """Say that the daemon is up."""
        self._tell("READY=1")

    def stopping(self) -> None:
        """Say that it is about to end."""
        self._tell("STOPPING=1")

    def status(self, text: str) -> None:
        """Say in a line how things are, for whoever asks systemd."""
        self._tell("STATUS=" + " ".join(text.split())[:STATUS_CHARACTERS_MAX])

    def beat(self, alive: bool) -> None:  # noqa: FBT001 - "alive" is the fact
        """Say that the loop lives, when it is time to and if it does."""
        now = self._read_steady_s()
        if not alive or self._every_s is None or now - self._last_s < self._every_s:
            return
        self._last_s = now
        self._tell("WATCHDOG=1")

    def _tell(self, words: str) -> None:
        """Send one datagram; a systemd that does not listen is no reason to end."""
        if not self._address:
            return
        address = "\0" + self._address[1:] if self._address.startswith("@") else self._address
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
                line.settimeout(SEND_S)
                line.sendto(words.encode("utf-8", "replace"), address)
        except OSError as error:
            log.warning("systemd does not hear", words=words, why=str(error))
