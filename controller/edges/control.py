"""The socket on the board by which people talk with the running daemon: one JSON object a line, both ways.

The socket belongs to the account that runs the daemon and nobody else may open it; that is how an answer is
known to come from somebody trusted. Requests are small, few at a time, and never wait for ever.
"""

from __future__ import annotations

import contextlib
import json
import os
import pwd
import socket
import socketserver
import struct
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Final, cast

import structlog

log = structlog.get_logger("duskbell.control")

REQUEST_BYTES_MAX: Final = 16_384
"""A request is a few words; what is longer is none. [bytes]"""

REPLY_BYTES_MAX: Final = 4_000_000
"""The status of hundreds of sensors fits many times over. [bytes]"""

CLIENTS_MAX: Final = 8
"""People who talk at once; a further one is sent away with a reason."""

IDLE_S: Final = 30.0
"""A client that says nothing for this long is hung up on. [s]"""

_CREDENTIALS: Final = struct.Struct("3i")  # struct ucred of unix(7): process, account, group

Handle = Callable[[dict[str, object]], dict[str, object]]
"""Answers one request. Its `account` is the account at the other end, as the system knows it."""


class NotRunning(Exception):  # noqa: N818 - named by what happened, like every event of the house
    """Nobody answers at the socket; the text says how that shows."""


class _Server(socketserver.ThreadingUnixStreamServer):
    """A socket that from its first moment only our own account may open."""

    daemon_threads = True

    def server_bind(self) -> None:
        """Take the place in the folder; the rights are set before anybody can see it."""
        os.fchmod(self.socket.fileno(), 0o600)
        super().server_bind()
        Path(str(self.server_address)).chmod(0o600)  # where the first has no effect, as outside Linux


class ControlServer:
    """The daemon's side.

    Parameters
    ----------
    path
        Where the socket is to stand. One left over from an earlier run is taken away: the journal's lock
        has made sure that no other daemon holds the folder.
    handle
        Answers one request. Called by the thread of each client, several at once.
    """

    def __init__(self, path: Path, handle: Handle) -> None:
        self._path = path
        self._handle = handle
        self._places = threading.BoundedSemaphore(CLIENTS_MAX)
        self._server: _Server | None = None

    def start(self) -> None:
        """Open the socket. A folder that cannot take it costs the command line, not the daemon."""
        outer = self

        class Talker(socketserver.StreamRequestHandler):
            timeout = IDLE_S

            def handle(self) -> None:
                outer._talk(self)

        try:
            with contextlib.suppress(FileNotFoundError):
                self._path.unlink()
            server = _Server(str(self._path), Talker)
        except OSError as error:
            log.warning("no control socket: the command line cannot reach the daemon", why=str(error))
            return
        self._server = server
        threading.Thread(target=server.serve_forever, args=(0.2,), name="control", daemon=True).start()

    def stop(self) -> None:
        """Close the socket and take it away."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None
            with contextlib.suppress(FileNotFoundError):
                self._path.unlink()

    def _talk(self, talker: socketserver.StreamRequestHandler) -> None:
        """Answer the requests of one client until it hangs up."""
        if not self._places.acquire(blocking=False):
            with contextlib.suppress(OSError):
                talker.wfile.write(_line({"ok": False, "text": "too many people talk with Duskbell at once"}))
            return
        try:
            account = _find_account(talker.connection)
            while line := talker.rfile.readline(REQUEST_BYTES_MAX + 1):
                talker.wfile.write(self._answer(line, account))
                if len(line) > REQUEST_BYTES_MAX:
                    return
        except (OSError, ValueError):
            return
        finally:
            self._places.release()

    def _answer(self, line: bytes, account: str) -> bytes:
        """Answer one line; whatever it holds, there is an answer."""
        if len(line) > REQUEST_BYTES_MAX:
            return _line({"ok": False, "text": f"a request is at most {REQUEST_BYTES_MAX} bytes"})
        try:
            request = json.loads(line)
        except (ValueError, RecursionError):
            return _line({"ok": False, "text": "a request is one JSON object on one line"})
        if not isinstance(request, dict):
            return _line({"ok": False, "text": "a request is a JSON object"})
        try:
            return _line(self._handle(cast("dict[str, object]", request) | {"account": account}))
        except Exception:
            # The thread of one client; the daemon itself must not feel a mistake in an answer.
            log.exception("a request could not be answered")
            return _line({"ok": False, "text": "Duskbell could not answer that; see its log"})


def _find_account(connection: socket.socket) -> str:
    """Ask the system which account is at the other end; what the client says of itself does not count."""
    try:
        raw = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _CREDENTIALS.size)
        _pid, account, _group = _CREDENTIALS.unpack(raw)
        return pwd.getpwuid(account).pw_name
    except (OSError, AttributeError, KeyError):
        return ""


def ask(path: Path, request: dict[str, object], timeout_s: float) -> dict[str, object]:
    """Send one request to the daemon and return its reply.

    Raises
    ------
    NotRunning
        There is no socket, nobody listens, the reply does not come in time or is none.
    """
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
            line.settimeout(timeout_s)
            line.connect(str(path))
            # Who is sent away at the door may be told so before the request is out; the word is still there.
            with contextlib.suppress(BrokenPipeError):
                line.sendall(_line(request))
            with line.makefile("rb") as replies:
                raw = replies.readline(REPLY_BYTES_MAX)
    except FileNotFoundError:
        raise NotRunning(f"there is no socket {path}; is it running?") from None
    except OSError as error:
        raise NotRunning(f"{path}: {error}") from error
    try:
        reply = json.loads(raw)
    except ValueError:
        raise NotRunning(f"{path}: what came back is no reply") from None
    if not isinstance(reply, dict):
        raise NotRunning(f"{path}: what came back is no reply")
    return cast("dict[str, object]", reply)


def _line(document: dict[str, object]) -> bytes:
    """Write a document as one line."""
    return json.dumps(document, separators=(",", ":")).encode() + b"\n"
