"""The page's server: a few threads, small requests, strict headers. Reading changes nothing, whoever reads.

Mail scanners follow links and robots fetch pages, so GET and HEAD only show. An answer takes a POST of our own
form, with the code that the person was sent.
"""

from __future__ import annotations

import contextlib
import socket
import sys
import threading
import time
from collections.abc import Callable
from http import HTTPStatus
from http.cookies import CookieError, SimpleCookie
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Final
from urllib.parse import parse_qs

import structlog

from controller.core.plan.page import Page
from controller.edges.page.guard import Forms, Guesses, Sessions, comes_from_us, find_word, is_known_host
from controller.edges.page.render import POLICY, render_door, render_page, render_refusal
from controller.edges.page.view import Host, veil

log = structlog.get_logger("duskbell.page")

BODY_BYTES_MOST: Final = 4096
"""A code, a name, a word and a token are a few hundred bytes."""

FIELDS_MOST: Final = 10
"""Fields of a form; ours have four."""

CLIENTS_MOST: Final = 16
"""People served at once; a further one is sent away at once, so that a flood cannot hold the board."""

IDLE_S: Final = 10.0
"""A browser that says nothing for so long is hung up on. [s]"""

FORM_COOKIE: Final = "duskbell_form"
READER_COOKIE: Final = "duskbell_reader"

