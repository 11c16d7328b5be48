"""The journal: what was committed is there, what was not leaves no trace, and history never comes first."""

from __future__ import annotations

import os
import sqlite3
import stat
import threading
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.units import DAY_MS, HOUR_MS, Basis
from controller.core.vocabulary import (
    AlarmShelved,
    AnswerGiven,
    Effect,
    EffectDone,
    EffectFailed,
    Event,
    Ledger,
    MoveCurtain,
    Note,
    PublishState,
    ReadingsTaken,
    Run,
    Sample,
    SendMessage,
    Stamp,
    TroubleSeen,
    ValueEntered,
    Woken,
)
from controller.edges import history as history_module
from controller.edges import journal_file
from controller.edges.journal import Journal, JournalBroken, JournalFull, JournalInUse, Remembered
from controller.edges.journal_file import Form, connect_plainly, open_file
from controller.edges.journal_schema import ALARMS, read_message, write_document
from controller.edges.reader import Reader
from controller.edges.troubles import TOLD_FOR_MS

NOON_MS = 1_782_043_200_000  # 2026-06-21T12:00Z, a whole hour
HOUSE_MS = 77_000_000_123
MESSAGE = SendMessage("m-1", "Keeper", Way.EMAIL, "keeper@example.org", "Oxygen", "Start the pump.", "a-1")
MOVE = MoveCurtain("c-1", "North", Run.DRAW, 100.0, 74_000, NOON_MS + 60_000, HOUSE_MS + 60_000, "too bright")
NOTE = Note(Ledger.CURTAIN, "North", "light ceiling", "Drawn, because it is too bright.", 100.0)


def at(ms: int, *, trusted: bool = True) -> Stamp:
    """Stamp a turn so many milliseconds after noon."""
    return Stamp(HOUSE_MS + ms, NOON_MS + ms, 60, trusted)


def commit(
    journal: Journal, ms: int, event: Event | None = None, *effects: Effect, document: bytes | None = b"state"
) -> None:
    """Commit a turn at an instant after noon."""
    journal.commit(stamp=at(ms), event=event or Woken(), effects=effects, document=document)


def reading(value: float, sensor: str = "sun") -> ReadingsTaken:
    """Take one reading."""
    return ReadingsTaken((Sample(sensor, value),))


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    """Open a new journal, and close it afterwards."""
    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as opened:
        yield opened


def reopened(journal: Journal, folder: Path) -> Journal:
    """Close a journal and open it again."""
    journal.close()
    return Journal.open(folder, utc_ms=NOON_MS)


# --- what is remembered ---------------------------------------------------------------------------------


def test_a_new_journal_remembers_nothing(journal: Journal) -> None:
    """Before the first commit there is no state, no message and no almanac."""
    assert journal.load() is None
    assert journal.unfinished() == ()
    assert journal.load_almanac() is None
    assert journal.due_flush is None


def test_a_commit_is_there_after_a_restart(journal: Journal, tmp_path: Path) -> None:
    """The last document, its stamp and the number of the turn come back byte for byte."""
    commit(journal, 0, document=b"first")
    commit(journal, 5, document=bytes(range(256)) * 99)

    with closing(reopened(journal, tmp_path)) as again:
        expected = Remembered(bytes(range(256)) * 99, HOUSE_MS + 5, NOON_MS + 5, utc_trusted=True, turn=2)
        assert expected == again.load()
        commit(again, 9, document=b"third")
        remembered = again.load()
        assert remembered is not None
        assert remembered.turn == 3


@settings(max_examples=25)
@given(document=st.binary(max_size=3_000))
def test_any_bytes_are_kept_as_they_are(tmp_path_factory: pytest.TempPathFactory, document: bytes) -> None:
    """The journal has no opinion on the document."""
    with closing(Journal.open(tmp_path_factory.mktemp("any"), utc_ms=NOON_MS)) as journal:
        commit(journal, 0, document=document)
        remembered = journal.load()

        assert remembered is not None
        assert document == remembered.document


def test_a_turn_without_a_document_keeps_the_last_one(journal: Journal) -> None:
    """A note alone moves the stamp on, and the state stays what it was."""
    commit(journal, 0, document=b"state")
    commit(journal, 7, None, NOTE, document=None)

    expected = Remembered(b"state", HOUSE_MS + 7, NOON_MS + 7, utc_trusted=True, turn=2)
    assert expected == journal.load()


@pytest.mark.parametrize(
    ("event", "effects", "commits"),
    [
        (reading(1.0), (), 0),
        (Woken(), (PublishState("health", "{}"),), 0),
        (Woken(), (Note(Ledger.SENSOR, "sun", "flat", "It has not moved.", None),), 0),
        (Woken(), (NOTE,), 1),
        (Woken(), (MESSAGE, MOVE, NOTE), 1),
        (EffectDone("m-1"), (), 1),
        (AnswerGiven("4821", "Keeper", "page"), (), 1),
    ],
)
def test_a_turn_costs_one_flush_or_none(
    journal: Journal, event: Event, effects: tuple[Effect, ...], commits: int
) -> None:
    """Only what must last is flushed to the card, and all of a turn together."""
    journal.commit(stamp=at(0), event=event, effects=effects, document=None)

    assert commits == journal.counters.commits


