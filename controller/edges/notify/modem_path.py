"""Whether the modem's path to people is open: link, network, signal, room in the store; told as one trouble."""

from __future__ import annotations

import threading
import time
from enum import Enum
from typing import Final

import structlog

from controller.core.plan.alarm import Watched
from controller.core.plan.reach import Modem as ModemSettings
from controller.edges.inbox import Inbox
from controller.edges.notify.modem_setup import Dead
from controller.edges.notify.modem_talk import Answer, Patience, Talk
from controller.edges.troubles import Troubles

FULL_SHARE: Final = 0.7
"""From here on the store counts as nearly full; a full one takes no answers."""

WEAK_SIGNAL: Final = 3
WEAK_LOOKS: Final = 3
"""Signal of -107 dBm or less (TS 27.007, section 8.5), seen so often in a row."""

_REGISTERED: Final = {1, 5, 6, 7}  # TS 27.007, section 7.2: home, roaming, and both for messages only
_SEARCHING: Final = {
    0: "it is not looking for a network",
    2: "it looks for a network",
    3: "the network refuses it",
}

_log = structlog.get_logger()


class Cause(Enum):
    """What can be wrong with the path, in the order it is told."""

    LINK = "link"
    NETWORK = "network"
    SIGNAL = "signal"
    SENDING = "sending"
    STORE = "store"


def insist(talk: Talk, answer: Answer) -> Answer:
    """Let an error pass; after silence call the modem back, or give it up.

    Raises
    ------
    Dead
        It stays silent.
    """
    if answer.silent and not talk.recover():
        raise Dead("it does not answer")
    return answer


class ModemPath:
    """What is wrong with the path. The modem's thread changes it; any thread may ask."""

    def __init__(self, settings: ModemSettings, inbox: Inbox, patience: Patience) -> None:
        self._settings = settings
        self._inbox = inbox
        self._patience = patience
        self._troubles = Troubles()
        self._causes: dict[Cause, str] = {}
        self._unregistered_s: float | None = None
        self._weak_looks = 0
        self._lock = threading.Lock()
        self.check_s = 0.0
        """When it is to be looked at again, monotonic. [s]"""

    def why_closed(self) -> str:
        """Say why no message can go out now; empty if one can."""
        with self._lock:
            return self._causes.get(Cause.LINK) or self._causes.get(Cause.NETWORK, "")

    def begin(self, cause: Cause, text: str) -> None:
        """Tell that something is wrong; the same words twice are told once."""
        with self._lock:
            if self._causes.get(cause) == text:
                return
            self._causes[cause] = text
        _log.warning("modem in trouble", cause=cause.value, why=text)
        self._tell()

    def end(self, cause: Cause) -> None:
        """Tell that it is in order again."""
        with self._lock:
            self._causes.pop(cause, None)
        self._tell()

    def check(self, talk: Talk) -> None:
        """See that there is a network, a signal, and room for answers."""
        self._check_network(talk)
        self._check_signal(talk)
        used, room = _ask_numbers(talk, "AT+CPMS?", "+CPMS:", 1, 2)
        if used is not None and room and used / room > FULL_SHARE:
            self.begin(Cause.STORE, f"its store is nearly full ({used} of {room}); answers may not come in")
        else:
            self.end(Cause.STORE)

    def _check_network(self, talk: Talk) -> None:
        now_s = time.monotonic()
        _, state = _ask_numbers(talk, "AT+CREG?", "+CREG:", 0, 1)
        if state in _REGISTERED:
            self._unregistered_s = None
            self.check_s = now_s + self._settings.check_s
            self.end(Cause.NETWORK)
            return
        if self._unregistered_s is None:
            self._unregistered_s = now_s
        self.check_s = now_s + min(self._patience.recheck_s, self._settings.check_s)
        if now_s - self._unregistered_s >= self._patience.network_s:
            why = "there is no network" if state is None else _SEARCHING.get(state, "there is no network")
            self.begin(Cause.NETWORK, why)

    def _check_signal(self, talk: Talk) -> None:
        signal, _ = _ask_numbers(talk, "AT+CSQ", "+CSQ:", 0, 1)
        weak = signal is not None and signal <= WEAK_SIGNAL
        self._weak_looks = self._weak_looks + 1 if weak else 0
        if weak and signal is not None and self._weak_looks >= WEAK_LOOKS:
            self.begin(Cause.SIGNAL, f"its signal is very weak ({2 * signal - 113} dBm)")
        elif not weak:
            self.end(Cause.SIGNAL)

    def _tell(self) -> None:
        with self._lock:
            text = "; ".join(self._causes[cause] for cause in Cause if cause in self._causes)
            if text:
                self._troubles.begin(Watched.MODEM, f"modem: {text}")
            else:
                self._troubles.end(Watched.MODEM)
            for trouble in self._troubles.take():
                self._inbox.put(trouble)


def _ask_numbers(
    talk: Talk, command: str, prefix: str, first: int, second: int
) -> tuple[int | None, int | None]:
    """Ask for two numbers of an answer's line, by their places; None for what is no number."""
    answer = insist(talk, talk.ask(command, prefix))
    fields = answer.lines[0].removeprefix(prefix).split(",") if answer.lines else []
    return read_field(fields, first), read_field(fields, second)


def read_field(fields: list[str], place: int) -> int | None:
    """Read a whole number in its place among an answer's fields; None if there is none."""
    text = fields[place].strip().strip('"') if place < len(fields) else ""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= 9 else None