HEADERS: Final = (
    ("Content-Security-Policy", POLICY),
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    # "no-referrer" would make browsers hide the origin of our own forms from us.
    ("Referrer-Policy", "same-origin"),
    ("Cross-Origin-Opener-Policy", "same-origin"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
    ("Permissions-Policy", "camera=(), geolocation=(), microphone=()"),
    ("Cache-Control", "no-store"),
)
"""Sent with everything."""


class _Server(ThreadingHTTPServer):
    """A server that serves few at a time and leaves no thread behind."""

    daemon_threads = True
    request_queue_size = 32

    def __init__(self, page: Page, handler: type[BaseHTTPRequestHandler]) -> None:
        self.address_family = socket.AF_INET6 if ":" in page.listen else socket.AF_INET
        self._places = threading.BoundedSemaphore(CLIENTS_MOST)
        super().__init__((page.listen, page.port), handler)

    def process_request(
        self, request: socket.socket | tuple[bytes, socket.socket], client_address: object
    ) -> None:
        """Take a client if there is a place; else hang up."""
        if not self._places.acquire(blocking=False):
            self.shutdown_request(request)
            return
        super().process_request(request, client_address)

    def process_request_thread(
        self, request: socket.socket | tuple[bytes, socket.socket], client_address: object
    ) -> None:
        """Serve a client on a thread of its own, and give the place back."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._places.release()

    def handle_error(self, request: object, client_address: object) -> None:
        """Log what went wrong with one client; browsers hang up all the time."""
        del request
        log.info("a browser could not be served", client=str(client_address), why=repr(sys.exception()))


class PageServer:
    """The page. One that cannot be opened costs the page, not the daemon.

    Parameters
    ----------
    page
        Where it listens and who may read it.
    host
        The daemon, as the page sees it.
    read_steady_s
        A clock that nobody sets. [s]
    """

    def __init__(
        self, page: Page, host: Host, *, read_steady_s: Callable[[], float] = time.monotonic
    ) -> None:
        self.page = page
        self.host = host
        self.guesses = Guesses(read_steady_s)
        self.sessions = Sessions(read_steady_s)
        self.forms = Forms()
        self._server: _Server | None = None

    @property
    def port(self) -> int:
        """The port it listens on; 0 while it does not."""
        return 0 if self._server is None else int(self._server.server_address[1])

    def start(self) -> str:
        """Open the page; return what stands in the way, empty if nothing does."""
        outer = self

        class Visit(_Visit):
            server_of_page = outer

        try:
            self._server = _Server(self.page, Visit)
        except OSError as error:
            why = f"the page cannot be opened on {self.page.listen} port {self.page.port}: {error}"
            log.warning("no page", why=why)
            return why
        threading.Thread(target=self._server.serve_forever, args=(0.2,), name="page", daemon=True).start()
        return ""

    def stop(self) -> None:
        """Close the page."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None


class _Visit(BaseHTTPRequestHandler):
    """One browser's requests."""

    server_of_page: PageServer
    protocol_version = "HTTP/1.1"
    server_version = "Duskbell"
    sys_version = ""
    timeout = IDLE_S

    # --- what is asked --------------------------------------------------------------------------------

    def do_GET(self) -> None:
        """Show the page. Nothing in the house changes."""
        if not self._is_good_host():
            return
        if self.path.partition("?")[0] != "/":
            self._refuse(HTTPStatus.NOT_FOUND, "there is only one page, at /")
            return
        self._show()

    do_HEAD = do_GET  # noqa: N815 - the name the standard library asks for

    def do_POST(self) -> None:
        """Take a form of ours."""
        if not self._is_good_host():
            return
        fields = self._read_form()
        if fields is None:
            return
        outer = self.server_of_page
        host = self.headers.get("Host", "")
        if not comes_from_us(
            dict(self.headers.items()), host, secure=outer.page.secure
        ) or not outer.forms.is_ours(self._cookie(FORM_COOKIE), fields.get("token", "")):
            self._refuse(HTTPStatus.FORBIDDEN, outer.host.view().phrases.page_too_old)
            return
        if outer.guesses.is_refused(self.client_address[0]):
            self._refuse(HTTPStatus.TOO_MANY_REQUESTS, outer.host.view().phrases.page_locked)
            return
        match self.path:
            case "/answer":
                self._answer(fields)
            case "/open":
                self._open(fields)
            case _:
                self._refuse(HTTPStatus.NOT_FOUND, "there is only one page, at /")

    def _other(self) -> None:
        """Refuse every other method."""
        self.close_connection = True
        self._refuse(
            HTTPStatus.METHOD_NOT_ALLOWED, "only reading and our own forms", (("Allow", "GET, HEAD, POST"),)
        )

    do_PUT = do_DELETE = do_PATCH = do_OPTIONS = do_TRACE = do_CONNECT = _other  # noqa: N815 - the same

    # --- forms ----------------------------------------------------------------------------------------

    def _answer(self, fields: dict[str, str]) -> None:
        """Take an answer: the code, and the name or the own word of a person."""
        outer = self.server_of_page
        files, view = outer.host.word_files(), outer.host.view()
        phrases = view.phrases
        person, word = fields.get("person", "").strip(), fields.get("word", "")
        if word:
            found = find_word(files, word)
            if found is None:
                self._count_wrong(phrases.page_not_yours)
                return
            person = found
        elif person in files:
            self._show(said=(phrases.page_own_word.format(person=person), False), status=HTTPStatus.FORBIDDEN)
            return
        if person not in view.people:
            self._show(said=(phrases.page_say_who, False), status=HTTPStatus.BAD_REQUEST)
            return
        code = fields.get("code", "").strip()
        verdict = outer.host.answer(code, person)
        if verdict.wrong:
            self._count_wrong(phrases.page_not_open)
            return
        log.info("answered on the page", person=person, taken=verdict.taken, client=self.client_address[0])
        status = HTTPStatus.OK if verdict.taken else HTTPStatus.SERVICE_UNAVAILABLE
        self._show(said=(verdict.text, verdict.taken), status=status)

    def _open(self, fields: dict[str, str]) -> None:
        """Let a person sign in to read."""
        outer = self.server_of_page
        if find_word(outer.host.word_files(), fields.get("word", "")) is None:
            self._count_wrong(outer.host.view().phrases.page_not_yours)
            return
        cookie = _set_cookie(READER_COOKIE, outer.sessions.begin(), secure=outer.page.secure)
        self._send(HTTPStatus.SEE_OTHER, b"", (("Location", "/"), ("Set-Cookie", cookie)))

    def _count_wrong(self, text: str) -> None:
        """Count a wrong code or word, and tell the house when there have been too many."""
        client = self.client_address[0]
        log.warning("wrong code or word on the page", client=client)
        if self.server_of_page.guesses.count(client):
            self.server_of_page.host.guessed(client)
        self._show(said=(text, False), status=HTTPStatus.FORBIDDEN)

    def _read_form(self) -> dict[str, str] | None:
        """Read the fields of a form; refuse what is too large or none."""
        kind = self.headers.get("Content-Type", "").partition(";")[0].strip().lower()
        length = self.headers.get("Content-Length", "")
        if not length.isdecimal() or not length.isascii() or int(length) > BODY_BYTES_MOST:
            self.close_connection = True
            self._refuse(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "a form has a length, and not a large one")
            return None
        body = self.rfile.read(int(length))
        if kind != "application/x-www-form-urlencoded":
            self._refuse(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "this is no form of ours")
            return None
        try:
            fields = parse_qs(
                body.decode("ascii"), max_num_fields=FIELDS_MOST, strict_parsing=True, keep_blank_values=True
            )
        except ValueError:
            self._refuse(HTTPStatus.BAD_REQUEST, "this is no form of ours")
            return None
        return {name: values[0] for name, values in fields.items()}

    # --- what is sent ---------------------------------------------------------------------------------

    def _is_good_host(self) -> bool:
        """Serve browsers that call us by an address or a name of ours."""
        if is_known_host(self.headers.get("Host", ""), self.server_of_page.page.names):
            return True
        self.close_connection = True
        self._refuse(HTTPStatus.MISDIRECTED_REQUEST, "not by this name: set `names` in [page]")
        return False

    def _cookie(self, name: str) -> str:
        try:
            found = SimpleCookie(self.headers.get("Cookie", "")).get(name)
        except CookieError:
            return ""
        return "" if found is None else found.value

    def _show(self, *, said: tuple[str, bool] | None = None, status: HTTPStatus = HTTPStatus.OK) -> None:
        """Show the page as it is now, with a form that only this browser can send."""
        outer = self.server_of_page
        cookie = self._cookie(FORM_COOKIE)
        more: tuple[tuple[str, str], ...] = ()
        if not cookie:
            cookie = outer.forms.new_cookie()
            more = (("Set-Cookie", _set_cookie(FORM_COOKIE, cookie, secure=outer.page.secure)),)
        token = outer.forms.token(cookie)
        view = outer.host.view()
        signed_in = outer.sessions.is_open(self._cookie(READER_COOKIE))
        if outer.page.open_reading or signed_in:
            text = render_page(view if signed_in else veil(view), token, said)
        else:
            text = render_door(view.site, token, said, view.phrases)
        self._send(status, text.encode(), more)

    def _refuse(self, status: HTTPStatus, text: str, more: tuple[tuple[str, str], ...] = ()) -> None:
        self._send(status, render_refusal(text, self.server_of_page.host.view().phrases).encode(), more)

    def _send(self, status: HTTPStatus, body: bytes, more: tuple[tuple[str, str], ...] = ()) -> None:
        with contextlib.suppress(OSError):  # the browser may be gone
            self.send_response(status)
            for name, value in (*HEADERS, *more):
                self.send_header(name, value)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(body)))
            if self.close_connection:
                self.send_header("Connection", "close")
            self.end_headers()
            if self.command != "HEAD":
                self.wfile.write(body)

    def send_error(self, code: int, message: str | None = None, explain: str | None = None) -> None:
        """Refuse what is no request, with the same headers as everything."""
        del explain
        self.close_connection = True
        self._refuse(HTTPStatus(code), message or HTTPStatus(code).phrase)

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the name of the base class
        """Write no line a request: what matters is logged where it happens."""


def _set_cookie(name: str, value: str, *, secure: bool) -> str:
    """Write a cookie that scripts cannot read and other sites cannot send."""
    return f"{name}={value}; Path=/; HttpOnly; SameSite=Strict{'; Secure' if secure else ''}"