def test_what_was_ordered_is_kept_with_what_became_of_it(journal: Journal, tmp_path: Path) -> None:
    """Orders stand in the record from the commit on; their outcome is added when it is known."""
    other = SendMessage("m-2", "Deputy", Way.EMAIL, "d@example.org", "Oxygen", "Start the pump.", "a-1")
    commit(journal, 0, None, MOVE, MESSAGE, other)
    commit(journal, 1_000, EffectDone("m-1", "accepted"))
    commit(journal, 2_000, EffectFailed("c-1", "no report"), document=None)

    with Reader(tmp_path) as reader:
        lines = {line.effect_id: line for line in reader.effects(from_utc_ms=0, to_utc_ms=NOON_MS + 1)}
    assert (
        lines["m-1"].outcome,
        lines["m-1"].detail,
        lines["m-1"].ended_utc_ms,
    ) == ("done", "accepted", NOON_MS + 1_000)
    assert (lines["c-1"].outcome, lines["c-1"].detail) == ("failed", "no report")
    assert (lines["m-2"].outcome, lines["m-2"].ended_utc_ms) == (None, None)
    assert lines["c-1"].document["drawn_percent"] == 100.0
    assert lines["c-1"].document["run"] == "draw"


def test_only_messages_without_an_outcome_are_sent_again(journal: Journal, tmp_path: Path) -> None:
    """After a crash unfinished messages come back whole and in order; motor commands never do."""
    messages = [
        SendMessage(f"m-{n}", "Keeper", Way.EMAIL, "k@example.org", "Süß", "line\nline", "a")
        for n in range(4)
    ]
    commit(journal, 0, None, MOVE, messages[0], messages[3])
    commit(journal, 1, None, messages[1], messages[2])
    commit(journal, 2, EffectFailed("m-1", "refused"))

    with closing(reopened(journal, tmp_path)) as again:
        assert (messages[0], messages[3], messages[2]) == again.unfinished()


def test_an_order_given_again_is_open_again(journal: Journal) -> None:
    """A message ordered once more under its old name waits for a new outcome."""
    commit(journal, 0, None, MESSAGE)
    commit(journal, 1, EffectFailed("m-1", "no connection"))
    assert journal.unfinished() == ()
    commit(journal, 2, None, MESSAGE)

    assert journal.unfinished() == (MESSAGE,)


def test_what_people_did_is_kept(journal: Journal, tmp_path: Path) -> None:
    """Who answered or shelved what, and when, stands in the record even without a document."""
    commit(journal, 0, AnswerGiven("4821", "Keeper", "page"), document=None)
    commit(journal, 1, AlarmShelved("oxygen low", 30.0, "Deputy", "probe is out"), document=None)

    with Reader(tmp_path) as reader:
        acts = reader.acts(from_utc_ms=NOON_MS, to_utc_ms=NOON_MS + 2)
    assert [(a.kind, a.person) for a in acts] == [("AnswerGiven", "Keeper"), ("AlarmShelved", "Deputy")]
    assert acts[0].document == {"code": "4821", "person": "Keeper", "way": "page"}


@given(
    st.builds(
        SendMessage,
        effect_id=st.text(),
        person=st.text(),
        way=st.sampled_from(Way),
        address=st.text(),
        subject=st.text(),
        text=st.text(),
        thread=st.text(),
    )
)
def test_a_message_survives_being_written_down(message: SendMessage) -> None:
    """Reading back what was written gives the same message, whatever is in it."""
    assert message == read_message(write_document(message))


@pytest.mark.parametrize("text", ["{}", "[]", "nonsense", '{"way":"pigeon"}', '{"way":"email","x":1}'])
def test_nonsense_is_no_message(text: str) -> None:
    """A row that holds no message is refused with a ValueError."""
    with pytest.raises(ValueError, match=r".+"):
        read_message(text)


# --- notes and readings ---------------------------------------------------------------------------------


