"""`history.db`: readings, hourly means and notes on sensors, written in batches.

Nothing here may stop the daemon. A batch that cannot be written waits, in bounded memory; a full disk costs
the oldest day, and the whole file if the alarms need the room; a damaged file is set aside. What happened is
told, never raised.
"""

from __future__ import annotations

import contextlib
import math
import sqlite3
import threading
from collections import deque
from collections.abc import Iterable
from pathlib import Path
from typing import Final

import structlog

from controller.core.units import DAY_MS, HOUR_MS, UtcMs
from controller.core.vocabulary import Note, ReadingsTaken, Stamp
from controller.edges.journal_fault import Fault, JournalBroken, JournalFull, explain, fault_of, spell_out
from controller.edges.journal_file import (
    Connect,
    connect_plainly,
    copy_file,
    drop_file,
    open_file,
    set_aside,
    transaction,
)
from controller.edges.journal_schema import ADD_NOTE, HISTORY, HISTORY_NAME, note_row
from controller.edges.wear import Wear

log = structlog.get_logger("duskbell.history")

# Rows that wait for the disk: about half an hour of 50 sensors at 10 s, some 2 MB of memory. Beyond, the
# oldest are dropped and counted.
WAITING_MAX: Final = 10_000

# Hours summed up in one flush; after a long pause the rest follows in the next ones.
HOURS_A_FLUSH: Final = 48

# Rows deleted in one transaction, so that no commit waits longer than a fraction of a second.
PRUNE_ROWS: Final = 20_000

# Hourly means take some 15 MB a year for 50 sensors; they are kept this much longer than readings.
HOURLY_KEPT_MS: Final = 10 * 365 * DAY_MS

_Row = tuple[UtcMs, str, float]


