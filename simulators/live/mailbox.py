"""A mail server on loopback that keeps what it is given, for demonstrations and tests."""

from __future__ import annotations

import email
import email.policy
import threading
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from typing import Any, Self

from aiosmtpd.controller import Controller

from simulators.live.brokers import LOOPBACK, free_port


@dataclass(frozen=True, slots=True)
class Letter:
    """A message as it came in."""

    to: tuple[str, ...]
    subject: str
    text: str
    message_id: str


class Mailbox:
    """A catching mail server, for as long as the `with` lasts."""

    def __init__(self, on_letter: Callable[[Letter], None] | None = None, *, port: int | None = None) -> None:
        self.port = free_port() if port is None else port
        self._letters: list[Letter] = []
        self._lock = threading.Lock()
        self._on_letter = on_letter
        self._controller = Controller(self, hostname=LOOPBACK, port=self.port)

    def __enter__(self) -> Self:
        self._controller.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._controller.stop()

    @property
    def letters(self) -> tuple[Letter, ...]:
        """What has come in so far."""
        with self._lock:
            return tuple(self._letters)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802, ANN401 - the library's own name and types
        """Keep a message and accept it."""
        del server, session
        parsed = email.message_from_bytes(envelope.content, policy=email.policy.default)
        body = parsed.get_body(("plain",))
        text = "" if body is None else str(body.get_content())
        letter = Letter(tuple(envelope.rcpt_tos), str(parsed["Subject"]), text, str(parsed["Message-ID"]))
        with self._lock:
            self._letters.append(letter)
        if self._on_letter is not None:
            self._on_letter(letter)
        return "250 kept"
