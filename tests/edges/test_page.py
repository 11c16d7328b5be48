"""The page over real HTTP: reading changes nothing, answering takes our own form, and guessing ends soon."""

from __future__ import annotations

import http.client
import re
import socket
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urlencode

import pytest

from controller.core.plan.alarm import Response
from controller.core.plan.page import Page
from controller.edges.page.guard import (
    HOUR_S,
    WRONG_ALL_MOST,
    Forms,
    Guesses,
    Sessions,
    find_word,
    is_known_host,
)
from controller.edges.page.server import BODY_BYTES_MOST, PageServer
from controller.edges.page.view import AlarmView, PageView, Verdict

CODE = "4821"
LOW = AlarmView(
    "Tank 1 oxygen low", Response.EMERGENCY, "nobody has it yet", "3.1 mg/L (limit 4)", "tank 1", "03:10 Tue",
    "in about 25 min", "Start the spare air pump",
)  # fmt: skip


@dataclass
class House:
    """Stands for the daemon: one open alarm, and a list of the answers it was given."""

    files: dict[str, Path] = field(default_factory=dict)
    alarms: tuple[AlarmView, ...] = (LOW,)
    answers: list[tuple[str, str]] = field(default_factory=list)
    guesses: list[str] = field(default_factory=list)
    views: int = 0
    troubles: tuple[str, ...] = ("broker: refused",)

    def view(self) -> PageView:
        """Show the alarm."""
        self.views += 1
        return PageView("Kestrel <Wharf>", "03:14 Tue", self.alarms, self.troubles, ("keeper", "deputy"))

    def answer(self, code: str, person: str) -> Verdict:
        """Take the one right code."""
        self.answers.append((code, person))
        if code != CODE:
            return Verdict(taken=False, wrong=True, text=f"no open alarm has the code {code}. Open: {CODE}")
        return Verdict(taken=True, wrong=False, text=f"{person} has it: Tank 1 oxygen low")

    def word_files(self) -> Mapping[str, Path]:
        """Return the files of words."""
        return self.files

    def guessed(self, client: str) -> None:
        """Hear of a guesser."""
        self.guesses.append(client)


@dataclass
class Browser:
    """Keeps cookies and forms as a browser does."""

    port: int
    cookies: dict[str, str] = field(default_factory=dict)
    token: str = ""
    text: str = ""
    headers: dict[str, str] = field(default_factory=dict)

    def ask(self, method: str, path: str = "/", body: str = "", **headers: str) -> int:
        """Send one request and take in what comes."""
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if self.cookies:
            sent.setdefault("Cookie", "; ".join(f"{name}={value}" for name, value in self.cookies.items()))
        if method == "POST":
            sent.setdefault("Content-Type", "application/x-www-form-urlencoded")
        line.request(method, path, body=body if method == "POST" else None, headers=sent)
        reply = line.getresponse()
        self.text, self.headers = reply.read().decode(), dict(reply.getheaders())
        for name, value in reply.getheaders():
            if name == "Set-Cookie":
                cookie, _, _ = value.partition(";")
                self.cookies[cookie.partition("=")[0]] = cookie.partition("=")[2]
        found = re.search(r'name="token" value="([0-9a-f]+)"', self.text)
        self.token = found[1] if found else self.token
        line.close()
        return reply.status

    def send(self, path: str = "/answer", *, headers: dict[str, str] | None = None, **fields: str) -> int:
        """Send the form of the page that was last seen."""
        return self.ask("POST", path, urlencode({"token": self.token, **fields}), **(headers or {}))


Open = Callable[..., tuple[Browser, House]]


@pytest.fixture
def open_page(tmp_path: Path) -> Iterator[Open]:
    """Open a page on a free port of the loopback; it is closed after the test."""
    with ExitStack() as stack:

        def _open(*, open_reading: bool = True, clock: Callable[[], float] | None = None, words: bool = False,
                  names: tuple[str, ...] = ()) -> tuple[Browser, House]:  # fmt: skip
            house = House()
            if words:
                path = tmp_path / "keeper.word"
                path.write_text("green heron\n", encoding="utf-8")
                house.files["keeper"] = path
            page = Page.model_construct(
                listen="127.0.0.1", port=0, names=names, open_reading=open_reading, secure=False
            )
            server = PageServer(page, house, read_steady_s=clock or (lambda: 0.0))
            assert server.start() == ""
            stack.callback(server.stop)
            return Browser(server.port), house

        yield _open


