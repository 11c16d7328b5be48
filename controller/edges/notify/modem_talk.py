"""The dialogue with a modem: one command, its lines, its end; and what the modem says unasked in between.

3GPP TS 27.007 and TS 27.005. Everything is read line by line, since a word about a message that came in may
fall into the middle of an answer. Every wait has an end; after one that was in vain the modem is called back
to its senses with an escape before anything else is said to it.
"""

from __future__ import annotations

import re
import time
from collections import deque
from dataclasses import dataclass
from enum import Enum
from typing import Final, Protocol

LINE_BYTES_MAX: Final = 1_000
"""A longer line is garbage; the longest message has 352 digits."""

LINES_MAX: Final = 600
"""Lines of one answer: a full store of a large modem."""

UNASKED_MAX: Final = 200
"""Words of the modem that wait to be looked at; older ones go, for the store is looked at in any case."""

PROBES: Final = 3
"""How often a silent modem is asked whether it lives."""

_ESCAPE, _END_OF_TEXT = b"\x1b", b"\x1a"
_HEX: Final = re.compile(r"(?:[0-9A-Fa-f]{2})+")
_ERROR: Final = re.compile(r"\+(CM[SE]) ERROR: *(\d+)")
_UNASKED: Final = ("+CMTI:", "+CDSI:", "+CDS:")
_REGISTRATION: Final = "+CREG:"


@dataclass(frozen=True, slots=True)
class Patience:
    """How long things may take. [s] The sum of the waits for a dead modem stays below a minute."""

    read_s: float = 0.1  # of one look at the port
    answer_s: float = 5.0
    prompt_s: float = 5.0
    send_s: float = 30.0  # the network has its own troubles
    probe_s: float = 2.0
    quiet_s: float = 0.3  # a line that has been still for so long has nothing more to say
    drain_s: float = 2.0
    card_s: float = 2.0  # a card that has just been powered
    retries_s: tuple[float, ...] = (5.0, 15.0)
    reopen_s: float = 5.0
    restart_s: float = 12.0
    recheck_s: float = 5.0  # while there is no network
    network_s: float = 15.0  # a phone may lose and find a cell
    longest_send_s: float = 70.0


class Port(Protocol):
    """A serial port, as pyserial has it. It may raise OSError whenever it likes."""

    @property
    def in_waiting(self) -> int:
        """Bytes that can be read without waiting."""
        ...

    def read(self, size: int = ..., /) -> bytes:
        """Read up to so many bytes, waiting a short time for the first."""
        ...

    def write(self, data: bytes, /) -> int | None:
        """Write."""
        ...

    def close(self) -> None:
        """Close."""
        ...


class Family(Enum):
    """Whose error numbers: those of the equipment or those of the message service."""

    EQUIPMENT = "CME"
    MESSAGES = "CMS"


@dataclass(frozen=True, slots=True)
class Answer:
    """What a command came to. `silent` when no end came in time; `handed_over` when a message had been given."""

    ok: bool
    lines: tuple[str, ...] = ()
    family: Family | None = None
    number: int | None = None
    silent: bool = False
    handed_over: bool = False

    @property
    def text(self) -> str:
        """Say it in words."""
        if self.ok:
            return "OK"
        if self.silent:
            return "no answer"
        return "ERROR" if self.family is None else f"{self.family.value} error {self.number}"


@dataclass(frozen=True, slots=True)
class Unasked:
    """What the modem says of itself. `pdu` are the octets that follow a status report."""

    kind: str
    rest: str
    pdu: str = ""


class Lines:
    """Cuts what comes in into lines. No waiting, no port."""

    def __init__(self) -> None:
        self._held = bytearray()

    def feed(self, octets: bytes) -> list[str]:
        """Take octets in; give the lines that are complete, without empty ones."""
        self._held += octets
        *whole, rest = re.split(rb"[\r\n]", bytes(self._held))
        self._held = bytearray(rest[-LINE_BYTES_MAX:])
        return [
            line.decode("latin-1").removeprefix("> ").strip()
            for line in whole
            if line.strip() and len(line) <= LINE_BYTES_MAX
        ]

    def take_prompt(self) -> bool:
        """Tell whether the line under way is the prompt for a message, and take it off."""
        if bytes(self._held).strip() != b">":
            return False
        self._held.clear()
        return True

    def clear(self) -> None:
        """Forget the line under way."""
        self._held.clear()


