"""The journal under faults: any operation failing, the process killed, the disk full or refusing."""

from __future__ import annotations

import contextlib
import json
import os
import random
import resource
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path
from typing import ClassVar, Self

import pytest
from structlog.testing import capture_logs

from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.vocabulary import Event, Ledger, Note, ReadingsTaken, Sample, SendMessage, Stamp
from controller.edges.journal import Journal, JournalBroken, JournalFull
from controller.edges.journal_fault import explain, spell_out
from controller.edges.reader import Reader
from controller.engine import NotRecorded

NOON_MS = 1_782_043_200_000
HERE = Path(__file__).parent
TURNS = 4


def at(turn: int) -> Stamp:
    """Stamp a turn."""
    return Stamp(turn * 1_000, NOON_MS + turn * 1_000, 0, utc_trusted=True)


def commit(journal: Journal, turn: int) -> None:
    """Commit a turn of which every table holds something."""
    event: Event = ReadingsTaken((Sample("sun", float(turn)),))
    message = SendMessage(f"m-{turn}", "Keeper", Way.EMAIL, "k@example.org", "s", "t", "a")
    note = Note(Ledger.ALARM, "oxygen", "rule", str(turn))
    journal.commit(stamp=at(turn), event=event, effects=(note, message), document=b"%d" % turn)


def check_whole(folder: Path, *, acknowledged: int) -> None:
    """Check that both files are sound, and hold each turn wholly or not at all."""
    for name in ("alarms.db", "history.db"):
        if (folder / name).exists():
            with closing(sqlite3.connect(folder / name)) as connection:
                assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with closing(Journal.open(folder, utc_ms=NOON_MS)) as journal, Reader(folder) as reader:
        remembered = journal.load()
        last = 0 if remembered is None else int(remembered.document.split(b":")[0])
        assert last >= acknowledged
        far = NOON_MS + 10**9
        noted = [int(line.text) for line in reader.notes(Ledger.ALARM, from_utc_ms=0, to_utc_ms=far)]
        ordered = [int(line.effect_id[2:]) for line in reader.effects(from_utc_ms=0, to_utc_ms=far)]
        assert noted == sorted(noted)
        assert noted == ordered
        assert noted[-1:] == ([last] if last else [])
        assert set(range(1, acknowledged + 1)) <= set(noted)


class Flaky(sqlite3.Connection):
    """A connection whose n-th operation, counted over all connections, fails."""

    fail_at: ClassVar[int] = 0
    for_ever: ClassVar[bool] = False
    afterwards: ClassVar[bool] = False
    code: ClassVar[int] = 0
    count: ClassVar[int] = 0

    @classmethod
    def arm(cls, fail_at: int, code: int, *, for_ever: bool, afterwards: bool) -> None:
        """Set which operation fails and how; `afterwards` means that it was done all the same."""
        cls.fail_at, cls.code, cls.for_ever, cls.afterwards, cls.count = (
            fail_at,
            code,
            for_ever,
            afterwards,
            0,
        )

    @classmethod
    def connect(cls, path: Path) -> Self:
        """Open a connection that fails."""
        return sqlite3.connect(path, isolation_level=None, check_same_thread=False, factory=cls)

    def _tick(self) -> None:
        cls = type(self)
        cls.count += 1
        if cls.count == cls.fail_at or (cls.for_ever and cls.fail_at < cls.count):
            error = sqlite3.OperationalError("made to fail")
            error.sqlite_errorcode = cls.code
            error.sqlite_errorname = "MADE_TO_FAIL"
            raise error

    def execute(self, sql: str, parameters: object = (), /) -> sqlite3.Cursor:
        """Fail or execute, or both."""
        if not self.afterwards:
            self._tick()
        cursor = super().execute(sql, parameters)  # type: ignore[arg-type]  # handed through as given
        if self.afterwards:
            self._tick()
        return cursor

    def executemany(self, sql: str, parameters: Iterable[object], /) -> sqlite3.Cursor:
        """Fail or execute, or both."""
        if not self.afterwards:
            self._tick()
        cursor = super().executemany(sql, parameters)  # type: ignore[arg-type]  # handed through as given
        if self.afterwards:
            self._tick()
        return cursor