class Finder(HTMLParser):
    """Finds every address a page would fetch, and every script or handler."""

    def __init__(self) -> None:
        super().__init__()
        self.fetched: list[str] = []
        self.active: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Look at a tag."""
        self.fetched += [value or "" for name, value in attrs if name in {"src", "srcset", "data", "poster"}]
        self.fetched += [value or "" for name, value in attrs if name == "href" and tag == "link"]
        self.active += [name for name, _ in attrs if name.startswith("on")]
        self.active += [tag] * (tag in {"script", "iframe", "object", "embed"})


def test_the_page_shows_what_is_wrong_and_what_to_do(open_page: Open) -> None:
    """In words and a shape, with names escaped; never a code, which would answer."""
    browser, _ = open_page()

    assert browser.ask("GET") == 200
    words = ("\u25b2 EMERGENCY", "Tank 1 oxygen low", "First: Start the spare air pump", "3.1 mg/L (limit 4)",
             "in about 25 min", "nobody has it yet", "Kestrel &lt;Wharf&gt;", "broker: refused")  # fmt: skip
    assert [word for word in words if word not in browser.text] == []
    assert CODE not in browser.text


@pytest.mark.parametrize(
    ("number", "told"),
    # Numbers of Ofcom's range for drama (from memory), of the country and as dialled within it.
    [("+447700900123", "a number ending in 23"), ("07700900145", "a number ending in 45")],
)
def test_who_has_not_signed_in_reads_no_telephone_number(open_page: Open, number: str, told: str) -> None:
    """Neither in what ails Duskbell nor in an alarm; who signs in reads it, for they may have to ring it."""
    browser, house = open_page(words=True)
    said = f"five wrong codes from {number}: refused until 03:14 Tue"
    house.troubles = (said, "history: 10485760 bytes left")
    house.alarms = (replace(LOW, detail=said),)
    browser.ask("GET")

    assert number not in browser.text
    assert browser.text.count(f"five wrong codes from {told}: refused until 03:14 Tue") == 2
    assert "10485760 bytes left" in browser.text
    browser.send("/open", word="green heron")
    browser.ask("GET")
    assert browser.text.count(number) == 2


def test_the_page_fetches_nothing_and_runs_nothing(open_page: Open) -> None:
    """No script, no image, no font, no address of anybody else, and a policy that forbids them all."""
    browser, _ = open_page()
    browser.ask("GET")
    finder = Finder()
    finder.feed(browser.text)

    assert (finder.fetched, finder.active) == ([], [])
    assert "http" not in browser.text.replace("http-equiv", "")
    assert browser.headers["Content-Security-Policy"].startswith("default-src 'none'; style-src 'sha256-")


def test_an_answer_is_taken_by_code_and_name(open_page: Open) -> None:
    """The house hears code and name, the person reads that it has been taken."""
    browser, house = open_page()
    browser.ask("GET")

    assert browser.send(code=CODE, person="keeper") == 200
    assert house.answers == [(CODE, "keeper")]
    assert "keeper has it: Tank 1 oxygen low" in browser.text


@pytest.mark.parametrize("method", ["GET", "HEAD", "OPTIONS", "PUT", "DELETE", "PATCH", "TRACE"])
@pytest.mark.parametrize(
    "path", ["/", "/answer", f"/answer?code={CODE}&person=keeper", f"/?code={CODE}&person=keeper"]
)
def test_nothing_but_our_form_answers(open_page: Open, method: str, path: str) -> None:
    """RFC 9110, 9.2.1: reading asks for no change. Scanners that follow links answer nothing."""
    browser, house = open_page()
    browser.ask("GET")
    status = browser.ask(method, path)

    assert house.answers == []
    assert status == (
        200
        if method in {"GET", "HEAD"} and path[:2] in {"/", "/?"}
        else 404
        if method in {"GET", "HEAD"}
        else 405
    )


def test_a_head_has_no_body(open_page: Open) -> None:
    """The same headers as a GET, and nothing more."""
    browser, _ = open_page()
    browser.ask("HEAD")

    assert (browser.text, int(browser.headers["Content-Length"]) > 1000) == ("", True)


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"Cookie": "duskbell_form=other"},
        {"Cookie": ""},
    ],
)
def test_another_site_cannot_send_our_form(open_page: Open, headers: dict[str, str]) -> None:
    """Wrong origin, or a browser that never saw our page: refused, and the house hears nothing."""
    browser, house = open_page()
    browser.ask("GET")

    assert browser.send(headers=headers, code=CODE, person="keeper") == 403
    assert house.answers == []


def test_a_form_without_its_token_is_not_ours(open_page: Open) -> None:
    """Nor one with the token of another run."""
    browser, house = open_page()
    browser.ask("GET")
    browser.token = Forms().token(browser.cookies["duskbell_form"])

    assert browser.send(code=CODE, person="keeper") == 403
    assert browser.ask("POST", "/answer", urlencode({"code": CODE, "person": "keeper"})) == 403
    assert house.answers == []


def test_five_wrong_codes_and_no_more(open_page: Open) -> None:
    """Then even the right one is refused for an hour, and the house is told once."""
    now = [0.0]
    browser, house = open_page(clock=lambda: now[0])
    browser.ask("GET")
    assert [browser.send(code=f"000{number}", person="keeper") for number in range(5)] == [403] * 5
    assert CODE not in browser.text
    assert browser.send(code=CODE, person="keeper") == 429
    assert (len(house.answers), house.guesses) == (5, ["127.0.0.1"])
    now[0] = HOUR_S + 1
    assert browser.send(code=CODE, person="keeper") == 200


def test_who_has_a_word_answers_with_it(open_page: Open) -> None:
    """Their name alone is not enough, their word alone is."""
    browser, house = open_page(words=True)
    browser.ask("GET")
    assert browser.send(code=CODE, person="keeper") == 403
    assert house.answers == []
    assert browser.send(code=CODE, person="", word="red heron") == 403
    assert browser.send(code=CODE, person="deputy", word="green heron") == 200
    assert house.answers == [(CODE, "keeper")], "the word says who it is"


def test_wrong_words_are_guesses(open_page: Open) -> None:
    """Five of them, and the address is refused."""
    browser, _ = open_page(words=True)
    browser.ask("GET")
    for _ in range(5):
        assert browser.send(code=CODE, person="", word="red heron") == 403
    assert browser.send(code=CODE, person="", word="green heron") == 429


@pytest.mark.parametrize("person", ["", "stranger", "<b>keeper</b>"])
def test_an_answer_needs_a_person_of_the_house(open_page: Open, person: str) -> None:
    """Nobody else can have it."""
    browser, house = open_page()
    browser.ask("GET")

    assert browser.send(code=CODE, person=person) == 400
    assert house.answers == []
    assert "<b>keeper" not in browser.text


def test_a_closed_page_shows_nothing_until_one_has_signed_in(open_page: Open) -> None:
    """Not the alarms, not the names; with one's word, all of it, for this browser alone."""
    browser, _ = open_page(open_reading=False, words=True)
    browser.ask("GET")
    assert "oxygen" not in browser.text
    assert browser.send("/open", word="red heron") == 403
    assert browser.send("/open", word="green heron") == 303
    browser.ask("GET")
    assert "oxygen" in browser.text
    other = Browser(browser.port)
    other.ask("GET")
    assert "oxygen" not in other.text


