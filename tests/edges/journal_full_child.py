"""Let another program fill a small disk under the journal, and print what the journal made of it, as JSON.

Run as `python journal_full_child.py FOLDER`, with FOLDER on a file system of its own of a few megabytes.
"""

from __future__ import annotations

import contextlib
import json
import os
import sys
from pathlib import Path

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import Ledger, Note, ReadingsTaken, Sample, Stamp
from controller.edges.journal import Journal, JournalFull

NOON_MS = 1_782_043_200_000


def at(ms: int) -> Stamp:
    """Stamp a turn so many milliseconds after noon."""
    return Stamp(ms, NOON_MS + ms, 0, utc_trusted=True)


def fill(path: Path) -> None:
    """Write until there is no room left, as a runaway log does."""
    with contextlib.suppress(OSError), path.open("ab", buffering=0) as file:
        size = 65_536
        while size:
            try:
                file.write(bytes(size))
            except OSError:
                size //= 2


def commit_until_full(journal: Journal, start_ms: int) -> int:
    """Commit states of 8 kB until the journal says that it is full; return how many got through."""
    for n in range(2_000):
        note = Note(Ledger.ALARM, "oxygen", "rule", str(n))
        try:
            journal.commit(
                stamp=at(start_ms + n), event=ReadingsTaken(()), effects=(note,), document=os.urandom(8_000)
            )
        except JournalFull:
            return n
    return -1


def main(folder: Path) -> None:
    """Fill the disk, use up what the history gives back, free it again."""
    journal = Journal.open(folder, utc_ms=NOON_MS)
    journal.said()
    for ms in range(30_000):
        journal.commit(
            stamp=at(ms), event=ReadingsTaken((Sample("sun", float(ms)),)), effects=(), document=None
        )
        if ms % 1_000 == 999:
            journal.flush(at(ms))
    journal.commit(stamp=at(40_000), event=ReadingsTaken(()), effects=(), document=b"before")
    history_bytes = (folder / "history.db").stat().st_size + (folder / "history.db-wal").stat().st_size
    fill(folder / "runaway.log")
    committed = commit_until_full(journal, 50_000)
    told = {seen.part: seen.trouble for seen in journal.said()}
    history_stands = (folder / "history.db").exists()
    remembered = journal.load()
    assert remembered is not None
    (folder / "runaway.log").unlink()
    journal.commit(
        stamp=at(60_000), event=ReadingsTaken((Sample("sun", 1.0),)), effects=(), document=b"after"
    )
    journal.flush(at(60_000))
    ended = {seen.part: seen.trouble for seen in journal.said()}
    verdicts = [
        part.execute("PRAGMA integrity_check").fetchone()[0]
        for part in (journal._connection, journal._history._connection)
        if part is not None
    ]
    journal.close()
    journal = Journal.open(folder, utc_ms=NOON_MS)
    last = journal.load()
    assert last is not None
    print(  # noqa: T201 - this is how the parent is answered
        json.dumps(
            {
                "history_bytes": history_bytes,
                "committed": committed,
                "turn_at_full": remembered.turn,
                "history_stands": history_stands,
                "told_history": told.get(Watched.HISTORY),
                "told_journal": told.get(Watched.JOURNAL),
                "ended_journal": Watched.JOURNAL in ended and ended[Watched.JOURNAL] is None,
                "verdicts": verdicts,
                "last": last.document.decode(),
                "last_turn": last.turn,
            }
        )
    )
    journal.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