@pytest.mark.parametrize("afterwards", [False, True])
@pytest.mark.parametrize("for_ever", [False, True])
@pytest.mark.parametrize(
    "code", [sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_FSYNC, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CORRUPT]
)
def test_whichever_operation_fails_nothing_is_half_done(
    tmp_path: Path, code: int, *, for_ever: bool, afterwards: bool
) -> None:
    """Fail the first operation, the second, and so on until a run gets through: each leaves whole turns.

    The loop is that of SQLite's own tests (sqlite.org/testing.html, section 3, "anomaly testing").
    """
    fail_at, got_through = 0, False
    while not got_through:
        fail_at += 1
        assert fail_at < 500, "the loop must end"
        folder = tmp_path / str(fail_at)
        with closing(Journal.open(folder, utc_ms=NOON_MS)) as journal:
            commit(journal, 1)
        acknowledged = 1
        Flaky.arm(fail_at, code, for_ever=for_ever, afterwards=afterwards)
        with (
            contextlib.suppress(NotRecorded),
            closing(Journal.open(folder, utc_ms=NOON_MS, connect=Flaky.connect)) as journal,
        ):
            for turn in range(2, TURNS + 1):
                with contextlib.suppress(NotRecorded):
                    commit(journal, turn)
                    acknowledged = turn
                journal.flush(at(turn))
        got_through = Flaky.count < fail_at
        damaged = list(folder.glob("alarms.db.damaged-*"))
        assert not damaged or code == sqlite3.SQLITE_CORRUPT
        if not damaged:  # told to be damaged, the journal rightly starts with nothing known
            check_acknowledged(folder, acknowledged)
    assert fail_at > 20, "the run is longer than that; else nothing was tested"


def check_acknowledged(folder: Path, acknowledged: int) -> None:
    """Check that what was acknowledged last is the state, unless a later turn is, and all is sound."""
    for name in ("alarms.db", "history.db"):
        if (folder / name).exists():
            with closing(sqlite3.connect(folder / name)) as connection:
                assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    with closing(Journal.open(folder, utc_ms=NOON_MS)) as journal, Reader(folder) as reader:
        remembered = journal.load()
        assert remembered is not None
        last = int(remembered.document)
        assert last >= acknowledged
        noted = {line.text for line in reader.notes(Ledger.ALARM, from_utc_ms=0, to_utc_ms=NOON_MS + 10**9)}
        ordered = {line.effect_id[2:] for line in reader.effects(from_utc_ms=0, to_utc_ms=NOON_MS + 10**9)}
        assert noted == ordered
        assert str(last) in noted
        assert str(acknowledged) in noted


@pytest.mark.slow
def test_killed_at_any_moment_no_acknowledged_turn_is_lost(tmp_path: Path) -> None:
    """Twenty kills in the middle of work lose nothing that was named safe, and leave whole turns."""
    acknowledged = 0
    for _ in range(20):
        child = subprocess.Popen(
            [sys.executable, HERE / "journal_child.py", tmp_path], stdout=subprocess.PIPE, bufsize=0
        )
        assert child.stdout is not None
        with child.stdout as output:
            first = output.readline()  # it has begun
            assert first, "the child must work before it is killed"
            more = random.randrange(60)  # noqa: S311 - no secret, only a moment nobody can foresee
            lines = [first, *(output.readline() for _ in range(more))]
            child.send_signal(signal.SIGKILL)
            lines += output.read().splitlines(keepends=True)
        assert child.wait() == -signal.SIGKILL
        # A last line may be cut off by the kill; a whole one was safe before it was written.
        acknowledged = max(int(line) for line in lines if line.endswith(b"\n"))
        check_whole(tmp_path, acknowledged=acknowledged)
    assert acknowledged >= 20


