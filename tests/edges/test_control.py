"""The control socket: every line gets an answer, nobody else may ask, and no client can hold it up."""

from __future__ import annotations

import json
import os
import pwd
import socket
import stat
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.edges import control
from controller.edges.control import CLIENTS_MAX, REQUEST_BYTES_MAX, ControlServer, NotRunning, ask

Request = dict[str, object]


def echo(request: Request) -> Request:
    """Answer with what was asked."""
    return {"ok": True, "asked": request}


@contextmanager
def serving(path: Path, handle: Callable[[Request], Request] = echo) -> Iterator[Path]:
    """Run a server."""
    server = ControlServer(path, handle)
    server.start()
    try:
        yield path
    finally:
        server.stop()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Name the socket."""
    return tmp_path / "duskbell.sock"


US = pwd.getpwuid(os.getuid()).pw_name


def raw(path: Path, sent: bytes) -> bytes:
    """Send bytes as they are and read one line."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(5)
        line.connect(str(path))
        line.sendall(sent)
        with line.makefile("rb") as replies:
            return replies.readline()


def test_a_request_is_answered(path: Path) -> None:
    """What is asked reaches the daemon, and its answer comes back, text in any script included."""
    with serving(path):
        assert ask(path, {"do": "hold", "who": "Jürgen"}, 5) == {
            "ok": True,
            "asked": {"do": "hold", "who": "Jürgen", "account": US},
        }


def test_the_account_is_the_one_the_system_knows(path: Path) -> None:
    """Who somebody says to be does not count; the system tells whose process is at the other end (unix(7))."""
    with serving(path):
        asked = ask(path, {"do": "hold", "account": "somebody else"}, 5)["asked"]

    assert asked == {"do": "hold", "account": US}


def test_a_client_may_ask_again(path: Path) -> None:
    """Several requests on one connection are answered in order."""
    with serving(path), socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(5)
        line.connect(str(path))
        with line.makefile("rb") as replies:
            for number in range(3):
                line.sendall(b'{"n": %d}\n' % number)
                assert json.loads(replies.readline())["asked"] == {"n": number, "account": US}


def test_only_our_own_account_may_ask(path: Path) -> None:
    """The socket can be opened by its owner alone, and is gone after the end."""
    with serving(path):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        assert stat.S_ISSOCK(path.stat().st_mode)
    assert not path.exists()


def test_a_socket_left_over_from_a_crash_is_replaced(path: Path) -> None:
    """A dead socket in the way does not keep the daemon from being reached."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as left:
        left.bind(str(path))

    with serving(path):
        assert ask(path, {}, 5)["ok"] is True


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (b"\n", "one JSON object on one line"),
        (b"status\n", "one JSON object on one line"),
        (b"[1]\n", "a JSON object"),
        (b'"status"\n', "a JSON object"),
        (b"\xff\xfe\n", "one JSON object on one line"),
        (b"[" * 10_000 + b"\n", "one JSON object on one line"),
        (b'{"a": "' + b"x" * REQUEST_BYTES_MAX + b'"}\n', f"at most {REQUEST_BYTES_MAX} bytes"),
    ],
)
def test_what_is_no_request_is_told_so(path: Path, sent: bytes, said: str) -> None:
    """Nonsense gets an answer that says what is wrong, and the next client is served."""
    with serving(path):
        reply = json.loads(raw(path, sent))
        assert reply["ok"] is False
        assert said in reply["text"]
        assert ask(path, {}, 5)["ok"] is True


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(sent=st.binary(max_size=200).map(lambda some: some.replace(b"\n", b" ")))
def test_any_line_gets_one_answer(shared: Path, sent: bytes) -> None:
    """Whatever bytes stand on a line, exactly one JSON object comes back."""
    assert json.loads(raw(shared, sent + b"\n"))["ok"] in (True, False)


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Run one server for many questions."""
    with serving(tmp_path_factory.mktemp("control") / "duskbell.sock") as path:
        yield path


@pytest.mark.parametrize("answer", ["raises", "is no JSON"])
def test_a_mistake_in_an_answer_is_not_felt(path: Path, answer: str) -> None:
    """A handler that fails costs its client an apology; the server goes on."""

    def handle(request: Request) -> Request:
        if "do" in request:
            return {"ok": True}
        if answer == "raises":
            raise AssertionError("impossible")
        return {"ok": object()}

    with serving(path, handle):
        reply = ask(path, {}, 5)
        assert reply["ok"] is False
        assert "could not answer" in str(reply["text"])
        assert ask(path, {"do": "status"}, 5) == {"ok": True}


def test_one_client_too_many_is_sent_away(path: Path) -> None:
    """While as many as may talk do, the next is told so; when one leaves there is room again."""
    with serving(path), ExitStack() as talking:
        lines = []
        for _ in range(CLIENTS_MAX):
            line = talking.enter_context(socket.socket(socket.AF_UNIX, socket.SOCK_STREAM))
            line.settimeout(5)
            line.connect(str(path))
            line.sendall(b"{}\n")
            assert line.recv(1_000)
            lines.append(line)
        assert "too many" in str(ask(path, {}, 5)["text"])
        lines[0].close()
        deadline = threading.Event()
        for _ in range(50):
            if ask(path, {}, 5)["ok"] is True:
                break
            deadline.wait(0.05)
        else:
            pytest.fail("the place of a client that has left was not given back")


def test_a_client_that_says_nothing_is_hung_up_on(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Silence, even in the middle of a line, ends the connection after its time."""
    monkeypatch.setattr(control, "IDLE_S", 0.3)
    with serving(path):
        assert raw(path, b'{"do": ') == b""


def test_nobody_there_is_said_to_be_not_running(path: Path) -> None:
    """No socket, a dead one, and a daemon that does not answer in time are each told."""
    with pytest.raises(NotRunning, match="is it running"):
        ask(path, {}, 1)
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as left:
        left.bind(str(path))
    with pytest.raises(NotRunning, match="refused"):
        ask(path, {}, 1)
    path.unlink()
    release = threading.Event()

    def wait(request: Request) -> Request:
        release.wait(5)
        return request

    with serving(path, wait):
        with pytest.raises(NotRunning, match="timed out"):
            ask(path, {}, 0.2)
        release.set()


@pytest.mark.parametrize("reply", [b"", b"nonsense\n", b"[]\n"])
def test_a_reply_that_is_none_is_not_running(path: Path, reply: bytes) -> None:
    """Something else that listens at the socket is not taken for the daemon."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as listener:
        listener.bind(str(path))
        listener.listen()
        listener.settimeout(5)

        def answer() -> None:
            connection, _ = listener.accept()
            with connection:
                connection.recv(1_000)
                connection.sendall(reply)

        thread = threading.Thread(target=answer, daemon=True)
        thread.start()
        with pytest.raises(NotRunning, match="no reply"):
            ask(path, {}, 2)
        thread.join(5)


def test_a_folder_that_takes_no_socket_costs_only_the_command_line(tmp_path: Path) -> None:
    """Where the socket cannot stand, the server starts and stops without harm."""
    for path in (tmp_path / "absent" / "duskbell.sock", tmp_path / ("x" * 200)):
        with serving(path), pytest.raises(NotRunning):
            ask(path, {}, 1)
