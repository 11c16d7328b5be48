"""One SQLite file of the journal: how it is opened, checked, brought to the present form, or set aside.

A damaged file is kept under another name for whoever wants to look, and a new one is started: a daemon that
knows nothing and says so is safer than one that believes a damaged record.
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from controller.core.units import UtcMs
from controller.edges.journal_aside import PARTS, beside, finish_setting_aside, rename_damaged, sync_folder
from controller.edges.journal_fault import Fault, JournalBroken, JournalFull, JournalInUse, explain, fault_of

Connect = Callable[[Path], sqlite3.Connection]
"""Opens a connection to a file; tests give one that fails when they say."""

# Checking reads the whole file. Larger files are checked page by page as they are used, so that a start
# does not take minutes on a slow card.
CHECK_WHOLE_BYTES_MAX: Final = 64 * 1024 * 1024

# Longest wait for another process that reads or copies the file. [s]
_BUSY_S: Final = 5.0

# The log of changes is cut back to this size after it has been copied into the file. [bytes]
_LOG_BYTES_MAX: Final = 4 * 1024 * 1024

LOCK_NAME: Final = "duskbell.lock"


@dataclass(frozen=True, slots=True)
class Form:
    """What a file must look like.

    Parameters
    ----------
    application_id
        Number in the file's header by which it is known as ours (SQLite file format, section 1.3.17).
    steps
        Statements that bring version n to version n + 1; the first makes an empty file version 1. Steps
        are only ever added.
    usable_from
        The oldest version of the program's form that may still write this one, so that an older Duskbell
        can be put back without losing open alarms.
    """

    application_id: int
    steps: tuple[tuple[str, ...], ...]
    usable_from: int = 1


@dataclass(frozen=True, slots=True)
class Opened:
    """An open file, and what there is to tell about it."""

    connection: sqlite3.Connection
    said: str | None


def take_lock(directory: Path) -> int:
    """Hold the folder for this process; the lock is gone when the process is, however it ends.

    Raises
    ------
    JournalInUse
        Another process holds it.
    JournalBroken
        The folder cannot be made or written.
    """
    try:
        directory.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle = os.open(directory / LOCK_NAME, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise JournalBroken(f"{directory} cannot be used: {error.strerror}") from error
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(handle)
        raise JournalInUse(f"another Duskbell holds the journal in {directory}") from error
    return handle


def connect_plainly(path: Path) -> sqlite3.Connection:
    """Open a connection that leaves transactions to us and may be used, in turn, by several threads."""
    return sqlite3.connect(path, timeout=_BUSY_S, isolation_level=None, check_same_thread=False)


@contextlib.contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Do all of the body or nothing of it."""
    try:
        connection.execute("BEGIN IMMEDIATE")
        yield
        connection.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):  # SQLite may have rolled back by itself
            if connection.in_transaction:
                connection.execute("ROLLBACK")
        raise


def open_file(
    path: Path, form: Form, *, utc_ms: UtcMs, synchronous: str, connect: Connect = connect_plainly
) -> Opened:
    """Open a file in its present form; a damaged one is set aside and a new one started.

    Parameters
    ----------
    path
        The file; it is made if it is missing.
    form
        What it must look like.
    utc_ms
        The time that a damaged file is marked with. [ms]
    synchronous
        FULL: a commit survives a power cut. NORMAL: the last commits may not, but the file does.
    connect
        Opens the connection.

    Raises
    ------
    JournalBroken
        The file or its folder cannot be used, or it is no journal, or a newer Duskbell wrote it.
    JournalFull
        There is no room to make or convert it.
    """
    said: str | None = None
    try:
        finish_setting_aside(path)
        if not path.exists() and beside(path, "-wal").exists():
            said = rename_damaged(path, utc_ms=utc_ms, why="its main part was missing")
        try:
            connection = _open(path, form, synchronous=synchronous, connect=connect)
        except sqlite3.DatabaseError as error:
            if fault_of(error) is not Fault.DAMAGED:
                raise
            said = rename_damaged(path, utc_ms=utc_ms, why=explain(error))
            connection = _open(path, form, synchronous=synchronous, connect=connect)
        sync_folder(path.parent)
    except sqlite3.Error as error:
        if fault_of(error) is Fault.FULL:
            raise JournalFull(f"no room for {path.name}") from error
        raise JournalBroken(f"{path.name} cannot be opened: {explain(error)}") from error
    except OSError as error:
        raise JournalBroken(f"{path.name} cannot be opened: {error.strerror}") from error
    return Opened(connection, said)


