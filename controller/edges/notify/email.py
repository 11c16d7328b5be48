"""Email by SMTP: one message, one connection, one answer in plain words.

The message says that a machine wrote it (RFC 3834, section 5), so that no absence notice comes back, and keeps
its Message-ID when it is sent again, so that mail programs show it once. Everything is bounded in time: RFC
5321, section 4.5.3.2, allows minutes for each step, which an alarm does not have.
"""

from __future__ import annotations

import hashlib
import re
import smtplib
import socket
import ssl
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP as SMTP_POLICY
from email.utils import format_datetime
from enum import Enum
from pathlib import Path
from typing import Final, Never

from controller.core.plan.site import Mail, Security, Site
from controller.core.vocabulary import SendMessage, Stamp
from controller.edges.clock import Clock
from controller.edges.notify.way import Outcome

# The plan bounds each step; a server that answers a byte at a time is cut off after so many of them.
STEPS_MAX: Final = 3

SUBJECT_CHARACTERS_MAX: Final = 200
REPLY_CHARACTERS_MAX: Final = 200
ADDRESSES_MAX: Final = 4  # of a server with several; each costs a connection's wait

# The plain form of an address (RFC 5321, section 4.1.2, Mailbox with a Dot-string): nothing that could end a
# header or an SMTP command, and no second address.
_ADDRESS: Final = re.compile(
    r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9](?:[A-Za-z0-9.-]{0,252}[A-Za-z0-9])?"
)

_POLICY: Final = SMTP_POLICY.clone(cte_type="7bit")  # goes through any server, old or new
_LOOPBACK: Final = ("localhost", "127.0.0.1", "::1")


class Step(Enum):
    """How far a delivery has come."""

    CONNECTING = "connecting"
    TALKING = "talking"
    HANDED_OVER = "handed over"


class _Refused(Exception):  # noqa: N818 - ends a delivery that cannot go on
    """The message cannot be sent; carries the outcome."""

    def __init__(self, outcome: Outcome) -> None:
        super().__init__(outcome.text)
        self.outcome = outcome


class _NamedContext(ssl.SSLContext):
    """Checks the server's certificate against its name, though the connection was made to an address."""

    name = ""

    def wrap_socket(self, sock: socket.socket, *_args: object, **_kwargs: object) -> ssl.SSLSocket:
        """Wrap the connection and check the name."""
        return super().wrap_socket(sock, server_hostname=self.name)


@dataclass(slots=True)
class _Delivery:
    """One delivery under way: where it stands, and whether its time ran out."""

    step: Step = Step.CONNECTING
    connection: smtplib.SMTP | None = None
    late: bool = False

    def cut(self) -> None:
        """End the connection because the time is up."""
        self.late = True
        held = self.connection.sock if self.connection is not None else None
        if held is not None:
            with suppress(OSError):
                held.shutdown(socket.SHUT_RDWR)


