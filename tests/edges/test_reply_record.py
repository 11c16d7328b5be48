"""The record keeps what people wrote back, and what the siren was told, in the turn in which it happened."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from controller.core.plan.people import Way
from controller.core.vocabulary import EffectDone, ReplyReceived, SoundSiren, Stamp, Woken
from controller.edges.journal import Journal
from controller.edges.reader import Reader

NOON_MS = 1_782_043_200_000
STAMP = Stamp(1_000, NOON_MS, 60, utc_trusted=True)


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Open a new journal, and close it afterwards."""
    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as opened:
        yield opened


def test_a_reply_is_on_the_disk_when_its_turn_has_been_committed(journal: Journal, tmp_path: Path) -> None:
    """The modem may delete it then: another process reads it, though nothing else changed in that turn."""
    reply = ReplyReceived(Way.TEXT, "+447700900123", "ack 4821 \ud83d")
    journal.commit(stamp=STAMP, event=reply, effects=(), document=None)
    with Reader(tmp_path) as reader:
        (act,) = reader.acts(from_utc_ms=NOON_MS, to_utc_ms=NOON_MS + 1)

    assert (act.kind, act.person) == ("ReplyReceived", "+447700900123")
    assert act.document["way"] == "text"
    assert str(act.document["text"]).startswith("ack 4821")


def test_what_the_siren_was_told_and_what_became_of_it_is_kept(journal: Journal, tmp_path: Path) -> None:
    """The order stands in the record, and its outcome beside it."""
    order = SoundSiren("e5", 180_000, NOON_MS + 30_000, 31_000, "nobody has answered")
    journal.commit(stamp=STAMP, event=Woken(), effects=(order,), document=b"state")
    journal.commit(stamp=STAMP, event=EffectDone("e5", "handed to the broker"), effects=(), document=None)
    with Reader(tmp_path) as reader:
        (line,) = reader.effects(from_utc_ms=NOON_MS, to_utc_ms=NOON_MS + 1)

    assert (line.kind, line.outcome, line.document["run_at_most_ms"]) == ("SoundSiren", "done", 180_000)