def test_notes_are_found_by_ledger_subject_and_time(journal: Journal, tmp_path: Path) -> None:
    """Each note comes back whole; the end of the span is not in it; sensor notes come from the history."""
    south = Note(Ledger.CURTAIN, "South", "open", "Opened.", 0.0)
    sensor = Note(Ledger.SENSOR, "sun", "flat", "It has not moved.", None)
    alarm = Note(Ledger.ALARM, "oxygen low", "sounds", "3.1 mg/L, limit 4.0.", 3.1)
    commit(journal, 0, None, NOTE, south, sensor)
    commit(journal, 10, None, alarm)
    journal.flush(at(20))

    with Reader(tmp_path) as reader:

        def found(ledger: Ledger | None = None, subject: str | None = None, end_ms: int = 11) -> list[str]:
            lines = reader.notes(ledger, subject, from_utc_ms=NOON_MS, to_utc_ms=NOON_MS + end_ms)
            return [line.text for line in lines]

        assert [NOTE.text, south.text] == found(Ledger.CURTAIN)
        assert [south.text] == found(Ledger.CURTAIN, "South")
        assert [sensor.text] == found(Ledger.SENSOR)
        assert {NOTE.text, south.text, sensor.text, alarm.text} == set(found())
        assert alarm.text not in found(end_ms=10)
        line = reader.notes(Ledger.ALARM, from_utc_ms=0, to_utc_ms=NOON_MS + 99)[0]
        assert (
            line.utc_ms,
            line.house_ms,
            line.rule,
            line.value,
        ) == (NOON_MS + 10, HOUSE_MS + 10, "sounds", 3.1)
        assert [alarm.text] == [
            line.text for line in reader.notes(from_utc_ms=0, to_utc_ms=NOON_MS + 99, limit=1)
        ]


def test_the_note_at_an_instant_says_why(journal: Journal, tmp_path: Path) -> None:
    """The latest note on that curtain at or before the instant is found, and of two in a turn the last."""
    for ms, text in [(0, "first"), (1_000, "second")]:
        commit(
            journal,
            ms,
            None,
            Note(Ledger.CURTAIN, "North", "rule", f"{text}, but"),
            Note(Ledger.CURTAIN, "North", "rule", text),
        )

    with Reader(tmp_path) as reader:
        assert reader.note_at("North", NOON_MS - 1) is None
        assert reader.note_at("South", NOON_MS) is None
        for ms, text in [(0, "first"), (999, "first"), (1_000, "second"), (DAY_MS, "second")]:
            note = reader.note_at("North", NOON_MS + ms)
            assert note is not None
            assert text == note.text


def test_readings_wait_for_their_time_and_are_then_written_together(journal: Journal, tmp_path: Path) -> None:
    """The flush is due a set time after the oldest waiting reading, and is one commit."""
    commit(journal, 0, reading(500.0), document=None)
    commit(journal, 4_000, reading(510.0), document=None)
    due = journal.due_flush
    assert due == HOUSE_MS + 10_000
    with Reader(tmp_path) as reader:
        assert reader.readings("sun", from_utc_ms=0, to_utc_ms=NOON_MS + DAY_MS) == ()

    journal.flush(at(10_000))

    assert journal.due_flush is None
    assert journal.counters.history_commits == 1
    with Reader(tmp_path) as reader:
        assert reader.sensors() == ("sun",)
        assert reader.readings("sun", from_utc_ms=NOON_MS, to_utc_ms=NOON_MS + 4_001) == (
            (NOON_MS, 500.0),
            (NOON_MS + 4_000, 510.0),
        )
        assert reader.readings("moon", from_utc_ms=0, to_utc_ms=NOON_MS + DAY_MS) == ()


def test_what_a_person_entered_is_an_act_and_a_reading_as_it_is_kept(
    journal: Journal, tmp_path: Path
) -> None:
    """1 mg/L as NH3 stands in the history as 0.822 mg/L as N; a refused entry is an act and no reading."""
    taken = ValueEntered("kit", 1.0, "Keeper", Basis.AMMONIA)
    refused = ValueEntered("kit", 9999.0, "Keeper", Basis.AMMONIA)
    commit(journal, 0, taken, Note(Ledger.HOUSE, "kit", "entered", "Keeper enters 1 mg/L as NH3.", 0.822))
    commit(journal, 1000, refused, Note(Ledger.HOUSE, "kit", "entry refused", "outside what is possible"))
    journal.flush(at(2000))
    with Reader(tmp_path) as reader:
        readings = reader.readings("kit", from_utc_ms=0, to_utc_ms=2 * NOON_MS)
        acts = reader.acts(from_utc_ms=0, to_utc_ms=2 * NOON_MS)

    assert [value for _, value in readings] == [0.822]
    assert [act.kind for act in acts] == ["ValueEntered"] * 2


def test_what_has_no_time_or_no_value_is_no_history(journal: Journal, tmp_path: Path) -> None:
    """A retained value, whose age nobody knows, and a value that is no number are left out."""
    samples = (Sample("a", 1.0, fresh=False), Sample("b", float("nan")), Sample("c", 3.0))
    commit(journal, 0, ReadingsTaken(samples), document=None)
    journal.flush(at(1))

    with Reader(tmp_path) as reader:
        assert reader.sensors() == ("c",)


