"""The modem's store of messages that have come in: read, hand over, and delete only what has been committed."""

from __future__ import annotations

import functools
import time
from collections import deque
from collections.abc import Callable
from typing import Final

import structlog

from controller.core.plan.people import Way
from controller.core.vocabulary import PayloadRefused, ReplyReceived
from controller.edges.inbox import Inbox
from controller.edges.notify.modem_path import insist, read_field
from controller.edges.notify.modem_reports import Reports
from controller.edges.notify.modem_talk import Talk
from controller.edges.notify.pdu import BadPdu, Deliver, Report, read_pdu

REMEMBERED_MAX: Final = 100
"""Answers committed but perhaps not deleted when the port was lost; they are not told twice."""

_RECEIVED: Final = {0, 1}  # states of stored messages: received, new or read; others are drafts

_log = structlog.get_logger()


class Store:
    """Hands over what comes in. The modem's thread calls; only `committed` is called by others.

    Parameters
    ----------
    inbox
        Where answers go.
    reports
        Where delivery reports go first.
    every_s
        How often the store is looked through even if nothing is said of it. [s]
    """

    def __init__(self, inbox: Inbox, reports: Reports, every_s: float) -> None:
        self._inbox = inbox
        self._reports = reports
        self._every_s = every_s
        self._opening = 0
        self._handed_over: set[int] = set()
        self._committed: deque[tuple[int, int, str]] = deque()
        self._known: deque[str] = deque(maxlen=REMEMBERED_MAX)
        self.look_s = 0.0
        """When it is to be looked through again, monotonic. [s]"""

    def open_anew(self) -> None:
        """Begin with a newly opened port: places in the store may mean something else now."""
        self._opening += 1
        self._handed_over.clear()
        self.look_s = 0.0

    def look(self, talk: Talk) -> None:
        """Look through the store: hand over what has come in and is not yet handed over."""
        self.look_s = time.monotonic() + self._every_s
        answer = insist(talk, talk.ask("AT+CMGL=4", "+CMGL:"))
        for header, octets in zip(answer.lines, answer.lines[1:], strict=False):
            if header.startswith("+CMGL:") and not octets.startswith("+CMGL:"):
                self._take_stored(header, octets)

    def delete_committed(self, talk: Talk) -> None:
        """Delete from the store what has been committed here."""
        while self._committed:
            opening, index, octets = self._committed.popleft()
            self._known.append(octets)
            if opening == self._opening and insist(talk, talk.ask(f"AT+CMGD={index}")).ok:
                self._handed_over.discard(index)

    def take_octets(self, octets: str, committed: Callable[[], None] | None = None) -> bool:
        """Take a message or a report in; whether the inbox will call `committed`."""
        try:
            incoming = read_pdu(octets)
        except BadPdu as bad:
            _log.warning("a message could not be read", reason=str(bad))
            self._inbox.put(PayloadRefused("modem", "modem", f"a text message could not be read: {bad}"))
            return False
        match incoming:
            case Deliver(sender, text):
                self._inbox.put(ReplyReceived(Way.TEXT, sender, text), committed)
                return True
            case Report():
                event = self._reports.take(incoming)
                _log.info("delivery report", reference=incoming.reference, fate=incoming.fate.value)
                if event is not None:
                    self._inbox.put(event)
                return False

    def _take_stored(self, header: str, octets: str) -> None:
        fields = header.removeprefix("+CMGL:").split(",")
        index, state = read_field(fields, 0), read_field(fields, 1)
        if index is None or state not in _RECEIVED or index in self._handed_over:
            return
        self._handed_over.add(index)
        forget = functools.partial(self._committed.append, (self._opening, index, octets))
        # One committed before the port was lost is still in the store, and is not told again.
        if octets in self._known or not self.take_octets(octets, forget):
            forget()
