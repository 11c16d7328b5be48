"""Commit turn after turn and name each on standard output once it is safe, until killed.

Run as `python journal_child.py FOLDER`. Turn n writes document n, one note, one message and one reading.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from controller.core.plan.people import Way
from controller.core.vocabulary import Ledger, Note, ReadingsTaken, Sample, SendMessage, Stamp
from controller.edges.journal import Journal

NOON_MS = 1_782_043_200_000


def main(folder: Path) -> None:
    """Go on from the last turn for ever."""
    journal = Journal.open(folder, utc_ms=NOON_MS)
    remembered = journal.load()
    turn = 0 if remembered is None else remembered.turn
    while True:
        turn += 1
        stamp = Stamp(turn, NOON_MS + turn, 0, utc_trusted=True)
        message = SendMessage(f"m-{turn}", "Keeper", Way.EMAIL, "k@example.org", "s", "t", "a")
        journal.commit(
            stamp=stamp,
            event=ReadingsTaken((Sample("sun", float(turn)),)),
            effects=(Note(Ledger.ALARM, "oxygen", "rule", str(turn)), message),
            document=b"%d:" % turn + os.urandom(turn * 7919 % 20_000),
        )
        os.write(1, b"%d\n" % turn)
        if turn % 5 == 0:
            journal.flush(stamp)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
