"""A modem on a pseudo-terminal with a network behind it that carries every message, for demonstrations and tests.

It speaks what a daemon asks of a modem in PDU mode (3GPP TS 27.005 and 27.007), keeps the texts it was given,
reports each as delivered, and can let one come in.
"""

from __future__ import annotations

import os
import pty
import select
import threading
import tty
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from controller.edges.notify.gsm_alphabet import from_septets
from controller.edges.notify.pdu import unpack_septets

CTRL_Z: Final = b"\x1a"
ESCAPE: Final = b"\x1b"
POLL_S: Final = 0.02
ROOM: Final = 20
"""Messages that the card holds."""

SENT_AT: Final = "62604151030080"
"""Any time stamp: nobody reads it."""

HEADER: Final = 0x40
"""Bit of the first octet that says that the text has a header (TS 23.040, section 9.2.3.23)."""


@dataclass(frozen=True, slots=True)
class Text:
    """A text message as the network took it."""

    to: str
    text: str


class Airtime:
    """The modem and its network, for as long as the `with` lasts. `device` is the path of its port."""

    def __init__(self, folder: Path, on_text: Callable[[Text], None] | None = None) -> None:
        self.device = folder / "modem"
        self._on_text = on_text
        self._texts: list[Text] = []
        self._store: dict[int, str] = {}
        self._reference = 0
        self._lock = threading.Lock()
        self._over = threading.Event()

    def __enter__(self) -> Self:
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self.device.unlink(missing_ok=True)
        self.device.symlink_to(os.ttyname(self._slave))
        self._thread = threading.Thread(target=self._run, name="airtime", daemon=True)
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join(5)
        self.device.unlink(missing_ok=True)
        os.close(self._master)
        os.close(self._slave)

    @property
    def texts(self) -> tuple[Text, ...]:
        """What has been sent so far."""
        with self._lock:
            return tuple(self._texts)

    def receive(self, sender: str, text: str) -> None:
        """Let a text message come in from a number."""
        body, digits = text.encode("utf-16-be"), sender.removeprefix("+")
        octets = f"0004{len(digits):02X}91{_swap(digits)}0008{SENT_AT}{len(body):02X}{body.hex().upper()}"
        with self._lock:
            index = next(place for place in range(ROOM) if place not in self._store)
            self._store[index] = octets
        self._say(f'+CMTI: "ME",{index}')

    # --- inside -----------------------------------------------------------------------------------------

    def _say(self, *lines: str) -> None:
        os.write(self._master, "".join(f"\r\n{line}\r\n" for line in lines).encode("ascii"))

    def _run(self) -> None:
        held = b""
        while not self._over.is_set():
            if not select.select([self._master], [], [], POLL_S)[0]:
                continue
            held = (held + os.read(self._master, 4096)).replace(ESCAPE, b"")
            while b"\r" in held:
                line, _, held = held.partition(b"\r")
                held = self._answer(line.decode("ascii", "replace").strip(), held)

    def _answer(self, command: str, rest: bytes) -> bytes:
        """Answer one command; give back what is left of the input."""
        if command.startswith("AT+CMGS="):
            return self._take(rest)
        with self._lock:
            lines = self._find_lines(command)
        self._say(*lines)
        return rest

    def _find_lines(self, command: str) -> list[str]:
        if command.startswith("AT+CMGD="):
            self._store.pop(int(command.removeprefix("AT+CMGD=").partition(",")[0]), None)
            return ["OK"]
        match command:
            case "AT+CPIN?":
                return ["+CPIN: READY", "OK"]
            case "AT+CREG?":
                return ["+CREG: 0,1", "OK"]
            case "AT+CSQ":
                return ["+CSQ: 20,99", "OK"]
            case "AT+CPMS?":
                return ["+CPMS: " + ",".join([f'"ME",{len(self._store)},{ROOM}'] * 3), "OK"]
            case "AT+CMGL=4":
                listed = []
                for index, octets in sorted(self._store.items()):
                    listed += [f"+CMGL: {index},0,,{len(octets) // 2 - 1}", octets]
                return [*listed, "OK"]
            case _:
                return ["OK"]

    def _take(self, rest: bytes) -> bytes:
        """Take one message, say its reference, and report it as delivered."""
        os.write(self._master, b"\r\n> ")
        while CTRL_Z not in rest and not self._over.is_set():
            if select.select([self._master], [], [], POLL_S)[0]:
                rest += os.read(self._master, 4096)
            if ESCAPE in rest:
                return rest.partition(ESCAPE)[2]
        octets, _, rest = rest.partition(CTRL_Z)
        text, wants_report = read_submit(bytes.fromhex(octets.decode("ascii").strip()))
        with self._lock:
            self._texts.append(text)
            reference, self._reference = self._reference, (self._reference + 1) % 256
        self._say(f"+CMGS: {reference}", "OK")
        if wants_report:
            digits = text.to.removeprefix("+")
            report = f"0006{reference:02X}{len(digits):02X}91{_swap(digits)}{SENT_AT}{SENT_AT}00"
            self._say(f"+CDS: {len(report) // 2 - 1}", report)
        if self._on_text is not None:
            self._on_text(text)
        return rest


def read_submit(octets: bytes) -> tuple[Text, bool]:
    """Read an SMS-SUBMIT in the 7-bit alphabet, and whether a report is wanted (TS 23.040, section 9.2.2.2)."""
    at = 1 + octets[0]
    first, count, kind = octets[at], octets[at + 2], octets[at + 3]
    at += 4
    number = "".join(f"{octet & 0xF:x}{octet >> 4:x}" for octet in octets[at : at + (count + 1) // 2])[:count]
    at += (count + 1) // 2 + 3  # the number, then protocol, coding and validity
    length, body = octets[at], octets[at + 1 :]
    skip = 1 + body[0] if first & HEADER else 0
    fill_bits = -skip * 8 % 7
    septets = unpack_septets(body[skip:], length - (skip * 8 + fill_bits) // 7, fill_bits=fill_bits)
    return Text(("+" if kind & 0x70 == 0x10 else "") + number, from_septets(septets)), bool(first & 0x20)


def _swap(digits: str) -> str:
    digits += "F" * (len(digits) % 2)
    return "".join(digits[place + 1] + digits[place] for place in range(0, len(digits), 2))
