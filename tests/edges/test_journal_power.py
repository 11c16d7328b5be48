"""A power cut loses what had not been flushed: files are put together as a disk would leave them, and opened.

SQLite flushes its log once a commit (synchronous FULL) before the commit returns, and writes the file itself only
from a log that has been flushed (SQLite, "Write-Ahead Logging", sections 2.2 and 3; "Atomic Commit In SQLite").
So after a cut the log is whole up to the last commit that returned, and holds anything after it; and while the log
is copied into the file, each page of the file is the old or the new one.
"""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Final

import pytest

from controller.core.plan.people import Way
from controller.core.vocabulary import SendMessage, Stamp, Woken
from controller.edges.journal import Journal

NOON_MS: Final = 1_782_043_200_000
SECTOR: Final = 512
"""What a disk writes as a whole. [bytes]"""

FRAME: Final = 24 + 4096
"""A page in the log with its header (SQLite file format, section 4.1). [bytes]"""

FIRST = SendMessage("m-1", "Keeper", Way.EMAIL, "keeper@example.org", "Oxygen", "Start the pump.", "a-1")
SECOND = SendMessage("m-2", "Deputy", Way.EMAIL, "deputy@example.org", "Oxygen", "Start the pump.", "a-1")


def draw(seed: int, size: int) -> bytes:
    """Draw bytes from a seed."""
    return hashlib.shake_128(seed.to_bytes(8, "big")).digest(size)


def commit(journal: Journal, turn: int, document: bytes, *messages: SendMessage) -> None:
    """Commit a turn."""
    stamp = Stamp(turn * 1000, NOON_MS + turn * 1000, 60, utc_trusted=True)
    journal.commit(stamp=stamp, event=Woken(), effects=messages, document=document)


def read_disk(folder: Path) -> tuple[bytes, bytes]:
    """Read file and log as they are now."""
    return (folder / "alarms.db").read_bytes(), (folder / "alarms.db-wal").read_bytes()


def open_after_cut(folder: Path, file: bytes, log: bytes) -> tuple[bytes, list[str], list[str]]:
    """Open what a cut has left; return the state, whose messages are unfinished, and what the journal says."""
    folder.mkdir()
    (folder / "alarms.db").write_bytes(file)
    (folder / "alarms.db-wal").write_bytes(log)
    with closing(Journal.open(folder, utc_ms=NOON_MS)) as journal:
        left = journal.load()
        assert left is not None
        people = [message.person for message in journal.unfinished()]
        return left.document, people, [trouble.trouble for trouble in journal.said() if trouble.trouble]


@pytest.mark.parametrize("tail", ["cut off", "zeros", "another file's"])
def test_a_cut_inside_a_commit_loses_that_commit_alone(tmp_path: Path, tail: str) -> None:
    """Wherever the log ends, the commit that returned is whole, and the one after it is there whole or not at all."""
    # Far from alike, so that a mixture of the two would show.
    before, after = (
        b"before" + draw(1, 9_000),
        b"after" + draw(2, 9_000),
    )
    with closing(Journal.open(tmp_path / "live", utc_ms=NOON_MS)) as journal:
        commit(journal, 1, before, FIRST)
        _, flushed = read_disk(tmp_path / "live")
        commit(journal, 2, after, SECOND)
        file, whole = read_disk(tmp_path / "live")
    assert len(whole) - len(flushed) >= 3 * FRAME
    cuts = range(len(flushed) + SECTOR, len(whole), 3 * SECTOR + FRAME // 2)

    for number, cut in enumerate((len(flushed), *cuts, len(whole) - 1, len(whole))):
        rest = len(whole) - cut
        lost = {"cut off": b"", "zeros": bytes(rest), "another file's": draw(cut, rest)}[tail]
        document, people, said = open_after_cut(tmp_path / str(number), file, whole[:cut] + lost)

        both = cut == len(whole)
        assert (document, people) == ((after, ["Keeper", "Deputy"]) if both else (before, ["Keeper"]))
        assert said == []


def test_a_cut_while_the_log_is_copied_loses_nothing(tmp_path: Path) -> None:
    """Whichever pages of the file are new already, the flushed log holds them all."""
    live = tmp_path / "live"
    with closing(Journal.open(live, utc_ms=NOON_MS)) as journal:
        for turn in range(1, 30):
            commit(journal, turn, draw(turn, 6_000), FIRST)
        old, log = read_disk(live)
        last = draw(29, 6_000)
        with closing(sqlite3.connect(live / "alarms.db")) as other:
            assert other.execute("PRAGMA wal_checkpoint(FULL)").fetchone()[0] == 0
        new, _ = read_disk(live)
    pages = max(len(old), len(new)) // 4096
    assert pages > 3
    assert old != new

    for seed in range(6):
        mixed = b"".join(
            (new if is_new % 2 else old)[page * 4096 :][:4096] or bytes(4096)
            for page, is_new in enumerate(draw(seed, pages))
        )
        document, people, said = open_after_cut(tmp_path / str(seed), mixed, log)

        assert (document, people, said) == (last, ["Keeper"], [])


def test_a_commit_that_has_returned_is_flushed(tmp_path: Path) -> None:
    """The file of alarms is opened with a log and a full flush; so is one that a former start has made."""
    for _ in range(2):
        with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as journal:
            commit(journal, 1, b"state")
            modes = [
                journal._connection.execute(f"PRAGMA {key}").fetchone()[0]
                for key in ("journal_mode", "synchronous")
            ]

            assert modes == ["wal", 2]
