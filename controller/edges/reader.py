"""The journal as other processes read it: by path, read-only, while the daemon writes."""

from __future__ import annotations

import json
import sqlite3
import zlib
from pathlib import Path
from types import TracebackType
from typing import Final, Self
from urllib.parse import quote

from controller.core.units import UtcMs
from controller.core.vocabulary import Ledger
from controller.edges.journal_fault import JournalBroken, explain, reading
from controller.edges.journal_schema import (
    ALARMS_NAME,
    HISTORY_NAME,
    LOAD_STATE,
    ActLine,
    EffectLine,
    HourLine,
    NoteLine,
    Remembered,
)

# Rows one question may return: a day of 1-second readings, and some. Ask again from the last one for more.
ROWS_MAX: Final = 100_000

_BUSY_S: Final = 5.0
_NOTE: Final = "SELECT utc_ms, house_ms, ledger, subject, rule, text, value FROM note"


class Reader:
    """A read-only view of a journal. Use it in a `with` block, and shortly: a long look holds the log back.

    Parameters
    ----------
    directory
        The folder of the journal.

    Raises
    ------
    JournalBroken
        There is no journal, or it cannot be read. Every question may raise it too.
    """

    def __init__(self, directory: Path) -> None:
        self._alarms = _open(directory / ALARMS_NAME)
        try:
            self._history: sqlite3.Connection | None = _open(directory / HISTORY_NAME)
        except JournalBroken:  # it may be lost; then its questions find nothing
            self._history = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the files."""
        self._alarms.close()
        if self._history is not None:
            self._history.close()

    def last_state(self) -> Remembered | None:
        """Read the last committed state, or None if there is none."""
        with reading():
            row = self._alarms.execute(LOAD_STATE).fetchone()
        if row is None:
            return None
        document, house_ms, utc_ms, utc_trusted, turn = row
        try:
            return Remembered(zlib.decompress(document), house_ms, utc_ms, bool(utc_trusted), turn)
        except zlib.error as error:
            raise JournalBroken(f"the state cannot be unpacked: {error}") from error

    def notes(
        self,
        ledger: Ledger | None = None,
        subject: str | None = None,
        *,
        from_utc_ms: UtcMs,
        to_utc_ms: UtcMs,
        limit: int = ROWS_MAX,
    ) -> tuple[NoteLine, ...]:
        """Read the notes from `from_utc_ms` until before `to_utc_ms`, oldest first; of one ledger or subject.

        With more than `limit` notes the newest are returned.
        """
        where = " WHERE utc_ms >= ? AND utc_ms < ?"
        values: list[object] = [from_utc_ms, to_utc_ms]
        if ledger is not None:
            where += " AND ledger = ?"
            values.append(ledger.value)
        if subject is not None:
            where += " AND subject = ?"
            values.append(subject)
        order = " ORDER BY utc_ms DESC, turn DESC, place DESC LIMIT ?"
        rows: list[tuple[object, ...]] = []
        with reading():
            if ledger is not Ledger.SENSOR:
                rows += self._alarms.execute(_NOTE + where + order, [*values, limit]).fetchall()
            if ledger in (None, Ledger.SENSOR) and self._history is not None:
                rows += self._history.execute(_NOTE + where + order, [*values, limit]).fetchall()
        lines = [_note_line(row) for row in reversed(rows)]
        lines.sort(key=lambda line: line.utc_ms)
        return tuple(lines[-limit:]) if limit > 0 else ()

    def note_at(self, curtain: str, utc_ms: UtcMs) -> NoteLine | None:
        """Read the latest note on a curtain at or before an instant: why it was where it was."""
        with reading():
            row = self._alarms.execute(
                _NOTE + " WHERE utc_ms <= ? AND ledger = ? AND subject = ? "
                "ORDER BY utc_ms DESC, turn DESC, place DESC LIMIT 1",
                (utc_ms, Ledger.CURTAIN.value, curtain),
            ).fetchone()
        return None if row is None else _note_line(row)

    def effects(
        self, *, from_utc_ms: UtcMs, to_utc_ms: UtcMs, limit: int = ROWS_MAX
    ) -> tuple[EffectLine, ...]:
        """Read what was ordered in a span and what became of it, oldest first."""
        with reading():
            rows = self._alarms.execute(
                "SELECT effect_id, utc_ms, kind, document, outcome, detail, ended_utc_ms FROM effect "
                "WHERE utc_ms >= ? AND utc_ms < ? ORDER BY turn, effect_id LIMIT ?",
                (from_utc_ms, to_utc_ms, limit),
            ).fetchall()
        return tuple(
            EffectLine(effect_id, utc_ms, kind, json.loads(document), outcome, detail, ended_utc_ms)
            for effect_id, utc_ms, kind, document, outcome, detail, ended_utc_ms in rows
        )

    def acts(self, *, from_utc_ms: UtcMs, to_utc_ms: UtcMs, limit: int = ROWS_MAX) -> tuple[ActLine, ...]:
        """Read what people did in a span, oldest first."""
        with reading():
            rows = self._alarms.execute(
                "SELECT utc_ms, kind, person, document FROM act WHERE utc_ms >= ? AND utc_ms < ? "
                "ORDER BY utc_ms, turn LIMIT ?",
                (from_utc_ms, to_utc_ms, limit),
            ).fetchall()
        return tuple(ActLine(utc_ms, kind, person, json.loads(text)) for utc_ms, kind, person, text in rows)

    def sensors(self) -> tuple[str, ...]:
        """Name the sensors that have ever been read, in order of their first reading."""
        if self._history is None:
            return ()
        with reading():
            return tuple(name for (name,) in self._history.execute("SELECT name FROM sensor ORDER BY id"))

    def readings(
        self, sensor: str, *, from_utc_ms: UtcMs, to_utc_ms: UtcMs, limit: int = ROWS_MAX
    ) -> tuple[tuple[UtcMs, float], ...]:
        """Read the values of one sensor in a span, oldest first, in the kept unit of its quantity."""
        if self._history is None:
            return ()
        with reading():
            return tuple(
                self._history.execute(
                    "SELECT t, v FROM reading WHERE t >= ? AND t < ? "
                    "AND sensor = (SELECT id FROM sensor WHERE name = ?) ORDER BY t LIMIT ?",
                    (from_utc_ms, to_utc_ms, sensor, limit),
                ).fetchall()
            )

    def hours(
        self, sensor: str, *, from_utc_ms: UtcMs, to_utc_ms: UtcMs, limit: int = ROWS_MAX
    ) -> tuple[HourLine, ...]:
        """Read the hours of one sensor that begin in a span and are over, oldest first."""
        if self._history is None:
            return ()
        with reading():
            rows = self._history.execute(
                "SELECT t, n, mean, lo, hi FROM hourly WHERE t >= ? AND t < ? "
                "AND sensor = (SELECT id FROM sensor WHERE name = ?) ORDER BY t LIMIT ?",
                (from_utc_ms, to_utc_ms, sensor, limit),
            ).fetchall()
        return tuple(HourLine(*row) for row in rows)


def _open(path: Path) -> sqlite3.Connection:
    if not path.exists():
        raise JournalBroken(f"there is no {path.name} in {path.parent}")
    address = f"file:{quote(str(path))}?mode=ro"
    # Without a log there is no writer; then the file needs no lock, and the folder may be read-only.
    attempts = (
        [address] if path.with_name(path.name + "-wal").exists() else [address, address + "&immutable=1"]
    )
    failure: sqlite3.Error | None = None
    for attempt in attempts:
        try:
            connection = sqlite3.connect(attempt, uri=True, timeout=_BUSY_S)
            try:
                connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
            except BaseException:
                connection.close()
                raise
        except sqlite3.Error as error:
            failure = error
        else:
            return connection
    assert failure is not None, "every attempt either opened the file or failed"
    raise JournalBroken(f"{path.name} cannot be read: {explain(failure)}") from failure


def _note_line(row: tuple[object, ...]) -> NoteLine:
    utc_ms, house_ms, ledger, subject, rule, text, value = row
    assert isinstance(utc_ms, int), "the table is strict"
    assert isinstance(house_ms, int), "the table is strict"
    assert value is None or isinstance(value, float), "the table is strict"
    return NoteLine(utc_ms, house_ms, Ledger(ledger), str(subject), str(rule), str(text), value)
