"""A remembered state that cannot be read is told, and goes on being told however well the record is written."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).parents[1] / "core"))

from makers import NOON_UTC_MS, make_plan

from controller.core.plan.alarm import Watched
from controller.core.plan.site import Journal as JournalSettings
from controller.core.vocabulary import Ledger, Note, Stamp, Started, TroubleSeen
from controller.daemon import Daemon
from controller.edges.clock import BoardClock
from controller.edges.journal import Journal

HOUR_MS = 3_600_000


def write_turn(journal: Journal, house_ms: int, document: bytes) -> None:
    """Commit a turn with a document."""
    journal.commit(
        stamp=Stamp(house_ms, NOON_UTC_MS + house_ms, 0, utc_trusted=True),
        event=Started(),
        effects=(Note(Ledger.HOUSE, "daemon", "started", "x"),),
        document=document,
    )


def test_good_commits_do_not_hide_a_state_that_could_not_be_read(tmp_path: Path) -> None:
    """The trouble stands for an hour, longer than any delay of the alarm, and then it is over."""
    journal = Journal.open(tmp_path, utc_ms=NOON_UTC_MS)
    write_turn(journal, 1, b"no document of ours")
    journal.close()

    journal = Journal.open(tmp_path, utc_ms=NOON_UTC_MS)
    plan = make_plan(journal=JournalSettings(directory=str(tmp_path)))
    settings = tmp_path / "duskbell.toml"
    daemon = Daemon(plan, settings_path=settings, clock=BoardClock("UTC", 0), journal=journal)
    assert daemon.engine.state.durable.alarms == {}
    told = [each for each in journal.said() if each.part is Watched.JOURNAL]
    assert told[-1] == TroubleSeen(
        Watched.JOURNAL, "the remembered state cannot be read: everything is unknown"
    )
    for minute in range(59):
        write_turn(journal, 2 + minute * 60_000, b"{}")
    assert journal.said() == ()
    write_turn(journal, 3 + HOUR_MS, b"{}")
    assert journal.said() == (TroubleSeen(Watched.JOURNAL, None),)
    journal.close()