def test_hours_are_summed_up_when_they_are_over(journal: Journal, tmp_path: Path) -> None:
    """An hour's count, mean, lowest and highest are written once it is over, and anew if it grows late."""
    for ms, value in [(0, 10.0), (60_000, 40.0), (HOUR_MS - 1, 25.0), (HOUR_MS, 99.0)]:
        commit(journal, ms, reading(value), document=None)
    journal.flush(at(HOUR_MS))

    def hours() -> list[tuple[int, int, float, float, float]]:
        with Reader(tmp_path) as reader:
            lines = reader.hours("sun", from_utc_ms=0, to_utc_ms=NOON_MS + DAY_MS)
        return [(h.utc_ms - NOON_MS, h.count, h.mean, h.lowest, h.highest) for h in lines]

    assert hours() == [(0, 3, 25.0, 10.0, 40.0)]
    journal.commit(stamp=at(120_000), event=reading(125.0), effects=(), document=None)  # the clock went back
    journal.flush(at(2 * HOUR_MS))
    assert hours() == [(0, 4, 50.0, 10.0, 125.0), (HOUR_MS, 1, 99.0, 99.0, 99.0)]


def test_an_hour_cut_by_a_restart_is_whole(journal: Journal, tmp_path: Path) -> None:
    """Readings from before a restart are in the sum of their hour."""
    commit(journal, 0, reading(10.0), document=None)
    journal.flush(at(1))
    with closing(reopened(journal, tmp_path)) as again:
        commit(again, 1_000, reading(20.0), document=None)
        again.flush(at(HOUR_MS))

        with Reader(tmp_path) as reader:
            (line,) = reader.hours("sun", from_utc_ms=0, to_utc_ms=NOON_MS + DAY_MS)
        assert (line.count, line.mean) == (2, 15.0)


def test_a_quiet_restart_still_ends_the_hour(journal: Journal, tmp_path: Path) -> None:
    """An hour left open by a crash is summed up although no reading ever comes again."""
    commit(journal, 0, reading(10.0), document=None)
    journal.flush(at(1))
    with closing(reopened(journal, tmp_path)) as again:
        again.flush(at(3 * HOUR_MS))

        with Reader(tmp_path) as reader:
            assert len(reader.hours("sun", from_utc_ms=0, to_utc_ms=NOON_MS + DAY_MS)) == 1