class Email:
    """Sends messages through one mail server.

    Parameters
    ----------
    mail
        The server.
    site
        The house; its name stands beside the sender's address.
    clock
        Dates the messages, if it is trusted.
    """

    def __init__(self, mail: Mail, site: Site, clock: Clock) -> None:
        self._mail = mail
        self._site = site
        self._clock = clock
        self._known_addresses: tuple[str, ...] = ()

    def send(self, message: SendMessage) -> Outcome:
        """Hand one message to the server and wait for its word."""
        stamp = self._clock.stamp(0)

        def deliver(delivery: _Delivery) -> Outcome:
            for address in (self._mail.sender, message.address):
                if not _ADDRESS.fullmatch(address):
                    _refuse(f"refused: {clean(address)!r} is no plain mail address")
            document = write_mail(message, self._mail, self._site, stamp).as_bytes()
            with self._deadline(delivery):
                return self._deliver(delivery, message.address, document)

        return self._try(deliver, stamp)

    def probe(self) -> Outcome:
        """Sign in and out again without sending anything; tell whether messages could go now."""

        def sign_in(delivery: _Delivery) -> Outcome:
            with self._deadline(delivery):
                connection = self._open(delivery)
                _expect(connection.noop(), (250,), "the server")
                _leave(connection)
                return Outcome(accepted=True, text="the mail server can be used")

        return self._try(sign_in, self._clock.stamp(0))

    def _try(self, work: Callable[[_Delivery], Outcome], stamp: Stamp) -> Outcome:
        """Do one thing with the server; whatever comes of it is an outcome."""
        delivery = _Delivery()
        try:
            return work(delivery)
        except _Refused as refused:
            # A reply cut off in the middle reads like another one.
            return explain(TimeoutError(), delivery.step, stamp) if delivery.late else refused.outcome
        except (smtplib.SMTPException, OSError) as error:
            return explain(TimeoutError() if delivery.late else error, delivery.step, stamp)

    @contextmanager
    def _deadline(self, delivery: _Delivery) -> Iterator[None]:
        timer = threading.Timer(STEPS_MAX * self._mail.timeout_s, delivery.cut)
        timer.daemon = True
        timer.start()
        try:
            yield
        finally:
            timer.cancel()
            if delivery.connection is not None:
                delivery.connection.close()

    def _deliver(self, delivery: _Delivery, address: str, document: bytes) -> Outcome:
        connection = self._open(delivery)
        _expect(connection.mail(self._mail.sender), (250,), "the sender")
        _expect(connection.rcpt(address), (250, 251), "the address")
        delivery.step = Step.HANDED_OVER
        code, reply = connection.data(document)
        _expect((code, reply), (250,), "the message")
        _leave(connection)
        return Outcome(accepted=True, text=f"{code} {_said(reply)}")

    def _open(self, delivery: _Delivery) -> smtplib.SMTP:
        """Connect, protect the connection, and sign in."""
        connection = self._connect(delivery)
        delivery.step = Step.TALKING
        connection.ehlo_or_helo_if_needed()
        if self._mail.security is Security.STARTTLS:
            connection.starttls(context=self._context())
            connection.ehlo()
        if self._mail.username:
            self._sign_in(connection)
        return connection

    def _connect(self, delivery: _Delivery) -> smtplib.SMTP:
        last: OSError | None = None
        for address in self._addresses()[:ADDRESSES_MAX]:
            if delivery.late:
                break
            delivery.connection = connection = self._new_connection()
            try:
                code, reply = connection.connect(address, self._mail.port)
            except (ConnectionError, TimeoutError, smtplib.SMTPServerDisconnected) as error:
                connection.close()
                last = error
            else:
                _expect((code, reply), (220,), "the connection")
                return connection
        raise last or TimeoutError("timed out")

    def _new_connection(self) -> smtplib.SMTP:
        # Without a name of its own smtplib asks the name service, which may be what has failed.
        own_name = socket.gethostname()
        own_name = own_name if "." in own_name else "[127.0.0.1]"
        timeout_s = self._mail.timeout_s
        if self._mail.security is Security.TLS:
            return smtplib.SMTP_SSL(local_hostname=own_name, timeout=timeout_s, context=self._context())
        return smtplib.SMTP(local_hostname=own_name, timeout=timeout_s)

    def _addresses(self) -> tuple[str, ...]:
        """Look the server's name up; while the name service is down, use what it said last."""
        try:
            found = socket.getaddrinfo(self._mail.host, self._mail.port, type=socket.SOCK_STREAM)
        except OSError:
            if not self._known_addresses:
                raise
        else:
            self._known_addresses = tuple(dict.fromkeys(str(entry[4][0]) for entry in found))
        return self._known_addresses

    def _context(self) -> ssl.SSLContext:
        context = _NamedContext(ssl.PROTOCOL_TLS_CLIENT)
        context.name = self._mail.host
        if not self._mail.tls_ca_file:
            context.load_default_certs()
            return context
        try:
            context.load_verify_locations(self._mail.tls_ca_file)
        except OSError as error:  # a file that is no certificate is an SSLError, which is one too
            _refuse(f"the authority's certificate {self._mail.tls_ca_file} cannot be used: {error.strerror}")
        return context

    def _sign_in(self, connection: smtplib.SMTP) -> None:
        if self._mail.security is Security.NONE and self._mail.host not in _LOOPBACK:
            _refuse("the password is not sent over an open connection; set security to tls or starttls")
        try:
            password = Path(self._mail.password_file).read_text(encoding="utf-8").rstrip("\r\n")
        except (OSError, UnicodeDecodeError) as error:
            _refuse(f"the password file {self._mail.password_file} cannot be read: {error}")
        try:
            connection.login(self._mail.username, password)
        except UnicodeEncodeError:
            _refuse("the account or its password has characters outside ASCII, which SMTP cannot carry")


