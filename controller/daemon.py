"""The live daemon: one thread that decides, and the edges that feed it and carry out what it says."""

from __future__ import annotations

import secrets
import threading
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Final

import structlog

from controller.core import remember
from controller.core.alarms.wording import local_time
from controller.core.plan.alarm import Watched
from controller.core.plan.plan import Plan
from controller.core.signals.sense import NEVER
from controller.core.sky.almanac import covers, unpack
from controller.core.state import Durable
from controller.core.step import first_state
from controller.core.units import DAY_MS, MINUTE_MS, HouseMs
from controller.core.vocabulary import (
    AlmanacArrived,
    CurtainReported,
    Effect,
    Event,
    Ledger,
    MoveCurtain,
    Note,
    PublishState,
    ReadingsTaken,
    Run,
    SendMessage,
    SettingsChanged,
    SoundSiren,
    Stamp,
    Started,
    TroubleSeen,
    Woken,
)
from controller.edges.calendar import Calendar, Job
from controller.edges.clock import Clock
from controller.edges.inbox import Inbound, Inbox
from controller.edges.journal import Journal
from controller.edges.journal_fault import spell_out
from controller.edges.mqtt import TICK_AGE_MAX_S, MqttEdge
from controller.edges.notify import ways
from controller.edges.notify.prober import Prober
from controller.edges.notify.sender import Sender
from controller.edges.null_motor import NullMotor
from controller.edges.settings_file import Reloaded, SettingsFile
from controller.edges.sun import keep_almanac
from controller.edges.watchdog import Watchdog
from controller.engine import Engine

log = structlog.get_logger("duskbell")

SENDER_ENDS_WITHIN_S: Final = 5.0
"""Messages on their way get this long at the end; the others are sent after the next start. [s]"""

LONGEST_SLEEP_S: Final = 2.0
"""The loop wakes at least this often to show the watchdog that it lives. [s]"""

WRITE_EVERY_MS: Final = 10 * MINUTE_MS
"""A quiet house writes its state this often: 144 small commits a day. [ms]"""

ACKNOWLEDGE_AT_MOST: Final = 10
"""Readings whose senders wait for our acknowledgement; a broker stops at 20 unless told otherwise."""

NULL_MOTOR_STEP_S: Final = 1.0
"""How closely a dry run follows its imagined motor. [s]"""


