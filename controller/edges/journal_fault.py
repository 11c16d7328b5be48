"""What can be wrong with a file of the journal, told by name."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from enum import Enum

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


def explain(error: sqlite3.Error) -> str:
    """Say what SQLite said, with the name of its code, for a log or a message."""
    name = getattr(error, "sqlite_errorname", "")
    return f"{error} ({name})" if name else str(error)


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