def test_pruning_drops_what_is_old_and_keeps_what_is_open(
    journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Readings, notes, acts and finished orders from before the instant go; open orders and hours stay."""
    monkeypatch.setattr(history_module, "PRUNE_ROWS", 3)
    for ms in range(10):
        commit(journal, ms, reading(float(ms)), NOTE, document=None)
    commit(journal, 0, AnswerGiven("1", "Keeper", "page"), MESSAGE, MOVE)
    commit(journal, 1, EffectDone("c-1"))
    commit(journal, HOUR_MS, reading(5.0), NOTE)
    journal.flush(at(HOUR_MS))

    deleted = journal.prune(NOON_MS + 8)

    assert deleted == 8 + 8 + 1 + 1
    with Reader(tmp_path) as reader:
        end_ms = NOON_MS + DAY_MS
        assert [t - NOON_MS for t, _ in reader.readings("sun", from_utc_ms=0, to_utc_ms=end_ms)] == [
            8,
            9,
            HOUR_MS,
        ]
        assert [line.utc_ms - NOON_MS for line in reader.notes(from_utc_ms=0, to_utc_ms=end_ms)] == [
            8,
            9,
            HOUR_MS,
        ]
        assert [line.effect_id for line in reader.effects(from_utc_ms=0, to_utc_ms=end_ms)] == ["m-1"]
        assert reader.acts(from_utc_ms=0, to_utc_ms=end_ms) == ()
        assert len(reader.hours("sun", from_utc_ms=0, to_utc_ms=end_ms)) == 1


def test_the_almanac_is_kept(journal: Journal, tmp_path: Path) -> None:
    """The last table of the sun comes back; a damaged one counts as none."""
    journal.store_almanac(b"old")
    journal.store_almanac(b"sun" * 10_000)

    with closing(reopened(journal, tmp_path)) as again:
        assert again.load_almanac() == b"sun" * 10_000
        with closing(connect_plainly(tmp_path / "alarms.db")) as other:
            other.execute("UPDATE almanac SET document = x'00'")
        assert again.load_almanac() is None


# --- one holder, private files --------------------------------------------------------------------------


def test_a_journal_has_one_holder(journal: Journal, tmp_path: Path) -> None:
    """A second daemon on the same folder is refused, and let in once the first has gone."""
    with pytest.raises(JournalInUse, match="another Duskbell"):
        Journal.open(tmp_path, utc_ms=NOON_MS)

    reopened(journal, tmp_path).close()


def test_nobody_else_can_read_the_files(journal: Journal, tmp_path: Path) -> None:
    """Names and addresses are in files that only the daemon's own account may open."""
    commit(journal, 0, reading(1.0), MESSAGE)
    journal.flush(at(1))
    journal.backup(tmp_path)

    for file in tmp_path.iterdir():
        assert stat.S_IMODE(file.stat().st_mode) == 0o600, file.name


def test_a_backup_is_a_journal_of_its_own(journal: Journal, tmp_path: Path) -> None:
    """The copy opens as a journal with the state of its moment; a later copy replaces it."""
    target = tmp_path / "copy"
    target.mkdir()
    for ms in (0, 1):
        commit(journal, ms, reading(float(ms)), NOTE, document=b"%d" % ms)
        journal.flush(at(ms))
        journal.backup(target)

    with closing(Journal.open(target, utc_ms=NOON_MS)) as copy:
        remembered = copy.load()
        assert remembered is not None
        assert (remembered.document, remembered.turn) == (b"1", 2)
    with Reader(target) as reader:
        assert len(reader.readings("sun", from_utc_ms=0, to_utc_ms=NOON_MS + 9)) == 2


def test_a_backup_that_cannot_be_written_says_so(journal: Journal, tmp_path: Path) -> None:
    """A missing folder is refused as broken, and the journal goes on."""
    with pytest.raises(JournalBroken, match="cannot be copied"):
        journal.backup(tmp_path / "absent")

    commit(journal, 0)


def test_a_reader_without_a_journal_says_so(tmp_path: Path) -> None:
    """Asking in an empty folder is refused in plain words."""
    with pytest.raises(JournalBroken, match=r"there is no alarms\.db"):
        Reader(tmp_path)


def test_a_reader_can_do_without_the_history(journal: Journal, tmp_path: Path) -> None:
    """When history is lost the alarms can still be read, and readings are empty."""
    commit(journal, 0, None, NOTE)
    journal.close()
    (tmp_path / "history.db").unlink()

    with Reader(tmp_path) as reader:
        assert reader.note_at("North", NOON_MS) is not None
        assert reader.sensors() == ()
        assert reader.readings("sun", from_utc_ms=0, to_utc_ms=NOON_MS) == ()
        state = reader.last_state()
        assert state is not None
        assert (state.document, state.turn) == (b"state", 1)
    reopened_journal = Journal.open(tmp_path, utc_ms=NOON_MS)
    reopened_journal.close()


def test_a_reader_cannot_write(journal: Journal, tmp_path: Path) -> None:
    """The reader's connections refuse to change anything."""
    commit(journal, 0)
    with Reader(tmp_path) as reader, pytest.raises(sqlite3.OperationalError, match="readonly"):
        reader._alarms.execute("DELETE FROM state")


# --- damage ---------------------------------------------------------------------------------------------


def damage_header(folder: Path, name: str) -> None:
    """Write nonsense over the begin of a file."""
    with (folder / name).open("r+b") as file:
        file.write(b"not a database, not at all" * 40)


def damage_page(folder: Path, name: str) -> None:
    """Write nonsense over the second page of a file and leave its header alone."""
    with (folder / name).open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * 4096)


def cut_off(folder: Path, name: str) -> None:
    """Cut a file off in the middle."""
    path = folder / name
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 2)


@pytest.mark.parametrize("damage", [damage_header, damage_page, cut_off])
@pytest.mark.parametrize(("name", "part"), [("alarms.db", Watched.JOURNAL), ("history.db", Watched.HISTORY)])
def test_a_damaged_file_is_kept_aside_and_told(
    journal: Journal, tmp_path: Path, damage: Callable[[Path, str], None], name: str, part: Watched
) -> None:
    """The damaged file keeps its bytes under another name, a new one works, and people are told."""
    commit(journal, 0, reading(1.0), NOTE, MESSAGE)
    journal.flush(at(1))
    journal.close()
    damage(tmp_path, name)
    damaged = (tmp_path / name).read_bytes()

    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as again:
        kept = tmp_path / f"{name}.damaged-20260621T120000Z"
        assert damaged == kept.read_bytes()
        told = {seen.part: seen.trouble or "" for seen in again.said()}
        assert kept.name in told[part]
        assert (again.load() is None) == (name == "alarms.db")
        commit(again, 2, reading(2.0), NOTE, document=b"new")
        again.flush(at(3))
    with Reader(tmp_path) as reader:
        state = reader.last_state()
        assert state is not None
        assert state.document == b"new"
        assert reader.readings("sun", from_utc_ms=0, to_utc_ms=NOON_MS + 9)[-1] == (NOON_MS + 2, 2.0)


def test_a_state_that_cannot_be_unpacked_is_damage(journal: Journal, tmp_path: Path) -> None:
    """A file that is sound but whose document is spoilt is set aside as well."""
    commit(journal, 0)
    with closing(connect_plainly(tmp_path / "alarms.db")) as other:
        other.execute("UPDATE state SET document = x'0102'")

    with closing(reopened(journal, tmp_path)) as again:
        assert again.load() is None
        assert len(list(tmp_path.glob("alarms.db.damaged-*Z"))) == 1
        commit(again, 1)