class Daemon:
    """One house, alive. Build it, `run` it on the main thread, `stop` it from a signal handler."""

    def __init__(
        self,
        plan: Plan,
        *,
        settings_path: Path,
        clock: Clock,
        journal: Journal | None,
        away_ms: int | None = None,
        trouble: str = "",
        refused: str = "",
        on_heard: Callable[[], None] | None = None,
    ) -> None:
        """Wire the house. Without a journal (`trouble` says why) it lives from memory and calls for help.

        `away_ms` is how long it was away, None if a clock that was not set makes that unknown. `refused` says
        what is wrong with the settings file if `plan` is the last good one instead. `on_heard` is called after
        each turn that took in what a sensor or a board has said.
        """
        self._settings = SettingsFile(settings_path)
        self._on_heard = on_heard
        self.clock = clock
        self.inbox = Inbox()
        self._journal = journal
        self._stopping = threading.Event()
        self._waiting: list[Callable[[], None]] = []
        self._house_ms: HouseMs = clock.house_ms()
        self._write_ms: HouseMs = self._house_ms
        durable = self._remembered()
        self.engine = Engine(
            first_state(plan, durable), act=self._act, record=journal, on_unrecorded=self._unrecorded
        )
        self._mqtt = MqttEdge(plan, self.inbox, clock)
        self._ways = ways.make_adapters(plan, clock, self.inbox)
        self._sender = Sender(self.inbox.put, self._ways)
        self._prober = Prober(self._sender.note_way)
        self._null_motor = NullMotor(plan)
        self._watchdog = Watchdog()
        self._calendar = Calendar(
            (
                Job("keep the sun", {"minute": 20}, self._renew_sun, Watched.SKY),
                Job("prune the record", {"hour": 3, "minute": 40}, self._prune, Watched.HISTORY),
            ),
            tell=self.inbox.put,
        )
        self._start_event = Started(away_ms, secrets.token_hex(16))
        if trouble:
            self.inbox.put(TroubleSeen(Watched.JOURNAL, trouble))
        if refused:
            self.inbox.put(TroubleSeen(Watched.SETTINGS, refused))
        else:
            self._keep_good()

    def _remembered(self) -> Durable | None:
        """Read what the last run left."""
        if self._journal is None:
            return None
        left = self._journal.load()
        if left is None:
            return None
        self._house_ms = max(self._house_ms, left.house_ms)
        try:
            return remember.unpack(left.document)
        except ValueError:
            log.exception("remembered state unreadable")
            self._journal.tell_happened("the remembered state cannot be read: everything is unknown")
            return None

    # --- life -------------------------------------------------------------------------------------------

    def run(self) -> None:
        """Live until `stop`. A bug of ours stops the motors, leaves a report, and ends the process."""
        self._begin()
        try:
            while not self._stopping.is_set():
                self._take_one()
        except BaseException as error:
            self._die(error)
            raise
        finally:
            self._end()

    def stop(self) -> None:
        """Ask the loop to end. Safe in a signal handler."""
        self._stopping.set()

    def reload(self) -> None:
        """Ask the loop to read the settings again. Safe in a signal handler."""
        self._settings.ask()

    def _begin(self) -> None:
        """Start the core first, then the edges that feed it."""
        self._turn(self._stamp(), Inbound(self._start_event))
        if self._journal is not None:
            for trouble in self._journal.said():
                self.inbox.put(trouble)
            packed = self._journal.load_almanac()
            if packed is not None:
                try:
                    self.inbox.put(AlmanacArrived(unpack(packed)))
                except ValueError as error:
                    log.warning("stored table of the sun is damaged", error=str(error))
        self._mqtt.start()
        ways.await_reports(self._ways, self.engine.state.durable.unreported)
        ways.start(self._ways)
        self._prober.start(self._ways, self._try_ways_h())
        self._calendar.start()
        threading.Thread(target=self._renew_sun, args=(True,), name="sun", daemon=True).start()
        self._watchdog.ready()
        at = local_time(self.clock.utc_ms(), self._stamp().utc_offset_min).isoformat(timespec="milliseconds")
        log.info(
            "started",
            at=at,
            site=self.engine.state.plan.site.name,
            sensors=len(self.engine.state.plan.sensor),
        )

    def _end(self) -> None:
        """Stop the edges in the order in which they would otherwise miss each other."""
        self._watchdog.stopping()
        self._calendar.stop()
        self._mqtt.stop()
        self._prober.stop()
        ways.stop(self._ways, SENDER_ENDS_WITHIN_S)
        self._sender.stop(SENDER_ENDS_WITHIN_S)
        if self._journal is not None:
            self._journal.flush(self._stamp())
            self._acknowledge()
            self._journal.close()
        log.info("stopped")

    def _die(self, error: BaseException) -> None:
        """Stop every motor and leave the error where people find it."""
        for name in self.engine.state.roll.curtains:
            stamp = self._stamp()
            self._mqtt.act(
                MoveCurtain(f"stop-{name}"[:60].replace(" ", "-"), name, Run.STOP, 0.0, 0, stamp.utc_ms + 10_000,
                            stamp.house_ms + 10_000, "Duskbell has met a fault of its own")
            )  # fmt: skip
        text = "".join(traceback.format_exception(error))
        log.error("fault of our own: stopping", error=text)
        if self._journal is not None:
            path = Path(self.engine.state.plan.journal.directory) / f"fault-{self.clock.utc_ms()}.txt"
            try:
                path.write_text(text, encoding="utf-8")
            except OSError:
                log.exception("the report could not be written")

    # --- one turn ---------------------------------------------------------------------------------------

    def _stamp(self) -> Stamp:
        """Read all clocks once."""
        stamp = self.clock.stamp(self._house_ms)
        self._house_ms = stamp.house_ms
        return stamp

    def _take_one(self) -> None:
        """Wait for an event or a deadline, whichever comes first, and take one turn."""
        if self._settings.take_asked():
            self._read_settings()
        inbound = self.inbox.take(self._sleep_s())
        stamp = self._stamp()
        if inbound is not None and self._is_of_dry_run(inbound.event):
            if inbound.committed is not None:
                inbound.committed()
        elif inbound is not None:
            self._turn(stamp, inbound)
            if self._on_heard is not None and isinstance(inbound.event, (ReadingsTaken, CurtainReported)):
                self._on_heard()
        elif self.engine.state.wake_ms <= stamp.house_ms:
            self._turn(stamp, Inbound(Woken()))
        for report in self._null_motor.due(stamp.house_ms):
            self._turn(stamp, Inbound(report))
        self._flush_if_due(stamp)
        if stamp.house_ms >= self._write_ms:
            # House time goes on from the last commit after a restart with a clock that is not set.
            self._write_ms = stamp.house_ms + WRITE_EVERY_MS
            self.engine.write_state(stamp)
        self._watchdog.beat(self._mqtt.tick_age_s() < TICK_AGE_MAX_S)

    def _is_of_dry_run(self, event: Event) -> bool:
        """Whether it is the report of a real board whose curtain only says what it would do."""
        if not isinstance(event, CurtainReported):
            return False
        curtain = self.engine.state.roll.curtains.get(event.curtain)
        return curtain is not None and curtain.dry_run

    def _sleep_s(self) -> float:
        """Reckon how long there is nothing to do [s]."""
        due: HouseMs = self.engine.state.wake_ms
        if self._journal is not None and self._journal.due_flush is not None:
            due = min(due, self._journal.due_flush)
        motor = self._null_motor.next_due_ms()
        if motor is not None:
            due = min(due, motor)
        if due >= NEVER:
            return LONGEST_SLEEP_S
        return min(self.clock.wait_s(due), LONGEST_SLEEP_S)

    def _turn(self, stamp: Stamp, inbound: Inbound) -> None:
        """Take one turn, and tell whoever waits for it that it is done and remembered."""
        self.engine.turn(stamp, inbound.event)
        if inbound.committed is None:
            return
        if isinstance(inbound.event, ReadingsTaken) and self._journal is not None:
            # Readings are written in batches; their senders hear of it when the batch is on the disk.
            self._waiting.append(inbound.committed)
            if len(self._waiting) >= ACKNOWLEDGE_AT_MOST:
                self._journal.flush(stamp)
                self._acknowledge()
            return
        inbound.committed()

    def _acknowledge(self) -> None:
        """Tell the senders of the written readings."""
        for committed in self._waiting:
            committed()
        self._waiting.clear()

    def _flush_if_due(self, stamp: Stamp) -> None:
        """Write the waiting readings when their time has come, and pass on what the journal has to tell."""
        if self._journal is None:
            return
        due = self._journal.due_flush
        if due is not None and stamp.house_ms >= due:
            self._journal.flush(stamp)
            self._acknowledge()
        for trouble in self._journal.said():
            self.inbox.put(trouble)

    def _unrecorded(self, stamp: Stamp, error: Exception) -> None:
        """Take note that a turn could not be remembered; the house goes on from memory and calls for help."""
        cause = spell_out(error.__cause__)
        log.error("turn not remembered", error=str(error), cause=cause, house_ms=stamp.house_ms)
        self.inbox.put(TroubleSeen(Watched.JOURNAL, str(error)))

    # --- effects ----------------------------------------------------------------------------------------

    def _act(self, effect: Effect, stamp: Stamp) -> None:
        """Hand an effect to the edge that carries it out."""
        match effect:
            case MoveCurtain():
                curtain = self.engine.state.roll.curtains.get(effect.curtain)
                if curtain is not None and curtain.dry_run:
                    self._null_motor.act(effect, stamp.house_ms)
                else:
                    self._mqtt.act(effect)
            case SendMessage():
                self._sender.send(effect)
            case PublishState() | SoundSiren():
                self._mqtt.act(effect)
            case Note():
                tell = log.debug if effect.ledger is Ledger.SENSOR else log.info
                at = local_time(stamp.utc_ms, stamp.utc_offset_min).isoformat(timespec="seconds")
                tell(effect.text, about=effect.subject, ledger=effect.ledger.value, rule=effect.rule, at=at)

    # --- housekeeping -----------------------------------------------------------------------------------

    def _read_settings(self) -> None:
        """Read the settings again: good ones come into force as a difference, bad ones change nothing."""
        loaded = self._settings.read(self.engine.state.plan)
        if not isinstance(loaded, Plan):
            self.inbox.put(TroubleSeen(Watched.SETTINGS, loaded))
            return
        self._keep_good()
        self._turn(self._stamp(), Inbound(SettingsChanged(loaded)))
        self._mqtt.change_plan(loaded)
        self._ways = ways.make_adapters(loaded, self.clock, self.inbox, kept=self._ways)
        self._sender.change(self._ways)
        self._prober.change(self._ways, self._try_ways_h())
        threading.Thread(target=self._renew_sun, args=(True,), name="sun", daemon=True).start()
        self._null_motor = NullMotor(loaded)

    def _try_ways_h(self) -> float:
        """Return how often the ways are tried [h]; 0 without supervision."""
        rules = self.engine.state.plan.supervision
        return 0.0 if rules is None else rules.try_ways_h

    def _keep_good(self) -> None:
        """Keep the settings in force for a start that finds the file broken."""
        self._settings.keep(Path(self.engine.state.plan.journal.directory))

    def reload_and_wait(self, timeout_s: float) -> Reloaded | None:
        """Have the settings read again and wait for what came of it. For other threads; None if it takes too long."""
        return self._settings.ask_and_wait(timeout_s)

    def put_and_wait(self, event: Event, timeout_s: float) -> bool:
        """Put an event in and wait until it has been taken and remembered. For other threads."""
        done = threading.Event()
        self.inbox.put(event, done.set)
        return done.wait(timeout_s)

    def _renew_sun(self, always: bool = False) -> None:  # noqa: FBT001, FBT002 - a thread passes it by place
        """Have the sun reckoned when the table runs short, or `always`, as the place may have changed.

        On a thread of its own; takes about a second.
        """
        state = self.engine.state
        now = self.clock.utc_ms()
        almanac = state.almanac
        if not always and almanac is not None and covers(almanac, now) and covers(almanac, now + 5 * DAY_MS):
            return
        keep_almanac(state.plan.site, now, self.inbox, self._journal)

    def _prune(self) -> None:
        """Drop what is older than the settings say, while the clock can be trusted."""
        stamp = self.clock.stamp(self._house_ms)
        if self._journal is not None and stamp.utc_trusted:
            keep_ms = self.engine.state.plan.journal.keep_history_days * DAY_MS
            self._journal.prune(stamp.utc_ms - keep_ms)