def test_a_disk_filled_by_others_costs_history_before_alarms(tmp_path: Path) -> None:
    """On a full disk the history is given up, alarms use its room, then are refused, then go on again."""
    script = 'mount -t tmpfs -o size=4m none "$1" && exec "$2" "$3" "$1"'
    run = subprocess.run(
        [
            "unshare",
            "-Urm",
            "sh",
            "-c",
            script,
            "sh",
            tmp_path,
            sys.executable,
            HERE / "journal_full_child.py",
        ],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    if run.returncode != 0 and any(word in run.stderr for word in ("unshare:", "mount:")):
        pytest.skip(f"this machine lets nobody mount a disk of their own: {run.stderr.strip()}")
    assert run.returncode == 0, run.stderr
    seen = json.loads(run.stdout)

    assert seen["told_history"] == "the disk is full; the history was given up to make room for the alarms"
    assert not seen["history_stands"]
    # Each commit appends at least three pages to the log; all of the room was the history's.
    assert 5 <= seen["committed"] <= seen["history_bytes"] / (3 * 4096) + 5
    assert seen["turn_at_full"] == seen["committed"] + 1
    assert seen["told_journal"] == "the disk is full; nothing can be remembered"
    assert seen["ended_journal"]
    assert seen["verdicts"] == ["ok", "ok"]
    assert (seen["last"], seen["last_turn"]) == ("after", seen["committed"] + 2)


def test_a_disk_that_refuses_is_broken_and_told(tmp_path: Path) -> None:
    """A write beyond the limit of file size is refused as broken; the old state stays and work goes on.

    The kernel refuses with EFBIG (setrlimit(2), RLIMIT_FSIZE), which SQLite reports as an I/O error.
    """
    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as journal:
        commit(journal, 1)
        journal.said()
        size = max(path.stat().st_size for path in tmp_path.iterdir())
        limits = resource.getrlimit(resource.RLIMIT_FSIZE)
        before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        try:
            resource.setrlimit(resource.RLIMIT_FSIZE, (size + 2_000, limits[1]))
            with pytest.raises(JournalBroken, match="cannot be written") as refused:
                journal.commit(stamp=at(2), event=ReadingsTaken(()), effects=(), document=os.urandom(200_000))
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, limits)
            signal.signal(signal.SIGXFSZ, before)
        (begun,) = journal.said()
        assert begun.part is Watched.JOURNAL
        assert begun.trouble == "the journal cannot be written: the disk does not do what it is asked"
        assert refused.value.__cause__ is not None
        assert "SQLITE_IOERR" in spell_out(refused.value.__cause__)
        remembered = journal.load()
        assert remembered is not None
        assert (remembered.document, remembered.turn) == (b"1", 1)
        commit(journal, 2)
        (over,) = journal.said()
        assert over.trouble is None
    check_whole(tmp_path, acknowledged=2)


def test_no_word_of_the_library_reaches_people(tmp_path: Path) -> None:
    """A journal that is not there, and one that is none, are told in words without a code of SQLite."""
    with pytest.raises(JournalBroken, match=r"^there is no alarms.db in "):
        Reader(tmp_path)
    (tmp_path / "alarms.db").write_bytes(b"no journal at all" * 500)
    with pytest.raises(JournalBroken, match=r"^alarms.db cannot be read: what is in it is no journal$"):
        Reader(tmp_path)


def test_every_refusal_of_a_kind_is_told_by_its_kind() -> None:
    """An extended code is told as its primary one, its lowest eight bits (sqlite.org/rescode.html, section 4)."""
    error = sqlite3.OperationalError("disk I/O error")
    error.sqlite_errorcode, error.sqlite_errorname = 4874, "SQLITE_IOERR_SHMSIZE"  # the same page, section 5
    assert explain(error) == "the disk does not do what it is asked"
    assert spell_out(error) == "disk I/O error (SQLITE_IOERR_SHMSIZE)"
    assert explain(sqlite3.OperationalError("no such table: note")) == "no such table: note"