def write_mail(message: SendMessage, mail: Mail, site: Site, stamp: Stamp) -> EmailMessage:
    """Write a message as a mail. The same message always has the same Message-ID.

    The identifier holds the effect's name and a mark of the content: a journal that had to start anew
    counts its effects from one again, and a mail program must not take the new alarm for an old one.
    """
    parts = (message.effect_id, message.address, message.subject, message.text, message.thread)
    content = "\0".join(parts)
    mark = hashlib.sha256(content.encode("utf-8", "backslashreplace")).hexdigest()[:12]
    house = f"{_atom(site.id)}@{mail.sender.rpartition('@')[2]}"
    letter = EmailMessage(_POLICY)
    letter["From"] = Address(clean(site.name), addr_spec=mail.sender)
    letter["To"] = Address(addr_spec=message.address)
    letter["Subject"] = clean(message.subject)[:SUBJECT_CHARACTERS_MAX]
    if stamp.utc_trusted:  # else the server adds its own (RFC 6409, section 8.2)
        zone = timezone(timedelta(minutes=stamp.utc_offset_min))
        letter["Date"] = format_datetime(datetime.fromtimestamp(stamp.utc_ms // 1_000, UTC).astimezone(zone))
    letter["Message-ID"] = f"<{_atom(message.effect_id)}.{mark}.{house}>"
    if message.thread:
        letter["In-Reply-To"] = letter["References"] = f"<{_atom(message.thread)}.{house}>"
    letter["Auto-Submitted"] = "auto-generated"
    letter.set_content(message.text.encode("utf-8", "backslashreplace").decode("utf-8"))
    return letter


def clean(text: str) -> str:
    """Make a text one line without control characters, fit for a header."""
    text = text.encode("utf-8", "backslashreplace").decode("utf-8")
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def explain(error: Exception, step: Step, stamp: Stamp) -> Outcome:
    """Say in plain words why a delivery failed, whose fault it is, and whether later may be better."""
    if isinstance(error, smtplib.SMTPAuthenticationError):
        code, reply = error.smtp_code, _said(error.smtp_error)
        text = f"wrong password: {code} {reply}" if code >= 500 else f"not now: {code} {reply}"
    elif isinstance(error, smtplib.SMTPNotSupportedError):
        text = f"refused: the mail server cannot do what the settings ask: {error}"
    elif isinstance(error, smtplib.SMTPResponseException) and error.smtp_code >= 400:
        verdict = "refused" if error.smtp_code >= 500 else "not now"
        text = f"{verdict}: {error.smtp_code} {_said(error.smtp_error)}"
    elif isinstance(error, ssl.SSLCertVerificationError):
        text = f"certificate: {error.verify_message}"
        if not stamp.utc_trusted:
            text += ", and the clock of this board is not set"
    elif _is_timeout(error):
        text = "not now: timed out"
    elif isinstance(error, ssl.SSLError):
        text = f"no secure connection: {error.reason or error}"
    elif isinstance(error, socket.gaierror):
        text = f"no connection: the name of the mail server is not found ({error.strerror})"
    elif isinstance(error, ConnectionRefusedError):
        text = "no connection: nobody listens at the mail server's port"
    elif isinstance(error, (smtplib.SMTPServerDisconnected, ConnectionError)):
        text = "not now: the mail server hung up"
    else:
        text = f"no connection: {getattr(error, 'strerror', None) or error}"
    if step is Step.HANDED_OVER and text.startswith("not now"):
        text += "; it may have been sent all the same"
    return Outcome(accepted=False, text=text, way_works=False)


def _leave(connection: smtplib.SMTP) -> None:
    """Say good-bye; a rude one changes nothing."""
    with suppress(smtplib.SMTPException, OSError):
        connection.quit()


def _expect(answer: tuple[int, bytes], good: tuple[int, ...], what: str) -> None:
    code, reply = answer
    if code not in good:
        verdict = "refused" if code >= 500 else "not now"
        # A server that refuses one person may well take the next; one that refuses the sender will not.
        _refuse(f"{verdict}: {what}: {code} {_said(reply)}", way_works=what == "the address")


def _refuse(text: str, *, way_works: bool = False) -> Never:
    raise _Refused(Outcome(accepted=False, text=text, way_works=way_works))


def _said(reply: bytes | str) -> str:
    text = reply.decode("utf-8", "replace") if isinstance(reply, bytes) else reply
    return clean(text)[:REPLY_CHARACTERS_MAX]


def _is_timeout(error: BaseException | None) -> bool:
    """Look through what smtplib wrapped: a wait that ran out becomes a lost connection there."""
    while error is not None:
        if isinstance(error, TimeoutError):
            return True
        error = error.__cause__ or error.__context__
    return False


def _atom(text: str) -> str:
    """Keep a name as it is if it is an atom (RFC 5322, section 3.2.3), else take a mark of it."""
    if re.fullmatch(r"[A-Za-z0-9_-]{1,60}", text):
        return text
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()[:16]
