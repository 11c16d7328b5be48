"""Webhooks: each message posted as one CloudEvent, signed, to an https address of the person.

CloudEvents 1.0 in the structured JSON form. The same message keeps its id when it is sent again, so that a
receiver may drop the second. No redirect is followed, no proxy asked, no answer read beyond its first words,
and every wait ends.
"""

from __future__ import annotations

import functools
import hashlib
import http.client
import ipaddress
import json
import socket
import ssl
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from urllib.parse import SplitResult, urlsplit

from controller.core.plan.reach import Webhook as WebhookSettings
from controller.core.plan.site import Site
from controller.core.vocabulary import SendMessage, Stamp
from controller.edges.clock import Clock
from controller.edges.notify.email import clean
from controller.edges.notify.signing import (
    SECRET_BYTES_MIN,
    SIGNATURE_HEADER,
    TIMESTAMP_HEADER,
    sign,
)
from controller.edges.notify.way import Outcome

KIND: Final = "duskbell.message"
"""The CloudEvents type of every message."""

WAITS_S: Final = (0.5, 2.0)
"""Waits before a try again after 5xx, 429 or a lost connection. [s] The call list goes on if it lasts longer."""

RETRY_AFTER_MAX_S: Final = 5.0
"""A receiver that asks for more patience than this is not waited for. [s]"""

ANSWER_BYTES_MAX: Final = 2_000
ANSWER_LETTERS_MAX: Final = 120
SECRET_BYTES_MAX: Final = 4_096
ADDRESSES_MAX: Final = 3

_LOOPBACK: Final = frozenset({"localhost", "127.0.0.1", "::1"})


@dataclass(frozen=True, slots=True)
class _Try:
    """What one try came to; `again_s` is the wait the receiver asks for, None where another try is no use."""

    outcome: Outcome
    again_s: float | None = None


class _Refused(Exception):  # noqa: N818 - ends a delivery that cannot go on
    """The message cannot be posted; carries why."""


@dataclass(slots=True)
class _Delivery:
    """One try under way; cut off from another thread when its time is up."""

    held: socket.socket | None = None
    late: bool = field(default=False)

    def cut(self) -> None:
        """End the connection because the time is up."""
        self.late = True
        if self.held is not None:
            with suppress(OSError):
                self.held.shutdown(socket.SHUT_RDWR)


class Webhook:
    """Posts messages.

    Parameters
    ----------
    settings
        How they are signed and bounded.
    site
        The house; it is the source of the events.
    clock
        Dates and signs the messages.
    sleep
        Waits so many seconds; for tests.
    """

    def __init__(
        self,
        settings: WebhookSettings,
        site: Site,
        clock: Clock,
        *,
        sleep: Callable[[float], None] = time.sleep,
    ) -> None:
        self._settings = settings
        self._site = site
        self._clock = clock
        self._sleep = sleep

    def send(self, message: SendMessage) -> Outcome:
        """Post one message and wait for the receiver's word."""
        try:
            url = self._read_url(message.address)
            secret = _read_secret(self._settings.secret_file)
        except _Refused as refused:
            return Outcome(accepted=False, text=f"refused: {refused}", way_works=False)
        body = write_event(message, self._site, self._clock.stamp(0))
        tried = _Try(Outcome(accepted=False, text="not tried"))
        for wait_s in (*WAITS_S, None):
            tried = self._post(url, body, secret)
            if tried.outcome.accepted or tried.again_s is None or wait_s is None:
                break
            self._sleep(max(wait_s, tried.again_s))
        return tried.outcome

    def _read_url(self, address: str) -> SplitResult:
        """Read an address as strictly as the check of the settings does; they may be older than the check."""
        try:
            url = urlsplit(address)
            host, port = url.hostname, url.port
        except ValueError as error:
            raise _Refused("it is no address") from error
        if not host or port == 0 or not address.isascii() or not address.isprintable() or " " in address:
            raise _Refused("it is no address")
        if url.scheme != "https" and not (url.scheme == "http" and host in _LOOPBACK):
            raise _Refused("only https is used")
        if url.username is not None or url.password is not None:
            raise _Refused("accounts in addresses are not used")
        if self._settings.allowed_hosts and host not in self._settings.allowed_hosts:
            raise _Refused(f"{host} is not among the allowed hosts")
        return url

    def _post(self, url: SplitResult, body: bytes, secret: bytes) -> _Try:
        """Try once."""
        # Signed anew for each try, or a receiver would take the last for an old one.
        timestamp_s = self._clock.stamp(0).utc_ms // 1_000
        headers = {
            "Content-Type": "application/cloudevents+json; charset=utf-8",
            "User-Agent": "duskbell",
            TIMESTAMP_HEADER: str(timestamp_s),
            SIGNATURE_HEADER: sign(secret, timestamp_s=timestamp_s, body=body),
            "Connection": "close",
        }
        delivery = _Delivery()
        timer = threading.Timer(self._settings.timeout_s, delivery.cut)
        timer.daemon = True
        timer.start()
        try:
            connection = self._connect(url, delivery)
            target = (url.path or "/") + (f"?{url.query}" if url.query else "")
            try:
                connection.request("POST", target, body, headers)
                response = connection.getresponse()
                return _judge(response, response.read(ANSWER_BYTES_MAX))
            finally:
                connection.close()
        except _Refused as refused:
            return _Try(_failed(f"refused: {refused}"))
        except (OSError, http.client.HTTPException) as error:
            return _explain(error, late=delivery.late, clock_set=self._clock.stamp(0).utc_trusted)
        finally:
            timer.cancel()
            if delivery.held is not None:
                delivery.held.close()

    def _connect(self, url: SplitResult, delivery: _Delivery) -> http.client.HTTPConnection:
        """Connect to an address that was looked at first, not to whatever the name means a moment later."""
        host = url.hostname or ""
        secure = url.scheme == "https"
        port = url.port or (443 if secure else 80)
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
        last: OSError | None = None
        for address in list(dict.fromkeys(str(entry[4][0]) for entry in found))[:ADDRESSES_MAX]:
            if delivery.late:
                break
            self._look_at(host, address)
            try:
                held = socket.create_connection((address, port), timeout=self._settings.timeout_s)
            except OSError as error:
                last = error
                continue
            delivery.held = held
            if secure:
                # Not shaken hands at once: a receiver that dribbles must be cut off there too.
                secured = self._context().wrap_socket(
                    held, server_hostname=host, do_handshake_on_connect=False
                )
                delivery.held = held = secured
                secured.do_handshake()
            connection = http.client.HTTPConnection(host, port, timeout=self._settings.timeout_s)
            connection.sock = held
            return connection
        raise last or TimeoutError("timed out")

    def _look_at(self, host: str, address: str) -> None:
        """Refuse a public name that leads into the house's own network, unless the settings name it."""
        if host in _LOOPBACK or host in self._settings.allowed_hosts or host == address.partition("%")[0]:
            return
        if not ipaddress.ip_address(address.partition("%")[0]).is_global:
            raise _Refused(
                f"{host} leads to {address} inside the network; name it in `allowed_hosts` if meant"
            )

    def _context(self) -> ssl.SSLContext:
        try:
            return ssl.create_default_context(cafile=self._settings.tls_ca_file or None)
        except OSError as error:
            raise _Refused(
                f"the authority's certificate {self._settings.tls_ca_file} cannot be used: {error.strerror}"
            ) from error


