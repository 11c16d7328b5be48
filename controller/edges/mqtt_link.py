"""One connection to an MQTT broker: the client library, with its known traps closed.

The library's thread dies silently when anything raises in it, and still calls itself connected. So nothing
raised by a handler reaches it, whatever is raised elsewhere makes it start over, and a tick at every turn of
its loop shows that it lives; its own word for that is never asked.
"""

from __future__ import annotations

import contextlib
import functools
import socket
import ssl
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final, ParamSpec

import structlog
from paho.mqtt.client import Client, MQTTMessageInfo
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from controller.core.plan.site import Broker
from controller.core.units import HouseMs
from controller.edges.clock import Clock
from controller.edges.mqtt_bounds import BoundedClient

RETRY_S: Final = (1, 30)
"""Shortest and longest wait between two tries [s]; a broker that comes back is found within half a minute."""

CONNECT_TIMEOUT_S: Final = 5.0
"""Longest wait for a connection, and for its TLS handshake. [s] Brokers are near."""

SESSION_EXPIRY_S: Final = 3_600
"""How long the broker keeps readings for a daemon that is away. [s] Older ones say nothing about now."""

OUTGOING_MAX: Final = 500
"""Messages that may wait in the library. Twice and more what the outbox lets fly at once; never reached."""

CLOSE_TIMEOUT_S: Final = 10.0
"""Longest wait for the library's thread to end. [s] A connection that is just being tried takes its time."""

_MEND_PAUSE_S: Final = 5.0
_PASSWORD_BYTES_MAX: Final = 4_096
# OpenSSL's codes X509_V_ERR_CERT_NOT_YET_VALID and X509_V_ERR_CERT_HAS_EXPIRED.
_WRONG_TIME: Final = (9, 10)

_log = structlog.get_logger(__name__)
_P = ParamSpec("_P")


def guarded(handler: Callable[_P, None]) -> Callable[_P, None]:
    """Keep whatever a handler raises away from the library's thread, which it would end."""

    @functools.wraps(handler)
    def guard(*args: _P.args, **kwargs: _P.kwargs) -> None:
        try:
            handler(*args, **kwargs)
        except Exception:  # noqa: BLE001 - our own mistake, whatever it is; it is written down
            _log.exception("a handler failed", handler=handler.__name__)

    return guard