def test_history_damaged_while_in_use_is_set_aside(tmp_path: Path) -> None:
    """Damage that shows only at a write costs the old history and not the waiting readings."""
    journal = Journal.open(tmp_path, utc_ms=NOON_MS)
    commit(journal, 0, reading(1.0))
    journal.flush(at(0))
    journal.close()
    journal = Journal.open(tmp_path, utc_ms=NOON_MS)
    damage_header(tmp_path, "history.db")
    damage_page(tmp_path, "history.db")
    assert journal._history._connection is not None
    journal._history._connection.execute("PRAGMA shrink_memory")  # what it has read before it forgets
    journal.said()

    commit(journal, 1, reading(2.0))
    journal.flush(at(1))

    with closing(journal):
        said = [seen for seen in journal.said() if seen.part is Watched.HISTORY]
        assert len(said) == 1
        assert said[0].trouble is not None
        assert "damaged" in said[0].trouble
    with Reader(tmp_path) as reader:
        assert reader.readings("sun", from_utc_ms=0, to_utc_ms=NOON_MS + 9) == ((NOON_MS + 1, 2.0),)


def test_few_damaged_files_are_kept(tmp_path: Path) -> None:
    """However often it happens, only the newest three are kept, so that a crash loop cannot fill the disk."""
    for n in range(5):
        journal = Journal.open(tmp_path, utc_ms=NOON_MS + n * 1_000)
        commit(journal, n)
        journal.close()
        damage_header(tmp_path, "alarms.db")

    kept = sorted(path.name.removeprefix("alarms.db.damaged-") for path in tmp_path.glob("*damaged*"))
    assert kept == ["20260621T120002Z", "20260621T120003Z", "20260621T120004Z"]