class Talk:
    """A dialogue over one port; one thread only.

    Raises
    ------
    OSError
        From every method: the port is gone (pyserial's errors are OSErrors too).
    """

    def __init__(self, port: Port, patience: Patience) -> None:
        self._port = port
        self._patience = patience
        self._lines = Lines()
        self._ready: deque[str] = deque(maxlen=LINES_MAX)
        self._report_due = ""
        self._unasked: deque[Unasked] = deque(maxlen=UNASKED_MAX)

    def ask(self, command: str, prefix: str = "", *, timeout_s: float | None = None) -> Answer:
        """Say a command and wait for its end; keep the lines that begin with `prefix`, and octets after them."""
        self._set_aside()
        self._port.write(f"{command}\r".encode("ascii"))
        return self._hear_end(prefix, self._patience.answer_s if timeout_s is None else timeout_s)

    def submit(self, length: int, octets: str) -> Answer:
        """Hand over one message. The answer's line holds the reference."""
        self._set_aside()
        self._lines.clear()
        self._port.write(f"AT+CMGS={length}\r".encode("ascii"))
        refusal = self._hear_prompt()
        if refusal is not None:
            return refusal
        self._port.write(octets.encode("ascii") + _END_OF_TEXT)
        answer = self._hear_end("+CMGS:", self._patience.send_s)
        return Answer(answer.ok, answer.lines, answer.family, answer.number, answer.silent, handed_over=True)

    def listen(self, within_s: float) -> bool:
        """Take in what the modem says of itself for so long at most; whether it said anything."""
        deadline = time.monotonic() + within_s
        while not self._unasked:
            line = self._next_line(deadline)
            if line is None:
                break
            self._take_unasked(line, "")
        return bool(self._unasked)

    def take_unasked(self) -> Unasked | None:
        """Take the oldest word said unasked."""
        return self._unasked.popleft() if self._unasked else None

    def recover(self) -> bool:
        """End whatever the modem thinks it is doing, and ask whether it lives."""
        self._port.write(_ESCAPE)
        self._drain()
        for _ in range(PROBES):
            if self.ask("AT", timeout_s=self._patience.probe_s).ok:
                # A late end of an earlier command may have come first; ours must not be taken for the next one's.
                self._drain()
                return True
        return False

    # --- hearing ----------------------------------------------------------------------------------------

    def _hear_end(self, prefix: str, timeout_s: float) -> Answer:
        deadline = time.monotonic() + timeout_s
        kept: list[str] = []
        after_header = False
        while (line := self._next_line(deadline)) is not None:
            if self._take_unasked(line, prefix):
                continue
            end = _read_end(line)
            if end is not None:
                return Answer(end.ok, tuple(kept), end.family, end.number)
            if prefix and line.startswith(prefix):
                after_header = True
            elif not (after_header and _HEX.fullmatch(line)):
                continue  # an echo, a call that comes in, noise
            if len(kept) < LINES_MAX:
                kept.append(line)
        return Answer(ok=False, lines=tuple(kept), silent=True)

    def _hear_prompt(self) -> Answer | None:
        """Wait for the prompt; None when it has come."""
        deadline = time.monotonic() + self._patience.prompt_s
        while True:
            while self._ready:
                line = self._ready.popleft()
                if not self._take_unasked(line, "") and (end := _read_end(line)) is not None and not end.ok:
                    return end
            if self._lines.take_prompt():
                return None
            if time.monotonic() >= deadline:
                return Answer(ok=False, silent=True)
            self._read()

    def _next_line(self, deadline: float) -> str | None:
        """Give the next line, or None when there is none until the deadline."""
        while not self._ready:
            if time.monotonic() >= deadline:
                return None
            self._read()
        return self._ready.popleft()

    def _read(self) -> bool:
        """Look at the port once; whether anything came."""
        octets = self._port.read(max(1, self._port.in_waiting))
        self._ready.extend(self._lines.feed(octets))
        return bool(octets)

    def _set_aside(self) -> None:
        """Take in what was said unasked before a command; a late answer to an earlier one is dropped."""
        while self._ready:
            self._take_unasked(self._ready.popleft(), "")

    def _drain(self) -> None:
        """Read until the line is still; a modem that never is has to be asked over its own noise."""
        now = time.monotonic()
        end, still_since = now + self._patience.drain_s, now
        while (now := time.monotonic()) < end and now - still_since < self._patience.quiet_s:
            if self._read():
                still_since = time.monotonic()
            self._set_aside()
        self._lines.clear()

    def _take_unasked(self, line: str, prefix: str) -> bool:
        """Put aside what the modem says of itself; whether this line was that."""
        if self._report_due:
            kind, self._report_due = self._report_due, ""
            if _HEX.fullmatch(line):
                self._unasked.append(Unasked("+CDS:", kind, line))
                return True
        for kind in _UNASKED:
            if line.startswith(kind):
                rest = line.removeprefix(kind).strip()
                if kind == "+CDS:":
                    self._report_due = rest or "0"
                else:
                    self._unasked.append(Unasked(kind, rest))
                return True
        # Asked for, the registration has two numbers; unasked it has one.
        if line.startswith(_REGISTRATION) and (prefix != _REGISTRATION or "," not in line):
            self._unasked.append(Unasked(_REGISTRATION, line.removeprefix(_REGISTRATION).strip()))
            return True
        return False


def _read_end(line: str) -> Answer | None:
    """Read the end of an answer; None if it is none."""
    if line == "OK":
        return Answer(ok=True)
    if line in {"ERROR", "COMMAND NOT SUPPORT", "NO CARRIER"}:
        return Answer(ok=False)
    error = _ERROR.fullmatch(line)
    if error is None:
        return None
    return Answer(ok=False, family=Family(error[1]), number=int(error[2]))
