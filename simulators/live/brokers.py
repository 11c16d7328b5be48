"""A broker for a demonstration: mosquitto if the machine has it, else one from the Python registry."""

from __future__ import annotations

import asyncio
import logging
import shutil
import socket
import subprocess
import threading
import time
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

LOOPBACK: Final = "127.0.0.1"
READY_WITHIN_S: Final = 10.0
TRIES: Final = 3
"""A free port may be taken by another before the broker has it; then another one is tried."""


class CannotShow(Exception):  # noqa: N818 - named by what happened
    """The demonstration cannot be given; the text says what is missing."""


def free_port() -> int:
    """Ask the system for a port that nobody uses on loopback."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        return int(probe.getsockname()[1])


class DemoBroker:
    """A broker on loopback, for as long as the `with` lasts.

    `kind` says which it is, `modern` whether it speaks MQTT 5.
    """

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.kind = ""
        self.modern = True
        self._folder = folder
        self._log = folder / "mosquitto.log"
        self._process: subprocess.Popen[bytes] | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._broker: Any = None

    def __enter__(self) -> Self:
        program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
        if program is None:
            self._start_embedded()
            self._wait()
            return self
        for left in reversed(range(TRIES)):
            self._start_mosquitto(program)
            try:
                self._wait()
            except CannotShow:
                self._end_mosquitto()
                if not left:
                    raise
                self.port = free_port()
            else:
                break
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._end_mosquitto()
        if self._loop is not None and self._broker is not None:
            asyncio.run_coroutine_threadsafe(self._broker.shutdown(), self._loop).result(timeout=10)
            self._loop.call_soon_threadsafe(self._loop.stop)

    def _start_mosquitto(self, program: str) -> None:
        """Run mosquitto with a file of its own; it drops to its own account when started by root."""
        self.kind = "mosquitto"
        settings = self._folder / "mosquitto.conf"
        settings.write_text(
            f"listener {self.port} {LOOPBACK}\nallow_anonymous true\npersistence false\n", encoding="utf-8"
        )
        with self._log.open("wb") as log:
            self._process = subprocess.Popen([program, "-c", str(settings)], stdout=log, stderr=log)  # noqa: S603 - our own arguments

    def _end_mosquitto(self) -> None:
        """End mosquitto if it runs."""
        if self._process is not None:
            self._process.terminate()
            self._process.wait(timeout=10)
            self._process = None

    def _start_embedded(self) -> None:
        """Run amqtt on a thread of its own. It speaks MQTT 3.1.1 only."""
        try:
            from amqtt.broker import Broker  # noqa: PLC0415 - only where no mosquitto is
        except ImportError as error:
            raise CannotShow(
                "no broker: sudo apt install mosquitto (or .venv/bin/pip install amqtt)"
            ) from error
        self.kind = "amqtt (embedded)"
        self.modern = False
        for name in ("amqtt", "transitions"):
            logging.getLogger(name).setLevel(logging.CRITICAL)
        settings = {
            "listeners": {"default": {"type": "tcp", "bind": f"{LOOPBACK}:{self.port}"}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        }
        self._loop = loop = asyncio.new_event_loop()
        ready = threading.Event()

        async def open_doors() -> Any:  # noqa: ANN401 - the library has no types
            broker = Broker(settings)
            await broker.start()
            return broker

        def live() -> None:
            asyncio.set_event_loop(loop)
            self._broker = loop.run_until_complete(open_doors())
            ready.set()
            loop.run_forever()

        threading.Thread(target=live, name="broker", daemon=True).start()
        if not ready.wait(READY_WITHIN_S):
            raise CannotShow("the embedded broker did not start")

    def _wait(self) -> None:
        """Wait until the broker takes connections."""
        until = time.monotonic() + READY_WITHIN_S
        while time.monotonic() < until:
            if self._process is not None and self._process.poll() is not None:
                raise CannotShow(f"{self.kind} ended at once: {self._quote()}")
            try:
                with socket.create_connection((LOOPBACK, self.port), timeout=0.5):
                    return
            except OSError:
                time.sleep(0.02)
        said = f": {self._quote()}" if self._process is not None else ""
        raise CannotShow(f"{self.kind} did not take connections within {READY_WITHIN_S:.0f} s{said}")

    def _quote(self) -> str:
        """Return the last thing that mosquitto has written of itself."""
        lines = self._log.read_text(encoding="utf-8", errors="replace").split("\n")
        return next((line.strip() for line in reversed(lines) if line.strip()), "it said nothing")