def test_setting_aside_cut_off_by_a_power_cut_is_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whichever rename was the last before the cut, the next start has the damaged file aside, whole."""
    rename = Path.rename
    for cut_at in range(3):
        folder = tmp_path / str(cut_at)
        folder.mkdir()
        for part in ("", "-wal", "-shm"):
            (folder / f"alarms.db{part}").write_text(f"damaged{part}")
        done = iter(range(cut_at + 1))

        def cut(path: Path, target: Path, done: Iterator[int] = done, last: int = cut_at) -> Path:
            if next(done) == last:
                raise OSError(5, "power cut")
            return rename(path, target)

        monkeypatch.setattr(Path, "rename", cut)
        with pytest.raises(JournalBroken, match="power cut"):
            journal_file.set_aside(folder / "alarms.db", utc_ms=NOON_MS, why="a test")
        monkeypatch.setattr(Path, "rename", rename)

        Journal.open(folder, utc_ms=NOON_MS + 5_000).close()

        for part in ("", "-wal", "-shm"):
            kept = folder / f"alarms.db.damaged-20260621T120000Z{part}"
            assert kept.read_text() == f"damaged{part}"
        assert not list(folder.glob("*setting-aside"))


def test_a_log_without_its_file_never_meets_a_new_one(journal: Journal, tmp_path: Path) -> None:
    """A lost `alarms.db` whose log is still there counts as damage; the log is not read into a new file."""
    commit(journal, 0)
    log = (tmp_path / "alarms.db-wal").read_bytes()
    journal.close()
    (tmp_path / "alarms.db").unlink()
    (tmp_path / "alarms.db-wal").write_bytes(log)

    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as again:
        assert again.load() is None
        assert any(seen.part is Watched.JOURNAL and seen.trouble for seen in again.said())


# --- the form of the files ------------------------------------------------------------------------------


def newer(*statements: str, usable_from: int) -> Form:
    """Make the form of a later Duskbell."""
    return Form(ALARMS.application_id, (*ALARMS.steps, tuple(statements)), usable_from)


def open_as(folder: Path, form: Form) -> None:
    """Open `alarms.db` as the Duskbell with this form would."""
    path = folder / "alarms.db"
    open_file(path, form, utc_ms=NOON_MS, synchronous="FULL").connection.close()


def test_an_upgrade_in_the_middle_of_an_alarm_keeps_it(journal: Journal, tmp_path: Path) -> None:
    """A newer form is reached in one step; the state and the open message are still there after it."""
    commit(journal, 0, None, MESSAGE, document=b"open alarm")
    journal.close()

    open_as(tmp_path, newer("ALTER TABLE note ADD COLUMN colour TEXT", usable_from=1))

    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as older:  # and back to the older one
        remembered = older.load()
        assert remembered is not None
        assert remembered.document == b"open alarm"
        assert older.unfinished() == (MESSAGE,)
        commit(older, 1, EffectDone("m-1"))


def test_an_upgrade_that_fails_changes_nothing(journal: Journal, tmp_path: Path) -> None:
    """If the second of two statements fails, the first is undone too and the older Duskbell goes on."""
    commit(journal, 0, document=b"open alarm")
    journal.close()

    with pytest.raises(JournalBroken, match="no such table"):
        open_as(tmp_path, newer("CREATE TABLE extra (x)", "INSERT INTO nowhere VALUES (1)", usable_from=2))

    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as older:
        assert older.load() is not None
        tables = {name for (name,) in older._connection.execute("SELECT name FROM sqlite_schema")}
        assert "extra" not in tables


def test_a_form_that_cannot_be_written_back_is_refused_and_left_alone(
    journal: Journal, tmp_path: Path
) -> None:
    """An older Duskbell neither writes nor sets aside what only a newer one understands."""
    commit(journal, 0)
    journal.close()
    open_as(tmp_path, newer("CREATE TABLE extra (x)", usable_from=2))

    with pytest.raises(JournalBroken, match="newer Duskbell"):
        Journal.open(tmp_path, utc_ms=NOON_MS)
    assert not list(tmp_path.glob("*damaged*"))


def test_somebody_else_s_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    """A sound SQLite file of another program is not touched."""
    with closing(sqlite3.connect(tmp_path / "alarms.db")) as other:
        other.execute("PRAGMA user_version = 7")

    with pytest.raises(JournalBroken, match="not a journal"):
        Journal.open(tmp_path, utc_ms=NOON_MS)
    assert (tmp_path / "alarms.db").exists()


# --- troubles and counts --------------------------------------------------------------------------------


def test_a_sound_start_ends_old_troubles(journal: Journal) -> None:
    """What stood from before the start is said to be over, once."""
    assert {TroubleSeen(Watched.JOURNAL, None), TroubleSeen(Watched.HISTORY, None)} == set(journal.said())
    commit(journal, 0)
    assert journal.said() == ()


def test_a_file_set_aside_is_told_for_an_hour(journal: Journal, tmp_path: Path) -> None:
    """The trouble begins at the start and is over an hour of house time later, each said once."""
    journal.close()
    damage_header(tmp_path, "alarms.db")
    with closing(Journal.open(tmp_path, utc_ms=NOON_MS)) as again:
        begun = [seen for seen in again.said() if seen.part is Watched.JOURNAL]
        assert len(begun) == 1
        commit(again, 0)
        commit(again, TOLD_FOR_MS - 1)
        assert again.said() == ()
        commit(again, TOLD_FOR_MS)
        assert (TroubleSeen(Watched.JOURNAL, None),) == again.said()


def test_bytes_are_counted_as_they_are_written(journal: Journal, tmp_path: Path) -> None:
    """The count of a commit is the growth of the log: a frame of 24 and 4096 bytes for each page.

    The size of a frame is that of the WAL format (sqlite.org/walformat.html, sections 1.1 and 1.2).
    """
    log = tmp_path / "alarms.db-wal"
    commit(journal, 0)
    size, counted = log.stat().st_size, journal.counters.bytes_written

    commit(journal, 1, None, NOTE)

    grown = log.stat().st_size - size
    assert grown % 4120 == 0
    assert grown == journal.counters.bytes_written - counted
    assert journal.counters.commits == 2


def test_a_state_of_twenty_kilobytes_costs_few_pages(journal: Journal) -> None:
    """A commit of a large, wordy state with a note writes no more than 24 kB to the card."""
    document = b",".join(
        b'{"sensor":"probe %d","trust":"good","value":%d.25,"since_ms":%d}' % (n, n, n * 7_919)
        for n in range(350)
    )
    assert len(document) > 20_000
    commit(journal, 0, None, NOTE, document=document)
    before = journal.counters.bytes_written
    for n in range(10):
        commit(journal, n + 1, None, NOTE, document=document[n:] + document[:n])

    assert (journal.counters.bytes_written - before) / 10 < 24_000


def test_a_folder_that_cannot_be_used_is_broken(tmp_path: Path) -> None:
    """A file where the folder should be is refused in plain words."""
    (tmp_path / "file").write_text("")

    with pytest.raises(JournalBroken, match="cannot be used"):
        Journal.open(tmp_path / "file", utc_ms=NOON_MS)


def test_a_large_file_is_not_read_whole_at_the_start(
    journal: Journal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Past the limit only the head is looked at, so that a start on a slow card does not take minutes."""
    commit(journal, 0)
    journal.close()
    statements: list[str] = []

    def connect(path: Path) -> sqlite3.Connection:
        connection = connect_plainly(path)
        connection.set_trace_callback(statements.append)
        return connection

    for limit, checked in [(1, False), (10**9, True)]:
        statements.clear()
        monkeypatch.setattr(journal_file, "CHECK_WHOLE_BYTES_MAX", limit)
        Journal.open(tmp_path, utc_ms=NOON_MS, connect=connect).close()
        assert checked == any("quick_check" in statement for statement in statements)


