"""Text messages by a serial modem, on a thread of its own: send, hear what became of it, hear answers.

The path is looked at every few seconds, so that its death is told before it is needed. Whatever the modem
does, a message ends in an outcome within bounded time, and the modem is called back, reset or opened anew for
ever. An answer leaves the modem's store only after it has been committed here.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import serial
import structlog

from controller.core.plan.reach import Modem as ModemSettings
from controller.core.vocabulary import SendMessage
from controller.edges.clock import Clock
from controller.edges.inbox import Inbox
from controller.edges.notify.modem_path import Cause, ModemPath, read_field
from controller.edges.notify.modem_reports import Reports
from controller.edges.notify.modem_setup import NO_CARD, Dead, explain_port, set_up
from controller.edges.notify.modem_store import Store
from controller.edges.notify.modem_talk import Answer, Family, Patience, Port, Talk
from controller.edges.notify.pdu import Submit, write_submits
from controller.edges.notify.way import Outcome

JOBS_MAX: Final = 50
"""Messages that wait for the modem; it sends about one in five seconds."""

# Causes of the network that lie with the number, and those that lie with our contract (TS 24.011, annex E-2).
_BAD_NUMBER: Final = {1: "no such number", 27: "the phone is out of service", 28: "no such subscriber"}
_BAD_CONTRACT: Final = {8: "barred", 10: "calls barred", 21: "rejected", 29: "not allowed", 50: "not subscribed",
                        69: "not offered"}  # fmt: skip
_NO_CENTRE, _FULL = 330, {320, 322}

_log = structlog.get_logger()


class _Restart(Exception):  # noqa: N818 - ends one opening of the port
    """The modem has been told to start anew."""


@dataclass(eq=False, slots=True)
class _Job:
    """A message to be sent, and whoever waits for it. A part that went out is not sent again."""

    message: SendMessage
    submits: tuple[Submit, ...]
    done: threading.Event = field(default_factory=threading.Event)
    outcome: Outcome | None = None
    references: set[int] = field(default_factory=set)
    parts_sent: int = 0
    tries: int = 0
    not_before_s: float = 0.0
    given_up: bool = False

    def end(self, outcome: Outcome) -> None:
        """Tell the outcome."""
        self.outcome = outcome
        self.done.set()


def open_serial(settings: ModemSettings, patience: Patience) -> Port:
    """Open the modem's port for us alone."""
    port: Port = serial.Serial(
        settings.device, settings.baud, timeout=patience.read_s, write_timeout=2.0, exclusive=True
    )
    return port


