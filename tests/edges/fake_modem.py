"""A modem on a pseudo-terminal that behaves as well, or as badly, as a test asks.

It speaks the commands of 3GPP TS 27.005 and 27.007 that matter here, written from the standards and from what
modems are known to do: echo, empty lines, words unasked in the middle of an answer, errors, silence, noise.
"""

from __future__ import annotations

import os
import pty
import select
import threading
import tty
from collections import deque
from dataclasses import dataclass, field
from pathlib import Path


def swap(digits: str) -> str:
    """Swap the digits of a number two by two, filled up with F."""
    digits += "F" * (len(digits) % 2)
    return "".join(digits[place + 1] + digits[place] for place in range(0, len(digits), 2))


def write_deliver(sender: str, text: str) -> str:
    """Write an SMS-DELIVER in UCS-2, the simplest coding there is: no packing that could hide our own mistakes."""
    digits = sender.removeprefix("+")
    body = text.encode("utf-16-be")
    return f"0004{len(digits):02X}91{swap(digits)}000862604151030080{len(body):02X}{body.hex().upper()}"


def write_report(reference: int, number: str, status: int, scts: str = "62604151030080") -> str:
    """Write an SMS-STATUS-REPORT."""
    digits = number.removeprefix("+")
    return f"0006{reference:02X}{len(digits):02X}91{swap(digits)}{scts}{scts}{status:02X}"


@dataclass
class Taken:
    """A message the modem took."""

    reference: int
    octets: str

    @property
    def number(self) -> str:
        """The number it goes to, read by its digits."""
        count = int(self.octets[6:8], 16)
        digits = swap(self.octets[10 : 10 + count + count % 2])
        return "+" + digits[:count]