def limited(pages: int, only: str) -> Callable[[Path], sqlite3.Connection]:
    """Connect so that one file cannot grow past some pages: SQLite then reports a full disk."""

    def connect(path: Path) -> sqlite3.Connection:
        connection = connect_plainly(path)
        if path.name == only:
            connection.execute(f"PRAGMA max_page_count = {pages}")
        return connection

    return connect


def test_a_full_history_loses_its_oldest_day_and_goes_on(tmp_path: Path) -> None:
    """With no room left for history the oldest readings go, the newest are written, people are told once."""
    with closing(Journal.open(tmp_path, utc_ms=NOON_MS, connect=limited(30, "history.db"))) as journal:
        journal.said()
        minutes = 30 * 24 * 60
        for minute in range(0, minutes, 5):
            commit(journal, minute * 60_000, reading(float(minute)), document=None)
            if minute % 60 == 0:
                journal.flush(at(minute * 60_000))
        journal.flush(at(minutes * 60_000))
        said = [seen for seen in journal.said() if seen.part is Watched.HISTORY]
    with Reader(tmp_path) as reader:
        kept = reader.readings("sun", from_utc_ms=0, to_utc_ms=NOON_MS + 31 * DAY_MS)

    assert kept[-1] == (NOON_MS + (minutes - 5) * 60_000, float(minutes - 5))
    assert kept[0][0] > NOON_MS + DAY_MS
    assert kept[-1][0] - kept[0][0] > 2 * DAY_MS
    assert said[0].trouble == "the disk is full; the oldest history was dropped"


def test_full_alarms_are_refused_whole(tmp_path: Path) -> None:
    """When even the history's room is not enough, the turn is refused, told, and leaves no trace."""
    with closing(Journal.open(tmp_path, utc_ms=NOON_MS, connect=limited(40, "alarms.db"))) as journal:
        journal.said()
        commit(journal, 0, None, MESSAGE, document=b"before")
        with pytest.raises(JournalFull, match="disk is full"):
            commit(
                journal,
                1,
                EffectDone("m-1"),
                NOTE,
                document=os.urandom(300_000),
            )

        assert journal.unfinished() == (MESSAGE,)
        remembered = journal.load()
        assert remembered is not None
        assert (remembered.document, remembered.turn) == (b"before", 1)
        troubles = {seen.part: seen.trouble for seen in journal.said()}
        assert troubles[Watched.JOURNAL] == "the disk is full; nothing can be remembered"
        commit(journal, 2, document=b"after")
        assert TroubleSeen(Watched.JOURNAL, None) in journal.said()


def test_pruning_and_copying_on_another_thread_disturb_no_turn(journal: Journal, tmp_path: Path) -> None:
    """While the calendar's thread prunes and copies, every turn is committed and nothing fails."""
    target = tmp_path / "copy"
    target.mkdir()
    failures: list[BaseException] = []
    done = threading.Event()

    def keep_house() -> None:
        try:
            while not done.is_set():
                journal.prune(NOON_MS - 1)
                journal.backup(target)
                journal.store_almanac(os.urandom(5_000))
        except BaseException as error:  # noqa: BLE001 - handed to the test's own thread
            failures.append(error)

    thread = threading.Thread(target=keep_house)
    thread.start()
    try:
        for ms in range(300):
            commit(journal, ms, reading(float(ms)), NOTE, document=b"%d" % ms)
            if ms % 10 == 0:
                journal.flush(at(ms))
    finally:
        done.set()
        thread.join(30)

    assert not failures
    remembered = journal.load()
    assert remembered is not None
    assert (remembered.document, remembered.turn) == (b"299", 300)
    with Reader(tmp_path) as reader:
        assert len(reader.notes(Ledger.CURTAIN, from_utc_ms=0, to_utc_ms=NOON_MS + 999)) == 300


def test_a_reader_says_what_is_damaged(journal: Journal, tmp_path: Path) -> None:
    """A spoilt state, a spoilt file and a spoilt history are refused, or done without, in plain words."""
    commit(journal, 0, reading(1.0))
    journal.flush(at(1))
    journal.close()
    damage_header(tmp_path, "history.db")
    with Reader(tmp_path) as reader:
        assert reader.hours("sun", from_utc_ms=0, to_utc_ms=NOON_MS) == ()
    with closing(connect_plainly(tmp_path / "alarms.db")) as other:
        other.execute("UPDATE state SET document = x'0102'")
        other.execute("DROP TABLE note")
    with Reader(tmp_path) as reader:
        with pytest.raises(JournalBroken, match="cannot be unpacked"):
            reader.last_state()
        with pytest.raises(JournalBroken, match="no such table"):
            reader.note_at("North", NOON_MS)
    damage_header(tmp_path, "alarms.db")
    with pytest.raises(JournalBroken, match="what is in it is no journal"):
        Reader(tmp_path)
