"""Email: a real server takes exactly one message, and every way of failing is said in plain words."""

from __future__ import annotations

import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from email import message_from_bytes
from email.header import decode_header, make_header
from email.policy import default as default_policy
from pathlib import Path
from typing import Any

import pytest
import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.people import Way
from controller.core.plan.site import Mail, Security, Site
from controller.core.vocabulary import SendMessage, Stamp
from controller.edges.clock import BoardClock, RehearsalClock
from controller.edges.notify.email import Email, clean, write_mail

NOON_MS = 1_782_043_200_000  # 2026-06-21T12:00Z
SITE = Site(
    name="Kestrel Wharf", id="kestrel-wharf", latitude_deg=54.0, longitude_deg=-1.0, time_zone="Europe/London"
)
MESSAGE = SendMessage(
    "m-17", "Keeper", Way.EMAIL, "keeper@example.org", "Oxygen low", "Start the spare pump.\nCode 4821", "a-3"
)
STAMP = Stamp(0, NOON_MS, 60, utc_trusted=True)


def content(envelope: Envelope) -> bytes:
    """Give the bytes of a message that was taken."""
    assert isinstance(envelope.content, bytes)
    return envelope.content


class Box:
    """A mail server's handler that keeps what it takes, and answers as it is told."""

    def __init__(self, **answers: str) -> None:
        self.answers = answers
        self.taken: list[Envelope] = []

    # The names and parameters of the handlers are the library's.

    async def handle_MAIL(  # noqa: N802
        self, _server: object, _session: object, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        """Take or refuse the sender."""
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return self.answers.get("MAIL", "250 OK")

    async def handle_RCPT(  # noqa: N802
        self, _server: object, _session: object, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        """Take or refuse the address."""
        envelope.rcpt_tos.append(address)
        envelope.rcpt_options.extend(options)
        return self.answers.get("RCPT", "250 OK")

    async def handle_DATA(self, _server: object, _session: object, envelope: Envelope) -> str:  # noqa: N802
        """Take or refuse the message."""
        if "DATA" not in self.answers:
            self.taken.append(envelope)
        return self.answers.get("DATA", "250 taken as 4711")


@contextmanager
def serving(box: Box, **options: Any) -> Iterator[int]:  # noqa: ANN401 - handed through to the library
    """Run a mail server on a free port of the loopback."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    controller = Controller(box, hostname="127.0.0.1", port=port, **options)
    controller.start()
    try:
        yield port
    finally:
        controller.stop()


@contextmanager
def talking(script: Callable[[socket.socket], None]) -> Iterator[int]:
    """Run a server that takes one connection and does with it what the script says."""
    server = socket.create_server(("127.0.0.1", 0))
    server.settimeout(5)

    def run() -> None:
        try:
            connection, _ = server.accept()
        except OSError:
            return
        connection.settimeout(5)
        with connection:
            script(connection)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield server.getsockname()[1]
    finally:
        server.close()
        thread.join(10)
        assert not thread.is_alive()


def mail(port: int, **changes: Any) -> Mail:  # noqa: ANN401 - settings of several types
    """Make the settings of a mail server on the loopback."""
    keys = {
        "host": "127.0.0.1",
        "port": port,
        "security": Security.NONE,
        "sender": "duskbell@example.org",
        "timeout_s": 2.0,
    }
    return Mail(**{**keys, **changes})


def email(port: int, **changes: Any) -> Email:  # noqa: ANN401 - the same
    """Make the adapter."""
    return Email(mail(port, **changes), SITE, RehearsalClock(NOON_MS, 1.0, time_zone="Europe/London"))


@pytest.fixture(scope="module")
def authority() -> trustme.CA:
    """Make a certificate authority of our own."""
    return trustme.CA()


@pytest.fixture
def ca_file(authority: trustme.CA, tmp_path: Path) -> str:
    """Write the authority's certificate into a file."""
    path = tmp_path / "ca.pem"
    authority.cert_pem.write_to_path(str(path))
    return str(path)


def server_context(authority: trustme.CA, name: str = "localhost") -> ssl.SSLContext:
    """Make the server's side of TLS."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert(name).configure_cert(context)
    return context


# --- what arrives ---------------------------------------------------------------------------------------


def test_one_message_arrives_once_and_as_written() -> None:
    """The server takes exactly one message, with the sender, address, text and headers that were meant."""
    box = Box()
    with serving(box) as port:
        outcome = email(port).send(MESSAGE)

    assert (outcome.accepted, outcome.text) == (True, "250 taken as 4711")
    (envelope,) = box.taken
    assert (envelope.mail_from, envelope.rcpt_tos) == ("duskbell@example.org", ["keeper@example.org"])
    letter = message_from_bytes(content(envelope), policy=default_policy)
    assert letter["From"] == "Kestrel Wharf <duskbell@example.org>"
    assert letter["To"] == "keeper@example.org"
    assert letter["Subject"] == "Oxygen low"
    assert letter["Date"] == "Sun, 21 Jun 2026 13:00:00 +0100"
    # RFC 3834, section 5: the keyword for what a machine sends of itself.
    assert letter["Auto-Submitted"] == "auto-generated"
    assert letter["References"] == letter["In-Reply-To"] == "<a-3.kestrel-wharf@example.org>"
    assert letter.get_content_type() == "text/plain"
    assert letter.get_content().replace("\r\n", "\n") == "Start the spare pump.\nCode 4821\n"
    assert letter["Precedence"] is None


def test_a_probe_signs_in_and_sends_nothing() -> None:
    """The server is asked whether it would, and nobody gets a mail."""
    box = Box()
    with serving(box) as port:
        outcome = email(port).probe()

    assert (outcome.accepted, outcome.text) == (True, "the mail server can be used")
    assert box.taken == []


def test_a_probe_of_a_dead_server_says_so() -> None:
    """Nobody listens: the way is down before anybody needs it."""
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        outcome = email(unused.getsockname()[1]).probe()

    assert (outcome.accepted, outcome.way_works) == (False, False)
    assert outcome.text == "no connection: nobody listens at the mail server's port"


def test_a_message_sent_again_has_the_same_identifier() -> None:
    """Two sendings of one message have one Message-ID; other content under the same name has another."""
    box = Box()
    other = SendMessage(
        "m-17", "Keeper", Way.EMAIL, "keeper@example.org", "pH low", "Look at the blower.", "a-3"
    )
    with serving(box) as port:
        for adapter, message in [(email(port), MESSAGE), (email(port), MESSAGE), (email(port), other)]:
            assert adapter.send(message).accepted

    first, again, changed = (message_from_bytes(content(one))["Message-ID"] for one in box.taken)
    assert first == again
    assert first != changed
    assert first.startswith("<m-17.")
    assert first.endswith(".kestrel-wharf@example.org>")


def test_a_clock_that_is_not_set_dates_nothing() -> None:
    """While the board believes in 1970 the message bears no date, so that the server adds its own."""
    untrusted = STAMP._replace(utc_trusted=False)

    assert write_mail(MESSAGE, mail(25), SITE, untrusted)["Date"] is None


@given(text=st.text(st.characters(codec="utf-8", exclude_characters="\r"), max_size=300))
def test_any_text_arrives_as_it_was(text: str) -> None:
    """Every character of the text survives the journey, dots at the begin of a line included."""
    message = SendMessage("m-1", "K", Way.EMAIL, "k@example.org", "s", text, "a")
    document = write_mail(message, mail(25), SITE, STAMP).as_bytes()

    assert document.isascii()
    lines = document.split(b"\r\n")
    assert max(len(line) for line in lines) <= 998  # RFC 5322, section 2.1.1
    letter = message_from_bytes(document, policy=default_policy)
    payload = letter.get_payload(decode=True)
    assert isinstance(payload, bytes)
    assert payload.decode("utf-8").replace("\r\n", "\n").rstrip("\n") == text.rstrip("\n")


def test_a_line_that_begins_with_a_dot_arrives() -> None:
    """A dot alone on a line does not end the message early (RFC 5321, section 4.5.2)."""
    box = Box()
    text = "first\n.\n..two\nlast"
    with serving(box) as port:
        outcome = email(port).send(SendMessage("m", "K", Way.EMAIL, "k@example.org", "s", text, ""))

    assert outcome.accepted
    (envelope,) = box.taken
    letter = message_from_bytes(content(envelope), policy=default_policy)
    assert letter.get_content().replace("\r\n", "\n") == text + "\n"
    assert letter["References"] is None


@given(
    subject=st.text(max_size=300),
    thread=st.text(max_size=40),
    effect_id=st.text(max_size=40),
    name=st.text(min_size=1, max_size=40),
)
def test_no_text_can_add_a_header(subject: str, thread: str, effect_id: str, name: str) -> None:
    """Whatever stands in subject, thread, effect and site, the headers are ours and no more."""
    message = SendMessage(effect_id, "K", Way.EMAIL, "k@example.org", subject, "t", thread)
    site = SITE.model_copy(update={"name": name})
    letter = message_from_bytes(write_mail(message, mail(25), site, STAMP).as_bytes())

    expected = {"From", "To", "Subject", "Date", "Message-ID", "Auto-Submitted"}
    expected |= {"In-Reply-To", "References"} if thread else set()
    expected |= {"Content-Type", "Content-Transfer-Encoding", "MIME-Version"}
    assert sorted(letter.keys()) == sorted(expected)
    # The standard library loses a space where it folds between two encoded words (seen in Python 3.11), so
    # the words are compared without their spaces.
    told = str(make_header(decode_header(letter["Subject"])))
    assert "".join(told.split()) == "".join(clean(subject)[:200].split())


def test_a_subject_with_a_line_break_is_one_line() -> None:
    """A line break in a subject becomes a space, and what follows it stays subject."""
    message = SendMessage("m", "K", Way.EMAIL, "k@example.org", "Low\r\nBcc: all@example.org", "t", "")
    letter = write_mail(message, mail(25), SITE, STAMP)

    assert letter["Subject"] == "Low Bcc: all@example.org"
    assert letter["Bcc"] is None


@pytest.mark.parametrize(
    "address",
    [
        "",
        "keeper",
        "keeper@",
        "a@b@example.org",
        "a@example.org, b@example.org",
        "a@example.org\r\nRCPT TO:<b@example.org>",
        "a@example.org\n",
        "<a@example.org>",
        "a b@example.org",
        "ä@example.org",
    ],
)
def test_an_address_that_is_no_address_is_refused_without_a_connection(address: str) -> None:
    """Anything but one plain address is refused at once and for good; no server hears of it."""
    outcome = email(1).send(SendMessage("m", "K", Way.EMAIL, address, "s", "t", ""))

    assert not outcome.accepted
    assert outcome.text.startswith("refused: ")
    assert "no plain mail address" in outcome.text


# --- protection and sign-in -----------------------------------------------------------------------------


def test_tls_from_the_first_byte(authority: trustme.CA, ca_file: str) -> None:
    """With tls the message goes over a connection that is encrypted from the start."""
    box = Box()
    with talking_tls(authority, box) as port:
        outcome = email(port, host="localhost", security=Security.TLS, tls_ca_file=ca_file).send(MESSAGE)

    assert outcome.accepted, outcome.text
    assert len(box.taken) == 1


@contextmanager
def talking_tls(authority: trustme.CA, box: Box, name: str = "localhost") -> Iterator[int]:
    """Run a mail server that speaks TLS from the first byte."""
    with serving(box, ssl_context=server_context(authority, name)) as port:
        yield port


def test_starttls_before_anything_is_said(authority: trustme.CA, ca_file: str) -> None:
    """With starttls the server, which insists on it, takes the message."""
    box = Box()
    with serving(box, tls_context=server_context(authority), require_starttls=True) as port:
        outcome = email(port, host="localhost", security=Security.STARTTLS, tls_ca_file=ca_file).send(MESSAGE)
        open_outcome = email(port).send(MESSAGE)

    assert outcome.accepted, outcome.text
    assert not open_outcome.accepted
    assert len(box.taken) == 1


def test_a_server_without_starttls_gets_nothing() -> None:
    """If the settings ask for starttls and the server cannot, the message is not sent in the open."""
    box = Box()
    with serving(box) as port:
        outcome = email(port, security=Security.STARTTLS).send(MESSAGE)

    assert not outcome.accepted
    assert outcome.text.startswith("refused: the mail server cannot")
    assert not outcome.way_works
    assert not box.taken


@pytest.mark.parametrize("security", [Security.TLS, Security.STARTTLS])
@pytest.mark.parametrize("fault", ["unknown authority", "other name"])
def test_a_certificate_that_does_not_fit_is_named(
    authority: trustme.CA, ca_file: str, security: Security, fault: str
) -> None:
    """A certificate of another authority or for another name stops the delivery, and the text says so."""
    box = Box()
    issuer = trustme.CA() if fault == "unknown authority" else authority
    context = server_context(issuer, "mail.example.org" if fault == "other name" else "localhost")
    options = {"ssl_context" if security is Security.TLS else "tls_context": context}
    if security is Security.TLS:
        server = talking(lambda connection: _handshake(context, connection))
    else:
        server = serving(box, **options)
    with server as port:
        outcome = email(port, host="localhost", security=security, tls_ca_file=ca_file).send(MESSAGE)

    assert not outcome.accepted
    assert outcome.text.startswith("certificate: ")
    assert "clock" not in outcome.text
    assert not box.taken


def _handshake(context: ssl.SSLContext, connection: socket.socket) -> None:
    try:
        context.wrap_socket(connection, server_side=True).close()
    except OSError:
        return


def test_a_certificate_refused_by_an_unset_clock_says_so(
    authority: trustme.CA, ca_file: str, tmp_path: Path
) -> None:
    """While the clock is not set, the text names it, for that may be the whole fault."""
    context = server_context(authority, "mail.example.org")
    clock = BoardClock("UTC", 0, synchronized_file=tmp_path / "absent")
    with talking(lambda connection: _handshake(context, connection)) as port:
        settings = mail(port, host="localhost", security=Security.TLS, tls_ca_file=ca_file)
        outcome = Email(settings, SITE, clock).send(MESSAGE)

    assert outcome.text.endswith("and the clock of this board is not set")


def password_box(right: str) -> dict[str, Any]:
    """Make the options of a server that wants a password."""

    def authenticate(_server: Any, _session: Any, _envelope: Any, _mechanism: str, data: Any) -> AuthResult:  # noqa: ANN401 - the library's interface
        # Not handled: the library then sends the refusal itself.
        return AuthResult(success=data.password.decode() == right, handled=False)

    return {"authenticator": authenticate, "auth_required": True, "auth_require_tls": False}


@pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS:UserWarning")
@pytest.mark.parametrize("written", ["open sesame", "open sesame\n", "open sesame\r\n"])
def test_the_password_comes_from_its_file(tmp_path: Path, written: str) -> None:
    """The account signs in with the file's content; a line's end is no part of the password."""
    box = Box()
    (tmp_path / "password").write_bytes(written.encode())
    with serving(box, **password_box("open sesame")) as port:
        outcome = email(port, username="bell", password_file=str(tmp_path / "password")).send(MESSAGE)

    assert outcome.accepted, outcome.text
    assert len(box.taken) == 1


@pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS:UserWarning")
@pytest.mark.parametrize(
    ("written", "said"),
    [
        (b"geheim", "wrong password: 535 "),
        ("pässword".encode(), "the account or its password has characters outside ASCII"),
        (None, "the password file "),
    ],
)
def test_a_password_that_does_not_do_is_named(tmp_path: Path, written: bytes | None, said: str) -> None:
    """A wrong, impossible or missing password is told apart, and the password itself is never said."""
    box = Box()
    if written is not None:
        (tmp_path / "password").write_bytes(written)
    with serving(box, **password_box("open sesame")) as port:
        outcome = email(port, username="bell", password_file=str(tmp_path / "password")).send(MESSAGE)

    assert not outcome.accepted
    assert outcome.text.startswith(said)
    assert not outcome.way_works
    assert written is None or written.decode() not in outcome.text
    assert not box.taken


def test_a_password_is_not_sent_over_an_open_connection(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without protection the password is given to nobody but this very machine."""
    (tmp_path / "password").write_text("open sesame")
    heard: list[bytes] = []

    def answer(connection: socket.socket) -> None:
        connection.sendall(b"220 ready\r\n")
        while line := connection.recv(1_000):
            heard.append(line)
            connection.sendall(b"250-here\r\n250 AUTH PLAIN LOGIN\r\n")

    lookup = socket.getaddrinfo
    monkeypatch.setattr(
        socket,
        "getaddrinfo",
        lambda host, *args, **kwargs: lookup(host.replace("mail.example.org", "127.0.0.1"), *args, **kwargs),
    )
    with talking(answer) as port:
        adapter = email(
            port, host="mail.example.org", username="bell", password_file=str(tmp_path / "password")
        )
        outcome = adapter.send(MESSAGE)

    assert outcome.text.startswith("the password is not sent over an open connection")
    assert not any(b"AUTH" in line for line in heard)


def test_an_authority_s_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    """A certificate file that is missing or nonsense is said by its name."""
    (tmp_path / "nonsense").write_text("no certificate")
    for name in ("absent", "nonsense"):
        settings = {"host": "localhost", "security": Security.TLS, "tls_ca_file": str(tmp_path / name)}
        outcome = email(1, **settings).send(MESSAGE)
        assert not outcome.accepted
        assert str(tmp_path / name) in outcome.text


# --- refusals, silence, absence -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("step", "answer", "said", "way_works"),
    [
        ("MAIL", "550 no such sender", "refused: the sender: 550 no such sender", False),
        ("RCPT", "550 no such person", "refused: the address: 550 no such person", True),
        ("RCPT", "450 greylisted", "not now: the address: 450 greylisted", True),
        ("DATA", "554 looks like spam", "refused: the message: 554 looks like spam", False),
        ("DATA", "452 mailbox full", "not now: the message: 452 mailbox full", False),
        ("MAIL", "421 shutting down", "not now: the sender: 421 shutting down", False),
    ],
)
def test_a_refusal_says_whether_later_is_better(
    step: str, answer: str, said: str, *, way_works: bool
) -> None:
    """5xx is refused for good and 4xx not now (RFC 5321, section 4.2.1); the server's words are kept."""
    box = Box(**{step: answer})
    with serving(box) as port:
        outcome = email(port).send(MESSAGE)

    assert (outcome.accepted, outcome.text, outcome.way_works) == (False, said, way_works)
    assert not box.taken


def test_nobody_there_is_no_connection() -> None:
    """A port at which nobody listens is said to be just that."""
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    outcome = email(port).send(MESSAGE)

    assert (outcome.accepted, outcome.way_works) == (False, False)
    assert outcome.text == "no connection: nobody listens at the mail server's port"


def test_a_server_that_greets_with_a_refusal_is_heard() -> None:
    """A server that is not ready for anyone is quoted."""
    with talking(lambda connection: connection.sendall(b"554 closed for today\r\n")) as port:
        outcome = email(port).send(MESSAGE)

    assert outcome.text == "refused: the connection: 554 closed for today"


def test_a_server_that_hangs_up_is_not_now() -> None:
    """A connection that ends without a word is worth another try."""
    with talking(lambda connection: connection.close()) as port:
        outcome = email(port).send(MESSAGE)

    assert outcome.text == "not now: the mail server hung up"


def converse(connection: socket.socket, *, until: bytes) -> None:
    """Answer as a mail server would until a command comes, and leave that one without an answer."""
    connection.sendall(b"220 ready\r\n")
    heard = b""
    while until not in heard:
        heard = connection.recv(100_000)
        if not heard:
            return
        if until not in heard:
            connection.sendall(b"354 go on\r\n" if heard.startswith(b"data") else b"250 fine\r\n")


def test_silence_after_the_final_dot_may_have_been_sent() -> None:
    """A server that takes the message and then says nothing is timed out, and the doubt is told."""
    released = threading.Event()

    def hang(connection: socket.socket) -> None:
        converse(connection, until=b"\r\n.\r\n")
        released.wait(10)

    with talking(hang) as port:
        began = time.monotonic()
        outcome = email(port, timeout_s=1.0).send(MESSAGE)
        took_s = time.monotonic() - began
        released.set()

    assert outcome.text == "not now: timed out; it may have been sent all the same"
    assert not outcome.way_works
    assert took_s < 2.5


def test_silence_before_the_message_was_not_sent() -> None:
    """A server that hangs before it has the message is timed out, and there is no doubt."""
    released = threading.Event()

    def hang(connection: socket.socket) -> None:
        converse(connection, until=b"mail FROM")
        released.wait(10)

    with talking(hang) as port:
        outcome = email(port, timeout_s=1.0).send(MESSAGE)
        released.set()

    assert outcome.text == "not now: timed out"


@pytest.mark.slow
def test_a_server_that_drips_is_cut_off() -> None:
    """A server that sends a byte now and then, never too late, is still cut off after three steps' time."""
    stop = threading.Event()

    def drip(connection: socket.socket) -> None:
        try:
            while not stop.wait(0.2):
                connection.sendall(b"2")
        except OSError:
            return

    with talking(drip) as port:
        began = time.monotonic()
        outcome = email(port, timeout_s=1.0).send(MESSAGE)
        took_s = time.monotonic() - began
        stop.set()

    assert outcome.text == "not now: timed out"
    assert 2.5 < took_s < 5.0


def test_a_dead_name_service_uses_the_last_known_address(monkeypatch: pytest.MonkeyPatch) -> None:
    """Once the server's name has been found, mail goes on when names can no longer be looked up."""
    box = Box()
    lookup = socket.getaddrinfo

    def dead(*_args: object, **_kwargs: object) -> None:
        raise socket.gaierror(socket.EAI_AGAIN, "temporary failure in name resolution")

    def alive(host: str, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - handed through
        return lookup("127.0.0.1" if host == "mail.example.org" else host, *args, **kwargs)

    def dead_for_names(host: str, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - handed through
        return dead() if host == "mail.example.org" else lookup(host, *args, **kwargs)

    with serving(box) as port:
        adapter = email(port, host="mail.example.org")
        monkeypatch.setattr(socket, "getaddrinfo", dead_for_names)
        before = adapter.send(MESSAGE)
        monkeypatch.setattr(socket, "getaddrinfo", alive)
        assert adapter.send(MESSAGE).accepted
        monkeypatch.setattr(socket, "getaddrinfo", dead_for_names)
        assert adapter.send(MESSAGE).accepted

    assert before.text == (
        "no connection: the name of the mail server is not found (temporary failure in name resolution)"
    )
    assert len(box.taken) == 2


def test_the_second_address_of_a_server_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """If the first address of a name does not answer, the next one gets the message."""
    box = Box()
    lookup = socket.getaddrinfo

    def two(host: str, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - handed through
        if host == "mail.example.org":
            return [
                (socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, 0))
                for address in ("127.0.0.2", "127.0.0.1")
            ]
        return lookup(host, *args, **kwargs)

    monkeypatch.setattr(socket, "getaddrinfo", two)
    with serving(box) as port:
        assert email(port, host="mail.example.org").send(MESSAGE).accepted
    assert len(box.taken) == 1