@dataclass
class FakeModem:
    """The modem. Change its attributes while it runs; start it with `plug`."""

    home: Path
    silent: bool = False
    mute_after_prompt: bool = False
    unplug_at_prompt: bool = False
    send_errors: deque[str] = field(default_factory=deque)
    always_error: str = ""
    noise: bool = False
    interrupt: str = ""
    registration: int = 1
    signal: int = 20
    card: deque[str] = field(default_factory=lambda: deque(["READY"]))
    pin: str = ""
    store: dict[int, tuple[int, str]] = field(default_factory=dict)
    room: int = 20
    reference: int = 0
    echo: bool = True
    taken: list[Taken] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)
    restarts: int = 0
    plugs: int = 0

    def __post_init__(self) -> None:
        """Prepare; the modem is not plugged in yet."""
        self._master = self._slave = -1
        self._thread: threading.Thread | None = None
        self._out = threading.Event()
        self._write_lock = threading.Lock()

    @property
    def device(self) -> Path:
        """The path of its port, the same after each plugging, as udev would make it."""
        return self.home / "modem"

    def plug(self) -> None:
        """Plug it in; one that has pulled itself out has first let go of its old port."""
        if self._thread is not None:
            self._thread.join(5)
        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        self._out = threading.Event()
        self.device.unlink(missing_ok=True)
        self.device.symlink_to(os.ttyname(self._slave))
        self.plugs += 1
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def unplug(self) -> None:
        """Pull it out: the port vanishes and reading it fails."""
        self.device.unlink(missing_ok=True)
        self._out.set()
        if self._thread is not None and self._thread is not threading.current_thread():
            self._thread.join(5)
        with self._write_lock:
            for end in (self._master, self._slave):
                if end >= 0:
                    os.close(end)
            self._master = self._slave = -1

    def say(self, *lines: str) -> None:
        """Say lines, unasked or as an answer, each with an empty line before it as modems do."""
        self._write("".join(f"\r\n{line}\r\n" for line in lines).encode("latin-1"))

    def receive(self, index: int, sender: str, text: str) -> None:
        """Let a message come in from the network, and say so."""
        self.store[index] = (0, write_deliver(sender, text))
        self.say(f'+CMTI: "ME",{index}')

    def report(self, taken: Taken, status: int) -> None:
        """Let the network say what became of a message."""
        octets = write_report(taken.reference, taken.number, status)
        self.say(f"+CDS: {len(octets) // 2 - 1}", octets)

    # --- inside -----------------------------------------------------------------------------------------

    def _write(self, octets: bytes) -> None:
        with self._write_lock:
            if self._master >= 0:
                os.write(self._master, octets)

    def _run(self) -> None:
        held = b""
        out = self._out
        while not out.is_set():
            if not select.select([self._master], [], [], 0.01)[0]:
                continue
            try:
                held += os.read(self._master, 4096)
            except OSError:
                return
            held = held.replace(b"\x1b", b"")
            while b"\r" in held and not out.is_set():
                line, _, held = held.partition(b"\r")
                held = self._answer(line.decode("latin-1").strip(), held)

    def _answer(self, command: str, rest: bytes) -> bytes:
        """Answer one command; give what is left of the input."""
        self.asked.append(command)
        if self.silent:
            return rest
        if self.noise:
            self._write(b"\xff\xfe\x00GARBAGE+CM\r\n+CREG\r\n" + bytes(range(128, 200)) + b"\r\n")
        if self.echo and command != "ATE0":
            self._write(command.encode("latin-1") + b"\r\r\n")
        if command.startswith("AT+CMGS="):
            return self._take_message(rest)
        lines = self._find_lines(command)
        if self.interrupt and len(lines) > 1:
            lines = [lines[0], *self.interrupt.split("\n"), *lines[1:]]
        self.say(*lines)
        return rest

    def _find_lines(self, command: str) -> list[str]:
        if command == "ATE0":
            self.echo = False
        if command == "AT+CFUN=1,1":
            self.restarts += 1
        if command.startswith('AT+CPIN="'):
            return self._take_pin(command[9:-1])
        if command.startswith("AT+CMGD="):
            return ["OK"] if self.store.pop(int(command[8:]), None) else ["+CMS ERROR: 321"]
        match command:
            case "AT+CPIN?":
                state = self.card[0]
                if len(self.card) > 1:
                    self.card.popleft()
                return [state] if state.startswith("+CM") else [f"+CPIN: {state}", "OK"]
            case "AT+CREG?":
                return [f"+CREG: 0,{self.registration}", "OK"]
            case "AT+CSQ":
                return [f"+CSQ: {self.signal},99", "OK"]
            case "AT+CPMS?":
                store = f'"ME",{len(self.store)},{self.room}'
                return [f"+CPMS: {store},{store},{store}", "OK"]
            case "AT+CMGL=4":
                listed: list[str] = []
                for index, (state, octets) in sorted(self.store.items()):
                    listed += [f"+CMGL: {index},{state},,{len(octets) // 2 - 1}", octets]
                return [*listed, "OK"]
            case _:
                return ["OK"]

    def _take_pin(self, pin: str) -> list[str]:
        if pin == self.pin:
            self.card = deque(["READY"])
            return ["OK"]
        return ["+CME ERROR: 16"]

    def _take_message(self, rest: bytes) -> bytes:
        if self.unplug_at_prompt:
            self.unplug_at_prompt = False
            self._write(b"\r\n> ")
            threading.Thread(target=self.unplug, daemon=True).start()
            self._out.wait(5)
            return b""
        self._write(b"\r\n> ")
        while b"\x1a" not in rest:
            if self._out.is_set():
                return b""
            if select.select([self._master], [], [], 0.01)[0]:
                rest += os.read(self._master, 4096)
            if b"\x1b" in rest:
                return rest.partition(b"\x1b")[2]
        octets, _, rest = rest.partition(b"\x1a")
        if self.mute_after_prompt:
            return rest
        if self.interrupt:
            self.say(*self.interrupt.split("\n"))
        error = self.always_error or (self.send_errors.popleft() if self.send_errors else "")
        if error:
            self.say(error)
            return rest
        taken = Taken(self.reference, octets.decode("ascii"))
        self.reference = (self.reference + 1) % 256
        self.taken.append(taken)
        self.say(f"+CMGS: {taken.reference}", "OK")
        return rest