class Link(BoundedClient):
    """A client for one broker and one version of the protocol.

    Parameters
    ----------
    broker
        Where it is and who we are there.
    version
        MQTT 5 or 3.1.1.
    clock
        For the ticks.
    will_topic, will_payload
        What the broker publishes, retained, when we vanish without a word.
    """

    def __init__(
        self,
        broker: Broker,
        *,
        version: MQTTProtocolVersion,
        clock: Clock,
        will_topic: str,
        will_payload: bytes,
    ) -> None:
        modern = version is MQTTProtocolVersion.MQTTv5
        super().__init__(
            CallbackAPIVersion.VERSION2,
            broker.client_id,
            clean_session=None if modern else False,
            protocol=version,
            manual_ack=True,
        )
        self.modern = modern
        self.obstacle: str | None = None
        """Why the last try had to go without its password or its authority, or None."""
        self.answered = False
        """Whether the broker has answered the last try to connect, with whatever answer."""
        self.tried_house_ms: HouseMs = clock.house_ms()
        """When the last try to connect began. [ms]"""
        self.ticked_house_ms: HouseMs = clock.house_ms()
        """When the loop last turned. [ms]"""
        self.on_tick: Callable[[HouseMs], None] | None = None
        self.on_mend: Callable[[Exception], None] | None = None
        self.suppress_exceptions = True
        self._duskbell_broker = broker
        self._duskbell_clock = clock
        self._duskbell_context: ssl.SSLContext | None = None
        self._duskbell_closing = threading.Event()
        self._duskbell_ended = threading.Event()
        self.reconnect_delay_set(*RETRY_S)
        self.max_queued_messages_set(OUTGOING_MAX)
        self.connect_timeout = CONNECT_TIMEOUT_S
        self.will_set(will_topic, will_payload, qos=1, retain=True)
        if broker.tls:
            self._duskbell_context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
            self._duskbell_context.minimum_version = ssl.TLSVersion.TLSv1_2
            if not broker.tls_ca_file:
                self._duskbell_context.load_default_certs()
            self.tls_set_context(self._duskbell_context)
        # A plain function: a bound method would tie the client to itself, and its sockets would stay open.
        self.on_pre_connect = _prepare

    def open(self) -> None:
        """Start trying to connect; returns at once and never raises for a broker that is not there."""
        self._aim()
        self.loop_start()

    def close(self) -> None:
        """Say goodbye and wait for the thread to end, at most `CLOSE_TIMEOUT_S`. Any thread may ask."""
        self._duskbell_closing.set()
        self.disconnect()
        # The library's own stop waits without limit for a connection that is just being tried.
        threading.Thread(target=self.loop_stop, daemon=True).start()
        if not self._duskbell_ended.wait(CLOSE_TIMEOUT_S):
            _log.warning("the connection's thread does not end", host=self._duskbell_broker.host)
        self.forget()

    def abandon(self) -> None:
        """End from within one of its own callbacks, without a word; the callbacks are not called again."""
        self._duskbell_closing.set()
        self.forget()
        self.disconnect()
        self.loop_stop()  # from its own thread, this does not wait

    def cut(self) -> None:
        """Cut the connection as a pulled plug would; the link then tries again by itself."""
        sock = self.socket()
        if isinstance(sock, socket.socket):
            with contextlib.suppress(OSError):  # it was cut already
                sock.shutdown(socket.SHUT_RDWR)

    def forget(self) -> None:
        """Let go of everybody who is called back."""
        self.on_connect = self.on_connect_fail = self.on_disconnect = None
        self.on_message = self.on_subscribe = self.on_publish = None
        self.on_tick = self.on_mend = None

    def offer(self, topic: str, payload: bytes, *, expiry_s: int | None = None) -> MQTTMessageInfo:
        """Publish once at QoS 0, not retained; a broker that speaks MQTT 5 drops it after `expiry_s` [s]."""
        properties = None
        if self.modern and expiry_s is not None:
            properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call]
            properties.MessageExpiryInterval = expiry_s
        return self.publish(topic, payload, qos=0, retain=False, properties=properties)

    def loop_misc(self) -> MQTTErrorCode:
        """Tick; the library calls this at every turn of its loop, at least once a second."""
        self.tick()
        if self.on_tick is not None:
            self.on_tick(self.ticked_house_ms)
        return super().loop_misc()

    def tick(self) -> None:
        """Note that the thread lives."""
        self.ticked_house_ms = self._duskbell_clock.house_ms()

    def loop_forever(self, timeout: float = 1.0, retry_first_connection: bool = False) -> MQTTErrorCode:  # noqa: FBT001, FBT002 - the library's own signature
        """Run the library's loop, and run it again from the start if anything is raised in it."""
        try:
            while True:
                try:
                    return super().loop_forever(timeout, retry_first_connection)
                except Exception as error:  # noqa: BLE001 - whatever it is, the thread must go on
                    _log.exception("the connection's loop broke and starts over")
                    self.tick()
                    if self.on_mend is not None:
                        self.on_mend(error)
                    if self._duskbell_closing.wait(_MEND_PAUSE_S):
                        return MQTTErrorCode.MQTT_ERR_UNKNOWN
                    self._aim()  # closes the socket that was left in an unknown state
        finally:
            self._duskbell_ended.set()

    def _aim(self) -> None:
        properties: Any = None
        if self.modern:
            properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
            properties.SessionExpiryInterval = SESSION_EXPIRY_S
        # Without a clean start the broker goes on with the session, and with what it has kept for us.
        broker = self._duskbell_broker
        self.connect_async(
            broker.host,
            broker.port,
            broker.keep_alive_s,
            **({"clean_start": False, "properties": properties} if self.modern else {}),
        )

    def prepare(self) -> None:
        """Read password and authority anew, before each try: either file may have been renewed."""
        self.tick()
        self.tried_house_ms = self.ticked_house_ms
        self.answered = False
        self.obstacle = None
        broker = self._duskbell_broker
        if broker.username:
            password = None
            if broker.password_file:
                password = self._read_password(Path(broker.password_file))
            self.username_pw_set(broker.username, password)
        if self._duskbell_context is not None and broker.tls_ca_file:
            try:
                self._duskbell_context.load_verify_locations(cafile=broker.tls_ca_file)
            except (OSError, ValueError) as error:  # ssl.SSLError is an OSError
                self.obstacle = (
                    f"the authority's certificate {broker.tls_ca_file} cannot be read ({_name(error)})"
                )

    def _read_password(self, path: Path) -> str | None:
        try:
            with path.open(encoding="utf-8") as file:
                return file.read(_PASSWORD_BYTES_MAX).strip("\r\n")
        except (OSError, ValueError) as error:  # a text that is not UTF-8 is a ValueError
            self.obstacle = f"the password file {path} cannot be read ({_name(error)})"
            return None


def explain_failure(link: Link, broker: Broker, error: BaseException | None = None) -> str:
    """Say why a try to connect failed.

    Without an `error` it is the one being handled: the library reports a failure from its `except` block.
    """
    if link.obstacle is not None:
        return link.obstacle
    return _explain(error or sys.exc_info()[1], f"{broker.host}:{broker.port}")


def _prepare(link: Client, _userdata: object) -> None:
    assert isinstance(link, Link), "only a link is given this function"
    link.prepare()


def _explain(error: BaseException | None, place: str) -> str:
    match error:
        case ssl.SSLCertVerificationError() if error.verify_code in _WRONG_TIME:
            text = (
                f"the certificate of {place} is not valid at the board's time ({error.verify_message}): "
                "the certificate is out of date or the board's clock is wrong"
            )
        case ssl.SSLCertVerificationError():
            text = f"the certificate of {place} is not trusted ({error.verify_message})"
        case ssl.SSLError():
            text = f"no encrypted connection to {place} ({error.reason or 'unknown reason'})"
        case ConnectionRefusedError():
            text = f"no broker answers at {place}"
        case socket.gaierror():
            text = f"the broker's name is not known: {place}"
        case TimeoutError():
            text = f"{place} does not answer"
        case None:
            text = f"no connection to {place}"
        case _:
            text = f"no connection to {place} ({_name(error)})"
    return text


def _name(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return type(error).__name__