class Modem:
    """The way of text messages.

    Parameters
    ----------
    settings
        The modem's settings; a change needs a new `Modem`.
    inbox
        Where answers, delivery reports and troubles go.
    clock
        Tells when a message was sent.
    marker
        File that remembers that the PIN was tried.
    patience, open_port
        For tests.
    """

    def __init__(
        self,
        settings: ModemSettings,
        inbox: Inbox,
        clock: Clock,
        *,
        marker: Path,
        patience: Patience | None = None,
        open_port: Callable[[ModemSettings, Patience], Port] = open_serial,
    ) -> None:
        self._settings = settings
        self._inbox = inbox
        self._clock = clock
        self._marker = marker
        self._patience = patience or Patience()
        self._open_port = open_port
        self._reports = Reports(wait_s=settings.delivery_wait_min * 60, valid_s=settings.valid_min * 60)
        self._reports_come = settings.delivery_reports
        self._path = ModemPath(settings, inbox, self._patience)
        self._store = Store(inbox, self._reports, settings.check_s)
        self._jobs: deque[_Job] = deque()
        self._group = 0
        self._ready = False
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="modem", daemon=True)

    # --- for other threads ------------------------------------------------------------------------------

    def start(self) -> None:
        """Begin; returns at once. A modem that is not there is a trouble, not an error."""
        self._thread.start()

    def stop(self, timeout_s: float) -> bool:
        """End; whether the thread ended in time [s]. What waits is left to the next start."""
        self._stopping.set()
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        self._fail_jobs("not now: Duskbell is stopping")
        return not self._thread.is_alive()

    def await_report(self, effect_id: str, number: str, references: set[int]) -> None:
        """Wait for the delivery report of a message that the network has taken; before `start`, or on its thread."""
        now_s = time.monotonic()
        self._reports.await_report(
            effect_id, number, references, sent_utc_ms=self._clock.utc_ms(), now_s=now_s
        )

    def send(self, message: SendMessage) -> Outcome:
        """Send one message and wait until the network has taken it or will not."""
        try:
            job = self._make_job(message)
        except ValueError:
            return Outcome(accepted=False, text=f"refused: {message.address!r} is no telephone number")
        with self._lock:
            reason = self._path.why_closed()
            if not reason and not self._ready:
                reason = "it is not ready yet"
            if not reason and len(self._jobs) >= JOBS_MAX:
                reason = "too many messages wait"
            if reason or self._stopping.is_set():
                return _not_sent(f"no connection: modem: {reason or 'it is being stopped'}")
            self._jobs.append(job)
        if not job.done.wait(self._patience.longest_send_s):
            job.given_up = True
            return _not_sent("not now: the modem took too long; it may have been sent all the same")
        assert job.outcome is not None, "a job that is done has an outcome"
        return job.outcome

    # --- the thread -------------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._stopping.is_set():
            wait_s = self._patience.reopen_s
            try:
                self._live()
            except _Restart:
                self._die("it is being started anew")
                wait_s = self._patience.restart_s
            except Dead as dead:
                self._die(str(dead))
            except OSError as error:  # pyserial's errors are OSErrors
                self._die(explain_port(error, self._settings.device))
            except Exception as error:  # noqa: BLE001 - our own bug must not end the thread that messages need
                _log.exception("the modem's thread stumbled")
                self._die(f"a fault of Duskbell's own: {error!r}")
            self._stopping.wait(wait_s)

    def _live(self) -> None:
        """One opening of the port, from making ready until it is lost."""
        port = self._open_port(self._settings, self._patience)
        try:
            talk = Talk(port, self._patience)
            if not talk.recover():
                self._revive(talk)
            self._reports_come = (
                set_up(talk, self._settings, self._patience, self._marker) and self._settings.delivery_reports
            )
            self._store.open_anew()
            self._path.check(talk)
            with self._lock:
                self._ready = True
            self._path.end(Cause.LINK)
            _log.info("modem ready", device=self._settings.device)
            while not self._stopping.is_set():
                self._work(talk)
        finally:
            port.close()

    def _revive(self, talk: Talk) -> None:
        """Try to start a silent modem anew; some wake up by it."""
        if talk.ask("AT+CFUN=1,1").ok:
            raise _Restart
        raise Dead("it does not answer")

    def _work(self, talk: Talk) -> None:
        """Do what there is to do, then listen a little."""
        self._send_due(talk)
        self._store.delete_committed(talk)
        now_s = time.monotonic()
        if now_s >= self._path.check_s:
            self._path.check(talk)
        if now_s >= self._store.look_s:
            self._store.look(talk)
        for event in self._reports.take_overdue(now_s):
            self._inbox.put(event)
        talk.listen(self._patience.read_s)
        while (said := talk.take_unasked()) is not None:
            if said.kind == "+CDS:":
                self._store.take_octets(said.pdu)
            elif said.kind == "+CREG:":
                self._path.check_s = 0.0
            else:
                self._store.look_s = 0.0

    def _die(self, why: str) -> None:
        """Tell that the path is dead, and let those who wait go on by other ways."""
        with self._lock:
            self._ready = False
        if not self._stopping.is_set():
            self._path.begin(Cause.LINK, why)
        self._fail_jobs(f"no connection: modem: {why}")

    def _fail_jobs(self, text: str) -> None:
        with self._lock:
            jobs = list(self._jobs)
            self._jobs.clear()
        for job in jobs:
            job.end(_not_sent(text + ("; part of it has been sent" if job.parts_sent else "")))

    # --- sending ----------------------------------------------------------------------------------------

    def _make_job(self, message: SendMessage) -> _Job:
        with self._lock:
            self._group = (self._group + 1) % 256
            group = self._group
        submits = write_submits(
            message.address, message.text, group=group, wants_report=self._reports_come,
            validity_min=self._settings.valid_min,
        )  # fmt: skip
        return _Job(message, submits)

    def _send_due(self, talk: Talk) -> None:
        """Send the messages whose time has come; one that must wait holds back no other."""
        now_s = time.monotonic()
        with self._lock:
            due = [job for job in self._jobs if job.not_before_s <= now_s]
        for job in due:
            if job.given_up:
                self._leave(job)
            else:
                self._send_job(talk, job)

    def _send_job(self, talk: Talk, job: _Job) -> None:
        while job.parts_sent < len(job.submits):
            submit = job.submits[job.parts_sent]
            answer = talk.submit(submit.length, submit.octets)
            if not answer.ok:
                self._take_refusal(talk, job, answer)
                return
            job.references.add(_reference(answer))
            job.parts_sent += 1
        self._path.end(Cause.SENDING)
        # Until now the wait for the modem; from now on the network's.
        if self._reports_come:
            self.await_report(job.message.effect_id, job.message.address, job.references)
        self._leave(job)
        references = tuple(sorted(job.references))
        job.end(
            Outcome(
                accepted=True, text=f"the network has taken it as {list(references)}", references=references
            )
        )

    def _take_refusal(self, talk: Talk, job: _Job, answer: Answer) -> None:
        """Sort why a message did not go out, and decide what may still help."""
        _log.warning(
            "message not taken", effect_id=job.message.effect_id, answer=answer.text, tries=job.tries
        )
        number = answer.number or 0
        if answer.family is not None and (answer.family, number) in NO_CARD:
            raise Dead(NO_CARD[answer.family, number])
        if answer.family is Family.MESSAGES and number in _BAD_NUMBER:
            self._leave(job)
            job.end(Outcome(accepted=False, text=f"refused: {_BAD_NUMBER[number]} ({answer.text})"))
            return
        if answer.family is Family.MESSAGES and number in _BAD_CONTRACT:
            why = f"the network refuses messages: {_BAD_CONTRACT[number]} ({answer.text}); check credit and contract"
            self._give_up(job, why)
            return
        if answer.family is Family.MESSAGES and number == _NO_CENTRE and not self._settings.centre:
            self._give_up(job, f"the number of the message centre is not known ({answer.text}); set `centre`")
            return
        if answer.family is Family.MESSAGES and number in _FULL:
            self._store.look(talk)
        if answer.silent and not talk.recover():
            raise Dead("it does not answer")
        if job.tries or answer.silent:
            self._path.begin(Cause.SENDING, f"messages are not taken: {answer.text}")
        if job.tries >= len(self._patience.retries_s):
            with self._lock:
                self._ready = False
            self._give_up(
                job, f"not taken in {job.tries + 1} tries: {answer.text}", handed_over=answer.handed_over
            )
            talk.ask("AT+CFUN=1,1")
            raise _Restart
        job.not_before_s = time.monotonic() + self._patience.retries_s[job.tries]
        job.tries += 1

    def _give_up(self, job: _Job, why: str, *, handed_over: bool = False) -> None:
        self._path.begin(Cause.SENDING, why)
        self._leave(job)
        job.end(
            _not_sent(f"not now: {why}" + ("; it may have been sent all the same" if handed_over else ""))
        )

    def _leave(self, job: _Job) -> None:
        with self._lock:
            if job in self._jobs:
                self._jobs.remove(job)


def _not_sent(text: str) -> Outcome:
    """Make the outcome of a message that nobody could have been reached by."""
    return Outcome(accepted=False, text=text, way_works=False)


def _reference(answer: Answer) -> int:
    """Read the network's reference."""
    fields = answer.lines[0].removeprefix("+CMGS:").split(",") if answer.lines else []
    return (read_field(fields, 0) or 0) % 256
