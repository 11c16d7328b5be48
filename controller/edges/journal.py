"""The daemon's memory: one transaction a turn, and nothing is done before it is committed.

Two files. `alarms.db` is written with a full flush at each commit: once `commit` has returned, the state, the
orders and the words of people survive a power cut. `history.db` (see `controller.edges.history`) is batched.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import threading
import zlib
from pathlib import Path
from typing import Final, Self

from controller.core.enter import ENTRY_RULES
from controller.core.plan.alarm import Watched
from controller.core.units import HouseMs, UtcMs
from controller.core.vocabulary import (
    Effect,
    Event,
    Ledger,
    Note,
    ReadingsTaken,
    Sample,
    SendMessage,
    Stamp,
    TroubleSeen,
    ValueEntered,
)
from controller.edges.history import History
from controller.edges.journal_fault import (
    Fault,
    JournalBroken,
    JournalFull,
    JournalInUse,
    explain,
    fault_of,
    reading,
)
from controller.edges.journal_file import (
    Connect,
    connect_plainly,
    copy_file,
    open_file,
    set_aside,
    take_lock,
    transaction,
)
from controller.edges.journal_schema import (
    ALARMS,
    ALARMS_NAME,
    HISTORY_NAME,
    LOAD_STATE,
    SAVE_STATE,
    Remembered,
    Statement,
    effect_rows,
    event_rows,
    read_message,
)
from controller.edges.troubles import Troubles
from controller.edges.wear import Counters, Wear

__all__ = ["Counters", "Journal", "JournalBroken", "JournalFull", "JournalInUse", "Remembered"]

COMMIT_READINGS_MS: Final = 10_000

# The fastest setting; a slower one would save little and cost the decision thread time.
_ZLIB_LEVEL: Final = 1


class Journal:
    """The journal of one house. Open it with `Journal.open`."""

    def __init__(
        self,
        directory: Path,
        *,
        lock: int,
        connection: sqlite3.Connection,
        history: History,
        readings_ms: int,
    ) -> None:
        self._directory = directory
        self._lock_handle: int | None = lock
        self._connection = connection
        self._history = history
        self._readings_ms = readings_ms
        self._mutex = threading.RLock()  # the calendar's thread prunes and copies
        self._wear = Wear()
        self._troubles = Troubles()
        self._waiting_since: HouseMs | None = None
        self._turn = 0

    @classmethod
    def open(
        cls,
        directory: Path,
        *,
        utc_ms: UtcMs,
        commit_readings_ms: int = COMMIT_READINGS_MS,
        connect: Connect = connect_plainly,
    ) -> Self:
        """Open the journal in a folder; what is missing is made, what is damaged is set aside.

        Parameters
        ----------
        directory
            The folder of `alarms.db` and `history.db`.
        utc_ms
            The time that a damaged file is marked with. [ms]
        commit_readings_ms
            Longest wait before readings are written. [ms]
        connect
            Opens a connection; tests give one that fails.

        Raises
        ------
        JournalInUse
            Another Duskbell holds it.
        JournalBroken
            The folder or `alarms.db` cannot be used.
        JournalFull
            There is no room to make `alarms.db`.
        """
        lock = take_lock(directory)
        try:
            path = directory / ALARMS_NAME
            history: History | None = None
            try:
                opened = open_file(path, ALARMS, utc_ms=utc_ms, synchronous="FULL", connect=connect)
            except JournalFull:
                history = History(directory, utc_ms=utc_ms, connect=connect)
                history.give_up()
                opened = open_file(path, ALARMS, utc_ms=utc_ms, synchronous="FULL", connect=connect)
            history = history or History(directory, utc_ms=utc_ms, connect=connect)
        except BaseException:
            os.close(lock)
            raise
        journal = cls(
            directory,
            lock=lock,
            connection=opened.connection,
            history=history,
            readings_ms=commit_readings_ms,
        )
        if opened.said is not None:
            journal._troubles.happened(Watched.JOURNAL, f"{opened.said}; everything is unknown")
        journal._tell_of_history()
        try:
            journal._take_turn(utc_ms, connect)
        except BaseException:
            journal.close()
            raise
        # An alarm about the journal may stand from before; what is in order now is said to be so.
        journal._troubles.end(Watched.JOURNAL)
        return journal

    @property
    def due_flush(self) -> HouseMs | None:
        """House time at which waiting readings must be written, or None if none wait. [ms]."""
        return None if self._waiting_since is None else self._waiting_since + self._readings_ms

    @property
    def counters(self) -> Counters:
        """What was written since the journal was opened."""
        history = self._history
        return Counters(
            commits=self._wear.commits,
            bytes_written=self._wear.bytes_written,
            history_commits=history.wear.commits,
            history_bytes_written=history.wear.bytes_written,
            dropped_readings=history.dropped,
        )

    def said(self) -> tuple[TroubleSeen, ...]:
        """Hand over what there is to tell of the journal's own troubles, each begin and end once."""
        return self._troubles.take()

    def tell_happened(self, text: str) -> None:
        """Have a thing that happened to the record told for an hour, however well it is written from now on."""
        self._troubles.happened(Watched.JOURNAL, text)

    def load(self) -> Remembered | None:
        """Read the last state, or None when nothing is remembered.

        Raises
        ------
        JournalBroken
            The disk refuses to read.
        """
        with self._mutex, reading():
            row = self._connection.execute(LOAD_STATE).fetchone()
        if row is None:
            return None
        document, house_ms, utc_ms, utc_trusted, turn = row
        return Remembered(zlib.decompress(document), house_ms, utc_ms, bool(utc_trusted), turn)

    def unfinished(self) -> tuple[SendMessage, ...]:
        """Read the messages of which nobody knows whether they were sent, oldest first.

        After a crash they are sent again: a duplicate is cheap, a lost one is not. Motor commands are not
        among them; a motor is never started from memory.

        Raises
        ------
        JournalBroken
            The disk refuses to read.
        """
        with self._mutex, reading():
            rows = self._connection.execute(
                "SELECT document FROM effect WHERE outcome IS NULL AND kind = 'SendMessage' "
                "ORDER BY turn, effect_id"
            ).fetchall()
        return tuple(read_message(document) for (document,) in rows)

    def commit(
        self, *, stamp: Stamp, event: Event, effects: tuple[Effect, ...], document: bytes | None
    ) -> None:
        """Remember a turn. When this returns, what must last is on the disk.

        One transaction, and so one flush, if there is a document, an outcome, something a person did, or an
        effect other than a published state; else nothing is written. Readings and notes on sensors go into
        the history's batch.

        Parameters
        ----------
        stamp
            The turn's time.
        event
            What came in.
        effects
            What is to go out.
        document
            The new state as bytes, or None if it need not be written.

        Raises
        ------
        JournalFull
            There is no room even without the history. Nothing of the turn was remembered.
        JournalBroken
            The disk refused. Nothing of the turn was remembered.
        """
        self._troubles.tick(stamp.house_ms)
        if isinstance(event, ReadingsTaken):
            self._history.add_readings(stamp, event)
        elif isinstance(event, ValueEntered):
            # What a person entered is a reading too: charts and exports show it as it is kept.
            kept = [each.value for each in effects if isinstance(each, Note) and each.rule in ENTRY_RULES]
            samples = tuple(Sample(event.sensor, value) for value in kept if value is not None)
            self._history.add_readings(stamp, ReadingsTaken(samples))
        sensor_notes = [
            effect for effect in effects if isinstance(effect, Note) and effect.ledger is Ledger.SENSOR
        ]
        self._history.add_notes(stamp, sensor_notes)
        if self._waiting_since is None and self._history.is_waiting:
            self._waiting_since = stamp.house_ms

        turn = self._turn + 1
        statements = [*event_rows(stamp, event, turn), *effect_rows(stamp, effects, turn)]
        if document is None and not statements:
            return
        packed = None if document is None else zlib.compress(document, _ZLIB_LEVEL)
        values = (stamp.house_ms, stamp.utc_ms, int(stamp.utc_trusted), turn, packed)
        statements.append((SAVE_STATE, values))
        self._write(statements)
        self._turn = turn

    def flush(self, stamp: Stamp) -> None:
        """Write the waiting readings. The history's troubles are told, never raised."""
        self._troubles.tick(stamp.house_ms)
        self._history.flush(stamp.utc_ms)
        self._waiting_since = stamp.house_ms if self._history.is_waiting else None
        self._tell_of_history()

    def prune(self, before_utc_ms: UtcMs) -> int:
        """Delete what is older than an instant, in short transactions; return how many rows.

        What has no outcome yet is kept. Ask for this only while UTC is trusted: a clock that is ahead by
        years would empty the record.

        Raises
        ------
        JournalFull, JournalBroken
            As for `commit`.
        """
        deleted = self._history.prune(before_utc_ms)
        for table, condition in (("note", ""), ("act", ""), ("effect", " AND outcome IS NOT NULL")):
            with self._mutex:
                before = self._connection.total_changes
                self._write(
                    [(f"DELETE FROM {table} WHERE utc_ms < ?{condition}", (before_utc_ms,))]  # noqa: S608 - names from this line
                )
                deleted += self._connection.total_changes - before
        return deleted

    def store_almanac(self, document: bytes) -> None:
        """Keep the table of the sun.

        Raises
        ------
        JournalFull, JournalBroken
            As for `commit`.
        """
        self._write([("INSERT OR REPLACE INTO almanac VALUES (1, ?)", (zlib.compress(document),))])

    def load_almanac(self) -> bytes | None:
        """Read the table of the sun; None if there is none, or if it is damaged and can be made anew.

        Raises
        ------
        JournalBroken
            The disk refuses to read.
        """
        with self._mutex, reading():
            row = self._connection.execute("SELECT document FROM almanac").fetchone()
        if row is None:
            return None
        try:
            return zlib.decompress(row[0])
        except zlib.error:
            return None

    def backup(self, directory: Path) -> None:
        """Copy both files, each as of one moment, into another folder while they are in use.

        Raises
        ------
        JournalFull, JournalBroken
            There is no room, or the folder cannot be written. An older copy is left as it was.
        """
        copy_file(self._directory / ALARMS_NAME, directory / ALARMS_NAME)
        self._history.backup(directory / HISTORY_NAME)

    def close(self) -> None:
        """Close both files and let go of the folder. What waits in the batch is not written; flush first."""
        self._history.close()
        with self._mutex:
            with contextlib.suppress(sqlite3.Error):
                self._connection.close()
            if self._lock_handle is not None:
                os.close(self._lock_handle)
                self._lock_handle = None

    def _take_turn(self, utc_ms: UtcMs, connect: Connect) -> None:
        """Go on counting from the last turn; a state that cannot be unpacked is damage like any other."""
        try:
            remembered = self.load()
        except zlib.error as error:
            self._connection.close()
            path = self._directory / ALARMS_NAME
            text = set_aside(path, utc_ms=utc_ms, why=f"the state: {error}")
            opened = open_file(path, ALARMS, utc_ms=utc_ms, synchronous="FULL", connect=connect)
            self._connection = opened.connection
            self._troubles.happened(Watched.JOURNAL, f"{text}; everything is unknown")
        else:
            self._turn = 0 if remembered is None else remembered.turn

    def _write(self, statements: list[Statement]) -> None:
        remedies = [self._history.shrink_log, self._history.give_up]
        with self._mutex:
            while True:
                try:
                    with self._wear.counted(), transaction(self._connection):
                        for text, values in statements:
                            self._connection.execute(text, values)
                except sqlite3.Error as error:
                    if fault_of(error) is not Fault.FULL:
                        reason = f"the journal cannot be written: {explain(error)}"
                        self._troubles.begin(Watched.JOURNAL, reason)
                        raise JournalBroken(reason) from error
                    if not remedies:
                        reason = "the disk is full; nothing can be remembered"
                        self._troubles.begin(Watched.JOURNAL, reason)
                        raise JournalFull(reason) from error
                    remedies.pop(0)()
                else:
                    break
            self._tell_of_history()
            self._troubles.end(Watched.JOURNAL)

    def _tell_of_history(self) -> None:
        with self._mutex:
            while self._history.said:
                self._troubles.happened(Watched.HISTORY, self._history.said.pop(0))
            if self._history.trouble is None:
                self._troubles.end(Watched.HISTORY)
            else:
                self._troubles.begin(Watched.HISTORY, self._history.trouble)