def test_history_trouble_never_reaches_a_commit(tmp_path: Path) -> None:
    """While the history refuses, turns are committed, rows wait, and all are written when it is over."""

    class NoHistory(sqlite3.Connection):
        refuse: ClassVar[bool] = False

        def executemany(self, sql: str, parameters: Iterable[object], /) -> sqlite3.Cursor:
            if self.refuse:
                error = sqlite3.OperationalError("disk I/O error")
                error.sqlite_errorcode = sqlite3.SQLITE_IOERR_WRITE
                error.sqlite_errorname = "SQLITE_IOERR_WRITE"
                raise error
            return super().executemany(sql, parameters)  # type: ignore[arg-type]  # handed through as given

    def connect(path: Path) -> sqlite3.Connection:
        return sqlite3.connect(path, isolation_level=None, check_same_thread=False, factory=NoHistory)

    with closing(Journal.open(tmp_path, utc_ms=NOON_MS, connect=connect)) as journal:
        journal.said()
        NoHistory.refuse = True
        with capture_logs() as logged:
            for turn in range(1, 4):
                commit(journal, turn)
                journal.flush(at(turn))
        (begun,) = journal.said()
        assert begun.part is Watched.HISTORY
        assert begun.trouble == "the history cannot be written: the disk does not do what it is asked"
        assert [(begun.trouble, "disk I/O error (SQLITE_IOERR_WRITE)")] == [
            (row["why"], row["said"]) for row in logged
        ]
        assert journal.due_flush is not None
        NoHistory.refuse = False
        journal.flush(at(5))
        (over,) = journal.said()
        assert (over.part, over.trouble) == (Watched.HISTORY, None)
    with Reader(tmp_path) as reader:
        values = [value for _, value in reader.readings("sun", from_utc_ms=0, to_utc_ms=NOON_MS + 10**6)]
        assert values == [1.0, 2.0, 3.0]
    check_whole(tmp_path, acknowledged=3)


def test_waiting_readings_are_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """While nothing can be written the oldest readings are dropped and counted beyond a limit."""
    monkeypatch.setattr("controller.edges.history.WAITING_MAX", 10)
    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as journal:
        for turn in range(25):
            journal.commit(
                stamp=at(turn),
                event=ReadingsTaken((Sample("sun", float(turn)),)),
                effects=(),
                document=None,
            )
        assert journal.counters.dropped_readings == 15
        journal.flush(at(99))
    with Reader(tmp_path) as reader:
        values = [value for _, value in reader.readings("sun", from_utc_ms=0, to_utc_ms=NOON_MS + 10**6)]
    assert values == [float(turn) for turn in range(15, 25)]


def test_a_start_on_a_full_disk_gives_the_history_up(tmp_path: Path) -> None:
    """If there is no room even to make `alarms.db`, the history goes first and the start succeeds."""
    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as journal:
        commit(journal, 1)
        journal.flush(at(1))
    (tmp_path / "alarms.db").unlink()
    history = tmp_path / "history.db"

    class FullWhileHistoryStands(sqlite3.Connection):
        def execute(self, sql: str, parameters: object = (), /) -> sqlite3.Cursor:
            if sql.startswith("BEGIN") and history.exists():
                error = sqlite3.OperationalError("database or disk is full")
                error.sqlite_errorcode = sqlite3.SQLITE_FULL
                raise error
            return super().execute(sql, parameters)  # type: ignore[arg-type]  # handed through as given

    def connect(path: Path) -> sqlite3.Connection:
        return sqlite3.connect(
            path, isolation_level=None, check_same_thread=False, factory=FullWhileHistoryStands
        )

    with closing(Journal.open(tmp_path, utc_ms=NOON_MS, connect=connect)) as journal:
        assert not history.exists()
        commit(journal, 1)
        told = {seen.part: seen.trouble for seen in journal.said()}
        assert told[Watched.HISTORY] is not None


def test_no_room_at_all_is_full(tmp_path: Path) -> None:
    """A start that finds no room even without history says so."""
    Flaky.arm(1, sqlite3.SQLITE_FULL, for_ever=True, afterwards=False)
    with pytest.raises(JournalFull, match="no room"):
        Journal.open(tmp_path, utc_ms=NOON_MS, connect=Flaky.connect)

    Journal.open(tmp_path, utc_ms=NOON_MS).close()  # and holds no lock
