"""What can be wrong with a file of the journal, told by name."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from enum import Enum
from typing import Final

from controller.engine import NotRecorded


class JournalFull(NotRecorded):
    """There is no room on the disk, even after the history was given up."""


class JournalBroken(NotRecorded):
    """The disk refuses, or the file cannot be used; the message says which. Nothing was committed."""


class JournalInUse(Exception):  # noqa: N818 - named by what happened, like every event of the house
    """Another Duskbell holds this journal."""


class Fault(Enum):
    """Why SQLite refused."""

    FULL = "full"
    DAMAGED = "damaged"
    REFUSED = "refused"


def fault_of(error: sqlite3.Error) -> Fault:
    """Tell a full disk and a damaged file from every other refusal."""
    primary = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if primary == sqlite3.SQLITE_FULL:
        return Fault.FULL
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return Fault.DAMAGED
    return Fault.REFUSED


_PLAIN: Final = {
    sqlite3.SQLITE_PERM: "this account may not use it",
    sqlite3.SQLITE_BUSY: "another program holds it",
    sqlite3.SQLITE_LOCKED: "another program holds it",
    sqlite3.SQLITE_READONLY: "it may only be read",
    sqlite3.SQLITE_IOERR: "the disk does not do what it is asked",
    sqlite3.SQLITE_CORRUPT: "its pages do not fit together",
    sqlite3.SQLITE_FULL: "the disk is full",
    sqlite3.SQLITE_CANTOPEN: "it is not there, or this account may not open it",
    sqlite3.SQLITE_NOTADB: "what is in it is no journal",
}
"""Primary result codes of SQLite (sqlite.org/rescode.html) in plain words."""


def explain(error: sqlite3.Error) -> str:
    """Say in plain words why SQLite refused, for a message; a rare refusal in its own words."""
    return _PLAIN.get(getattr(error, "sqlite_errorcode", 0) & 0xFF) or str(error)


def spell_out(error: BaseException | None) -> str:
    """Say what SQLite said, with the name of its code, for the log."""
    name = getattr(error, "sqlite_errorname", "")
    return f"{error} ({name})" if name else str(error or "")


@contextlib.contextmanager
def reading() -> Iterator[None]:
    """Let whatever SQLite refuses while something is read be a broken journal.

    Raises
    ------
    JournalBroken
        It has refused.
    """
    try:
        yield
    except sqlite3.Error as error:
        raise JournalBroken(f"the journal cannot be read: {explain(error)}") from error