def test_only_our_own_names_are_served(open_page: Open) -> None:
    """A name that somebody has pointed at this address reads nothing."""
    browser, house = open_page(names=("glasshouse.example",))

    assert [
        browser.ask("GET", Host=host) for host in ("evil.example", "glasshouse.example:8480", "[::1]:8480")
    ] == [421, 200, 200]
    assert browser.ask("POST", "/answer", "code=1", Host="evil.example") == 421
    assert house.answers == []


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        ("x" * (BODY_BYTES_MOST + 1), {}, 413),
        ("code=1", {"Content_Type": "application/json"}, 415),
        ("code=1", {"Content_Type": "multipart/form-data; boundary=x"}, 415),
        ("=&=&%ff", {}, 400),
        ("&".join(f"f{number}=1" for number in range(20)), {}, 400),
        ("caf\u00e9=1", {}, 400),
    ],
)
def test_what_is_no_form_of_ours_is_refused(
    open_page: Open, body: str, headers: dict[str, str], status: int
) -> None:
    """Too large, another kind, too many fields, not readable."""
    browser, house = open_page()
    browser.ask("GET")

    assert browser.ask("POST", "/answer", body, **headers) in {status, 403}
    assert house.answers == []


@pytest.mark.parametrize(
    "line", [b"\x16\x03\x01\x02\x00", b"GET\r\n\r\n", b"POST /answer HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"]
)
def test_what_is_no_request_leaves_the_page_standing(open_page: Open, line: bytes) -> None:
    """Garbage, half a request, a form without a length."""
    browser, _ = open_page()
    with socket.create_connection(("127.0.0.1", browser.port), timeout=5) as rude:
        rude.sendall(line + b"\r\n\r\n")
        rude.shutdown(socket.SHUT_WR)
        rude.recv(4096)

    assert browser.ask("GET") == 200