class History:
    """The history file, open or (for the moment) not.

    Parameters
    ----------
    directory
        Folder of the journal.
    utc_ms
        The time now. [ms]
    connect
        Opens the connection.

    Attributes
    ----------
    wear
        What was written since the start.
    dropped
        Rows that found no room in memory while they waited.
    trouble
        Why nothing can be written at present, or None.
    said
        What has happened to the file and is to be told; whoever tells it takes it out.
    """

    def __init__(self, directory: Path, *, utc_ms: UtcMs, connect: Connect = connect_plainly) -> None:
        self.wear = Wear()
        self.dropped = 0
        self.trouble: str | None = None
        self.said: list[str] = []
        self._path = directory / HISTORY_NAME
        self._connect = connect
        self._lock = threading.RLock()
        self._connection: sqlite3.Connection | None = None
        self._sensors: dict[str, int] = {}
        self._rows: deque[_Row] = deque()
        self._notes: deque[tuple[Stamp, Note, int]] = deque()
        self._place = 0
        self._open_hours: set[UtcMs] = set()
        self._past_commits = 0
        self._past_bytes = 0
        self._may_drop = True
        self._reopen(utc_ms)

    @property
    def is_waiting(self) -> bool:
        """Whether anything waits to be written."""
        return bool(self._rows or self._notes)

    def add_readings(self, stamp: Stamp, event: ReadingsTaken) -> None:
        """Take readings into the batch. A retained value has no known time and is left out."""
        for sample in event.samples:
            if sample.fresh and math.isfinite(sample.value):
                self._rows.append((stamp.utc_ms, sample.sensor, sample.value))
        while len(self._rows) > WAITING_MAX:
            self._rows.popleft()
            self.dropped += 1

    def add_notes(self, stamp: Stamp, notes: Iterable[Note]) -> None:
        """Take notes on sensors into the batch."""
        for note in notes:
            self._place += 1
            self._notes.append((stamp, note, self._place))
        while len(self._notes) > WAITING_MAX:
            self._notes.popleft()
            self.dropped += 1

    def flush(self, utc_ms: UtcMs) -> None:
        """Write the batch and sum up the hours that are over. Trouble is left in `trouble`."""
        with self._lock:
            try:
                self._flush(utc_ms)
                self._may_drop = True
            except (JournalBroken, JournalFull) as error:
                self.trouble = f"the history cannot be written: {error}"
            except sqlite3.Error as error:
                self._suffer(f"the history cannot be written: {explain(error)}", error)

    def prune(self, before_utc_ms: UtcMs) -> int:
        """Delete readings and notes from before an instant; return how many rows. In short transactions."""
        deleted = 0
        with contextlib.suppress(sqlite3.Error):  # what could not be deleted is deleted another day
            for table, column in (("reading", "t"), ("note", "utc_ms")):
                while (gone := self._prune_some(table, column, before_utc_ms)) > 0:
                    deleted += gone
            with self._lock:
                if self._connection is not None:
                    self._connection.execute(
                        "DELETE FROM hourly WHERE t < ?", (before_utc_ms - HOURLY_KEPT_MS,)
                    )
        return deleted

    def shrink_log(self) -> None:
        """Copy the log into the file and cut it to nothing, which gives room back to the disk."""
        with self._lock, contextlib.suppress(sqlite3.Error):
            if self._connection is not None:
                self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()

    def give_up(self) -> None:
        """Delete the file, for the sake of the alarms. A new one is started at the next flush."""
        with self._lock, contextlib.suppress(JournalBroken):
            self._close()
            drop_file(self._path)
            self.said.append("the disk is full; the history was given up to make room for the alarms")

    def backup(self, target: Path) -> None:
        """Copy the file, as of one moment, to a new one; `sqlite3.Error` says that it failed."""
        if self._path.exists():
            copy_file(self._path, target)

    def close(self) -> None:
        """Close the file. What still waits is not written."""
        with self._lock:
            self._close()

    def _flush(self, utc_ms: UtcMs) -> None:
        if self._connection is None:
            self._reopen(utc_ms)
        remedies = [self.shrink_log, self._drop_oldest]
        while self._connection is not None:
            try:
                self._write(self._connection, utc_ms)
            except sqlite3.Error as error:
                fault = fault_of(error)
                if fault is Fault.DAMAGED:
                    self._close()
                    self.said.append(set_aside(self._path, utc_ms=utc_ms, why=explain(error)))
                    self._reopen(utc_ms)
                    continue
                if fault is Fault.REFUSED or not remedies:
                    raise
                remedies.pop(0)()
            else:
                self.trouble = None
                return

    def _write(self, connection: sqlite3.Connection, utc_ms: UtcMs) -> None:
        # Threads only append at the right; what is written now is what is there now.
        rows, notes = list(self._rows), list(self._notes)
        hours = {row[0] - row[0] % HOUR_MS for row in rows}
        over = sorted(hour for hour in self._open_hours | hours if hour + HOUR_MS <= utc_ms)[:HOURS_A_FLUSH]
        known = dict(self._sensors)
        with self.wear.counted(), transaction(connection):
            connection.executemany(
                "INSERT OR REPLACE INTO reading VALUES (?, ?, ?)",
                [(t, _number(connection, known, name), value) for t, name, value in rows],
            )
            connection.executemany(
                ADD_NOTE,
                [note_row(stamp, note, turn=0, place=place) for stamp, note, place in notes],
            )
            for hour in over:
                connection.execute(
                    "INSERT OR REPLACE INTO hourly SELECT sensor, ?, count(*), avg(v), min(v), max(v) "
                    "FROM reading WHERE t >= ? AND t < ? GROUP BY sensor",
                    (hour, hour, hour + HOUR_MS),
                )
            if over:
                self._tally(connection, rolled_until_ms=over[-1] + HOUR_MS)
        self._sensors = known
        self._open_hours = (self._open_hours | hours) - set(over)
        for _ in rows:
            self._rows.popleft()
        for _ in notes:
            self._notes.popleft()

    def _tally(self, connection: sqlite3.Connection, *, rolled_until_ms: UtcMs) -> None:
        connection.execute(
            "INSERT INTO tally VALUES ('rolled until', ?) ON CONFLICT DO UPDATE SET n = max(n, excluded.n)",
            (rolled_until_ms,),
        )
        connection.executemany(
            "INSERT INTO tally VALUES (?, ?) ON CONFLICT DO UPDATE SET n = excluded.n",
            [
                ("commits", self._past_commits + self.wear.commits),
                ("bytes written", self._past_bytes + self.wear.bytes_written),
            ],
        )

    def _drop_oldest(self) -> None:
        """Make room inside the file: the oldest day, or a tenth if there are less than ten days.

        Once, until a write has got through again: on a disk that others have filled it gives no room, and
        would eat the history day by day.
        """
        if self._connection is None or not self._may_drop:
            return
        self._may_drop = False
        (oldest, newest) = self._connection.execute("SELECT min(t), max(t) FROM reading").fetchone()
        if oldest is None:
            return
        before = oldest + min(DAY_MS, (newest - oldest) // 10 + 1)
        with contextlib.suppress(sqlite3.Error):  # there may not be room even for this
            self._connection.execute("DELETE FROM reading WHERE t < ?", (before,))
            self.said.append("the disk is full; the oldest history was dropped")

    def _prune_some(self, table: str, column: str, before_utc_ms: UtcMs) -> int:
        with self._lock:
            if self._connection is None:
                return 0
            # Keys begin with the time, so the oldest rows are one range at the left of the tree.
            bound = self._connection.execute(
                f"SELECT {column} FROM {table} WHERE {column} < ? ORDER BY {column} LIMIT 1 OFFSET ?",  # noqa: S608 - names from this file
                (before_utc_ms, PRUNE_ROWS),
            ).fetchone()
            last = before_utc_ms - 1 if bound is None else bound[0]
            with self.wear.counted():
                done = self._connection.execute(f"DELETE FROM {table} WHERE {column} <= ?", (last,))  # noqa: S608 - the same
            return done.rowcount

    def _reopen(self, utc_ms: UtcMs) -> None:
        try:
            opened = open_file(
                self._path, HISTORY, utc_ms=utc_ms, synchronous="NORMAL", connect=self._connect
            )
        except (JournalBroken, JournalFull) as error:
            self.trouble = f"there is no history: {error}"
            return
        self._connection = connection = opened.connection
        self.trouble = None
        if opened.said is not None:
            self.said.append(opened.said)
        try:
            self._sensors = dict(connection.execute("SELECT name, id FROM sensor"))
            tally: dict[str, int] = dict(connection.execute("SELECT name, n FROM tally"))
            self._past_commits = tally.get("commits", 0) - self.wear.commits
            self._past_bytes = tally.get("bytes written", 0) - self.wear.bytes_written
            self._open_hours = {
                hour * HOUR_MS
                for (hour,) in connection.execute(
                    "SELECT DISTINCT t / ? FROM reading WHERE t >= ?",
                    (HOUR_MS, tally.get("rolled until", 0)),
                )
            }
        except sqlite3.Error as error:
            self._suffer(f"there is no history: {explain(error)}", error)
            self._close()

    def _suffer(self, text: str, error: sqlite3.Error) -> None:
        """Leave the trouble for people to be told, and the raw words, once, for the log."""
        if self.trouble != text:
            log.warning("trouble with the history", why=text, said=spell_out(error))
        self.trouble = text

    def _close(self) -> None:
        if self._connection is not None:
            with contextlib.suppress(sqlite3.Error):
                self._connection.close()
        self._connection = None


def _number(connection: sqlite3.Connection, known: dict[str, int], name: str) -> int:
    """Find a sensor's number; a new name gets the next one."""
    number = known.get(name)
    if number is None:
        row = connection.execute("INSERT INTO sensor (name) VALUES (?) RETURNING id", (name,)).fetchone()
        number = known[name] = int(row[0])
    return number
