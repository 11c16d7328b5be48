"""Brokers for tests: real ones, each a process of its own with a folder and a port of its own."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

from waiting import wait_until

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
MOSQUITTO_PASSWD = shutil.which("mosquitto_passwd")


def free_port() -> int:
    """Find a port that is free now; whoever takes it must be ready to try another."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def answers(port: int) -> bool:
    """Tell whether something listens on `port`."""
    with socket.socket() as probe:
        probe.settimeout(1.0)
        return probe.connect_ex(("127.0.0.1", port)) == 0


class BrokerProcess:
    """A broker program: started, killed and started again on the same port, ended by its process id."""

    def __init__(self, folder: Path, command: list[str], port: int) -> None:
        self.port = port
        self._command = command
        self._folder = folder
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it and wait until it listens."""
        with (self._folder / "broker.log").open("ab") as log:
            self._process = subprocess.Popen(self._command, cwd=self._folder, stdout=log, stderr=log)
        process = self._process

        def _listens() -> bool:
            assert process.poll() is None, (self._folder / "broker.log").read_text()
            return answers(self.port)

        wait_until(_listens, "the broker listens")

    def end(self, how: signal.Signals = signal.SIGTERM) -> None:
        """End it and wait until it has."""
        if self._process is not None:
            self._process.send_signal(signal.SIGCONT)
            self._process.send_signal(how)
            self._process.wait(10)
            self._process = None

    def freeze(self) -> None:
        """Stop it from answering, as a pulled cable would."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        """Let it go on."""
        assert self._process is not None
        self._process.send_signal(signal.SIGCONT)


def make_mosquitto(folder: Path, lines: Iterable[str] = (), *, anonymous: bool = True) -> BrokerProcess:
    """Write a mosquitto's configuration, with a listener on a free port of this machine alone."""
    assert MOSQUITTO is not None
    port = free_port()
    data = folder / "data"
    data.mkdir(parents=True)
    config = folder / "mosquitto.conf"
    settings = [
        # Started as root it would become another user and lose access to the test's folder.
        *(["user root"] if os.geteuid() == 0 else []),
        f"listener {port} 127.0.0.1",
        f"allow_anonymous {'true' if anonymous else 'false'}",
        *lines,
    ]
    config.write_text("\n".join(settings) + "\n")
    return BrokerProcess(folder, [MOSQUITTO, "-c", str(config)], port)


def make_amqtt(folder: Path, *, denied_topic: str) -> BrokerProcess:
    """Write the configuration of a broker that speaks MQTT 3.1.1 alone and denies one topic to readers."""
    port = free_port()
    folder.mkdir(parents=True, exist_ok=True)
    program = folder / "broker.py"
    program.write_text(
        f"""
import asyncio
from amqtt.broker import Broker
from amqtt.plugins.base import BaseTopicPlugin
from amqtt.contexts import Action

class Denying(BaseTopicPlugin):
    async def topic_filtering(self, *, session=None, topic=None, action=None):
        return not (action == Action.SUBSCRIBE and topic == {denied_topic!r})

async def main():
    broker = Broker({{
        "listeners": {{"default": {{"type": "tcp", "bind": "127.0.0.1:{port}"}}}},
        "plugins": {{
            "amqtt.plugins.authentication.AnonymousAuthPlugin": {{"allow_anonymous": True}},
            "__main__.Denying": {{}},
        }},
    }})
    await broker.start()
    await asyncio.Event().wait()

asyncio.run(main())
"""
    )
    return BrokerProcess(folder, [sys.executable, str(program)], port)