def test_every_reply_has_the_strict_headers(open_page: Open) -> None:
    """Also a refusal; and cookies that no script reads and no other site sends."""
    browser, _ = open_page()
    for path in ("/", "/nothing"):
        browser.ask("GET", path)
        strict = {"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "same-origin",
                  "Cache-Control": "no-store"}  # fmt: skip
        assert strict.items() <= browser.headers.items()
        assert "frame-ancestors 'none'" in browser.headers["Content-Security-Policy"]
    fresh = Browser(browser.port)
    fresh.ask("GET")
    assert fresh.headers["Set-Cookie"].endswith("; Path=/; HttpOnly; SameSite=Strict")


def test_a_port_in_use_costs_the_page_alone(open_page: Open) -> None:
    """It says what stands in the way, and nothing else ends."""
    browser, house = open_page()
    second = PageServer(Page(listen="127.0.0.1", port=browser.port), house)

    assert "cannot be opened on 127.0.0.1" in second.start()
    second.stop()


def test_nothing_open_is_said_in_words(open_page: Open) -> None:
    """An empty page could be a broken one."""
    browser, house = open_page()
    house.alarms = ()
    browser.ask("GET")

    assert "No alarm is open" in browser.text


def test_guesses_from_many_addresses_are_bounded_too() -> None:
    """One guesser with many addresses has thirty an hour, of nine thousand codes."""
    guesses = Guesses(lambda: 0.0)
    for number in range(WRONG_ALL_MOST):
        assert not guesses.is_refused("10.0.0.99")
        guesses.count(f"10.0.0.{number}")
    assert guesses.is_refused("10.0.0.99")


def test_a_session_ends() -> None:
    """After half a day the word is asked for again."""
    now = [0.0]
    sessions = Sessions(lambda: now[0])
    cookie = sessions.begin()
    assert sessions.is_open(cookie)
    now[0] = 12 * HOUR_S
    assert not sessions.is_open(cookie)
    assert not sessions.is_open("")


def test_no_word_matches_an_empty_or_missing_file(tmp_path: Path) -> None:
    """A file that is not there is no word, least of all the empty one."""
    (tmp_path / "empty").write_text(" \n", encoding="utf-8")
    files = {"keeper": tmp_path / "empty", "deputy": tmp_path / "missing"}

    assert [find_word(files, word) for word in ("", " ", "x")] == [None, None, None]


@pytest.mark.parametrize(
    ("host", "known"),
    [("127.0.0.1:8480", True), ("192.168.1.5", True), ("[fe80::1]:80", True), ("localhost:1", True), ("", False),
     ("glasshouse.example", True), ("GLASSHOUSE.example:80", True), ("glasshouse.example.evil.org", False)],
)  # fmt: skip
def test_hosts_are_known_by_address_or_name(host: str, *, known: bool) -> None:
    """An address is ours since the packet came; a name must be in the settings."""
    assert is_known_host(host, ("glasshouse.example",)) is known