def set_aside(path: Path, *, utc_ms: UtcMs, why: str) -> str:
    """Give a closed, damaged file another name, and say so in a sentence.

    Raises
    ------
    JournalBroken
        The folder cannot be written.
    """
    try:
        return rename_damaged(path, utc_ms=utc_ms, why=why)
    except OSError as error:
        raise JournalBroken(f"{path.name} cannot be set aside: {error.strerror}") from error


def drop_file(path: Path) -> None:
    """Delete a closed file with its log.

    Raises
    ------
    JournalBroken
        The folder cannot be written.
    """
    try:
        for part in PARTS:
            beside(path, part).unlink(missing_ok=True)
        sync_folder(path.parent)
    except OSError as error:
        raise JournalBroken(f"{path.name} cannot be deleted: {error.strerror}") from error


def copy_file(source: Path, target: Path) -> None:
    """Copy a file that may be in use, as of one moment, to a new one that only we may read.

    Raises
    ------
    JournalFull
        There is no room for the copy.
    JournalBroken
        The file cannot be read, or the copy not be written.
    """
    part = beside(target, ".part")
    try:
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
        with contextlib.closing(connect_plainly(source)) as connection:
            connection.execute("VACUUM INTO ?", (str(part),))
        handle = os.open(part, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
        part.replace(target)
        sync_folder(target.parent)
    except sqlite3.Error as error:
        part.unlink(missing_ok=True)
        if fault_of(error) is Fault.FULL:
            raise JournalFull(f"no room for a copy of {source.name}") from error
        raise JournalBroken(f"{source.name} cannot be copied: {explain(error)}") from error
    except OSError as error:
        raise JournalBroken(f"{source.name} cannot be copied: {error.strerror}") from error


def _open(path: Path, form: Form, *, synchronous: str, connect: Connect) -> sqlite3.Connection:
    # The log and its index take over the rights of the file; nobody else reads names and addresses.
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    connection = connect(path)
    try:
        connection.execute("PRAGMA cell_size_check = ON")
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA temp_store = MEMORY")
        _check(connection, path)
        _keep_log(connection, path)
        connection.execute(f"PRAGMA synchronous = {synchronous}")
        connection.execute(f"PRAGMA journal_size_limit = {_LOG_BYTES_MAX}")
        _bring_up(connection, path, form)
    except BaseException:
        connection.close()
        raise
    return connection


def _keep_log(connection: sqlite3.Connection, path: Path) -> None:
    (mode,) = connection.execute("PRAGMA journal_mode = WAL").fetchone()
    if mode != "wal":
        raise JournalBroken(f"the file system under {path.parent} cannot hold a write-ahead log")


def _check(connection: sqlite3.Connection, path: Path) -> None:
    if path.stat().st_size > CHECK_WHOLE_BYTES_MAX:
        connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        return
    (verdict,) = connection.execute("PRAGMA quick_check(1)").fetchone()
    if verdict != "ok":
        damage = sqlite3.DatabaseError(verdict)
        damage.sqlite_errorcode = sqlite3.SQLITE_CORRUPT
        damage.sqlite_errorname = "SQLITE_CORRUPT"
        raise damage


def _bring_up(connection: sqlite3.Connection, path: Path, form: Form) -> None:
    """Bring the file to the present form in one transaction, or leave it as it was."""
    (known,) = connection.execute("PRAGMA application_id").fetchone()
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    if known not in (0, form.application_id) or (known == 0 and version != 0):
        raise JournalBroken(f"{path.name} is not a journal of Duskbell")
    if version > len(form.steps):
        (usable_from,) = connection.execute("SELECT usable_from FROM form").fetchone()
        if usable_from > len(form.steps):
            raise JournalBroken(f"{path.name} was written by a newer Duskbell, which alone can read it")
        return
    if version == len(form.steps):
        return
    with transaction(connection):
        connection.execute(f"PRAGMA application_id = {form.application_id}")
        for step in form.steps[version:]:
            for statement in step:
                connection.execute(statement)
        connection.execute("CREATE TABLE IF NOT EXISTS form (usable_from INTEGER NOT NULL) STRICT")
        connection.execute("DELETE FROM form")
        connection.execute("INSERT INTO form VALUES (?)", (form.usable_from,))
        connection.execute(f"PRAGMA user_version = {len(form.steps)}")