def write_event(message: SendMessage, site: Site, stamp: Stamp) -> bytes:
    """Write a message as a CloudEvent. The same message always has the same id.

    As with mail, the id holds a mark of the content beside the effect's name: a journal that had to start anew
    counts its effects from one again.
    """
    parts = (message.effect_id, message.person, message.subject, message.text, message.thread)
    mark = hashlib.sha256("\0".join(parts).encode("utf-8", "backslashreplace")).hexdigest()[:12]
    event: dict[str, object] = {
        "specversion": "1.0",
        "id": f"{message.effect_id}.{mark}",
        "source": f"/duskbell/{site.id}",
        "type": KIND,
        "datacontenttype": "application/json",
        "data": {
            "house": site.name,
            "person": message.person,
            "subject": message.subject,
            "text": message.text,
            "thread": message.thread,
        },
    }
    if message.thread:
        event["subject"] = message.thread
    if stamp.utc_trusted:
        time_of_it = datetime.fromtimestamp(stamp.utc_ms / 1_000, UTC)
        event["time"] = time_of_it.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return json.dumps(event, ensure_ascii=True, separators=(",", ":")).encode("ascii")


def _read_secret(path: str) -> bytes:
    """Read the secret, without the line's end that editors put there."""
    try:
        with Path(path).open("rb") as file:
            secret = file.read(SECRET_BYTES_MAX).rstrip(b"\r\n")
    except OSError as error:
        raise _Refused(f"the secret's file {path} cannot be read: {error.strerror}") from error
    if len(secret) < SECRET_BYTES_MIN:
        raise _Refused(f"the secret in {path} is shorter than {SECRET_BYTES_MIN} bytes")
    return secret


def _judge(response: http.client.HTTPResponse, answer: bytes) -> _Try:
    """Sort a receiver's answer."""
    words = clean(answer.decode("utf-8", "replace"))[:ANSWER_LETTERS_MAX]
    said = f"{response.status} {words}".strip()
    match response.status // 100:
        case 2:
            return _Try(Outcome(accepted=True, text=said))
        case 3:
            return _Try(
                Outcome(
                    accepted=False,
                    text=f"refused: {response.status}: it leads elsewhere, which is not followed",
                )
            )
        case 4 if response.status != http.client.TOO_MANY_REQUESTS:
            return _Try(Outcome(accepted=False, text=f"refused: {said}"))
        case _:
            again_s = _read_wait(response.headers.get("Retry-After"))
            return _Try(_failed(f"not now: {said}"), again_s if again_s <= RETRY_AFTER_MAX_S else None)


def _read_wait(text: str | None) -> float:
    """Read Retry-After in seconds [s]; a date or nonsense asks for nothing."""
    return float(text) if text is not None and text.isascii() and text.isdigit() and len(text) < 7 else 0.0


def _explain(error: Exception, *, late: bool, clock_set: bool) -> _Try:
    """Say in plain words why a try failed, and whether another may go better."""
    if isinstance(error, ssl.SSLCertVerificationError):
        text = f"certificate: {error.verify_message}"
        return _Try(_failed(text if clock_set else f"{text}, and the clock of this board is not set"))
    if late or isinstance(error, TimeoutError):
        # It had all its time; the next try would be later still.
        return _Try(_failed("not now: timed out; it may have been taken all the same"))
    match error:
        case ssl.SSLError():
            text = f"no secure connection: {error.reason or error}"
        case socket.gaierror():
            text = f"no connection: the receiver's name is not found ({error.strerror})"
        case ConnectionRefusedError():
            text = "no connection: nobody listens at the receiver's port"
        case http.client.HTTPException():
            text = f"not now: the receiver's answer is no HTTP ({type(error).__name__})"
        case _:
            text = f"no connection: {getattr(error, 'strerror', None) or error}"
    return _Try(_failed(text), 0.0)


_failed = functools.partial(Outcome, False, way_works=False)
