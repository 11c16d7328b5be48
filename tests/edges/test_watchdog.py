"""The watchdog's line: systemd hears exactly what the loop says, and only while the loop lives."""

from __future__ import annotations

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from controller.edges.watchdog import Watchdog


class Steady:
    """A steady clock set by hand. [s]."""

    now_s = 1_000.0

    def read_s(self) -> float:
        """Read the clock [s]."""
        return self.now_s


@pytest.fixture
def systemd(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[socket.socket]:
    """Listen at a socket as systemd does, and name it to the daemon."""
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    monkeypatch.delenv("WATCHDOG_USEC", raising=False)
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(tmp_path / "notify"))
        listener.setblocking(False)
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        yield listener


def heard(listener: socket.socket) -> list[bytes]:
    """Take everything that has been said so far."""
    words = []
    try:
        while True:
            words.append(listener.recv(1_000))
    except BlockingIOError:
        return words


def test_the_words_are_those_of_the_protocol(systemd: socket.socket) -> None:
    """Ready, status and stopping are one datagram each, as sd_notify(3) spells them."""
    watchdog = Watchdog()
    watchdog.ready()
    watchdog.status("2 alarms\nSTOPPING=1")
    watchdog.stopping()

    assert heard(systemd) == [b"READY=1", b"STATUS=2 alarms STOPPING=1", b"STOPPING=1"]


def test_a_beat_comes_before_half_the_time_and_not_more_often(
    systemd: socket.socket, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With 30 s allowed a beat is sent at once and every 12 s, for sd_watchdog_enabled(3) asks for half."""
    monkeypatch.setenv("WATCHDOG_USEC", "30000000")
    steady = Steady()
    watchdog = Watchdog(read_steady_s=steady.read_s)
    sent = []
    for second in range(37):
        steady.now_s = 1_000.0 + second
        watchdog.beat(True)
        sent += [second for _ in heard(systemd)]

    assert sent == [0, 12, 24, 36]


def test_a_dead_heart_does_not_beat(systemd: socket.socket, monkeypatch: pytest.MonkeyPatch) -> None:
    """While something the loop hangs on is dead no beat is sent; it comes at once when all live again."""
    monkeypatch.setenv("WATCHDOG_USEC", "30000000")
    steady = Steady()
    watchdog = Watchdog(read_steady_s=steady.read_s)
    for second in range(100):
        steady.now_s = 1_000.0 + second
        watchdog.beat(False)
    assert heard(systemd) == []

    watchdog.beat(True)
    assert heard(systemd) == [b"WATCHDOG=1"]


@pytest.mark.parametrize(
    ("usec", "pid", "beats"),
    [
        (None, None, 0),
        ("30000000", None, 1),
        ("30000000", str(os.getpid()), 1),
        ("30000000", "1", 0),
        ("soon", None, 0),
    ],
)
def test_a_beat_is_sent_only_where_it_is_asked_for(
    systemd: socket.socket, monkeypatch: pytest.MonkeyPatch, usec: str | None, pid: str | None, beats: int
) -> None:
    """Without a time, or with one meant for another process, there is no beat."""
    if usec is not None:
        monkeypatch.setenv("WATCHDOG_USEC", usec)
    if pid is not None:
        monkeypatch.setenv("WATCHDOG_PID", pid)
    Watchdog().beat(True)

    assert len(heard(systemd)) == beats


def test_an_abstract_socket_is_reached(monkeypatch: pytest.MonkeyPatch) -> None:
    """A leading @ names a socket outside the file system (sd_notify(3))."""
    name = f"duskbell-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(f"\0{name}")
        listener.setblocking(False)
        monkeypatch.setenv("NOTIFY_SOCKET", f"@{name}")
        Watchdog().ready()

        assert heard(listener) == [b"READY=1"]


def test_a_systemd_that_does_not_listen_harms_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No socket, or one at which nobody listens, is no error."""
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "absent"))
    Watchdog().ready()
    monkeypatch.delenv("NOTIFY_SOCKET")
    Watchdog().ready()


def test_a_systemd_that_does_not_read_holds_the_loop_only_shortly(systemd: socket.socket) -> None:
    """When the socket's queue is full, the words are given up within their time, each."""
    watchdog = Watchdog()
    for _ in range(3):
        systemd.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1)
    limit = int(Path("/proc/sys/net/unix/max_dgram_qlen").read_text())
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as other:
        other.setblocking(False)
        try:
            for _ in range(limit + 2):
                other.sendto(b"x" * 100, systemd.getsockname())
        except BlockingIOError:
            pass
        else:
            pytest.skip("this kernel's queue cannot be filled")
        watchdog.ready()  # would wait for ever

    assert b"READY=1" not in heard(systemd)
