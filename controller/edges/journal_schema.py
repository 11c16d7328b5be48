"""The tables of the journal's two files, and how events and effects become rows.

`alarms.db` holds what must not be lost: the state, what was ordered and what became of it, what people did.
`history.db` holds what may be: readings, notes on sensors, hourly means.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from enum import Enum
from typing import Final, TypeAlias

from controller.core.plan.people import Way
from controller.core.units import HouseMs, UtcMs
from controller.core.vocabulary import (
    AlarmPutBack,
    AlarmReset,
    AlarmShelved,
    AlarmTakenOut,
    AnswerGiven,
    Effect,
    EffectDone,
    EffectFailed,
    Event,
    FaultCleared,
    HoldAsked,
    HoldReleased,
    Ledger,
    MoveCurtain,
    Note,
    ReplyReceived,
    SendMessage,
    SoundSiren,
    Stamp,
    TestCallAsked,
    ValueEntered,
    WeatherTold,
)
from controller.edges.journal_file import Form

ALARMS_NAME: Final = "alarms.db"
HISTORY_NAME: Final = "history.db"

_NOTE: Final = """
    CREATE TABLE note (
        utc_ms INTEGER NOT NULL,
        turn INTEGER NOT NULL,
        place INTEGER NOT NULL,
        house_ms INTEGER NOT NULL,
        ledger TEXT NOT NULL,
        subject TEXT NOT NULL,
        rule TEXT NOT NULL,
        text TEXT NOT NULL,
        value REAL,
        PRIMARY KEY (utc_ms, turn, place)
    ) STRICT, WITHOUT ROWID"""

# Keys begin with the time, so that a commit appends to the last page of a table instead of touching one
# page for each subject; on a memory card that is most of the wear.
ALARMS: Final = Form(
    application_id=0x44736B41,  # "DskA"
    steps=(
        (
            """
            CREATE TABLE state (
                id INTEGER PRIMARY KEY CHECK (id = 1),
                house_ms INTEGER NOT NULL,
                utc_ms INTEGER NOT NULL,
                utc_trusted INTEGER NOT NULL,
                turn INTEGER NOT NULL,
                document BLOB
            ) STRICT""",
            """
            CREATE TABLE effect (
                effect_id TEXT NOT NULL PRIMARY KEY,
                turn INTEGER NOT NULL,
                utc_ms INTEGER NOT NULL,
                house_ms INTEGER NOT NULL,
                kind TEXT NOT NULL,
                document TEXT NOT NULL,
                outcome TEXT CHECK (outcome IN ('done', 'failed')),
                detail TEXT NOT NULL DEFAULT '',
                ended_utc_ms INTEGER,
                ended_house_ms INTEGER
            ) STRICT, WITHOUT ROWID""",
            _NOTE,
            """
            CREATE TABLE act (
                utc_ms INTEGER NOT NULL,
                turn INTEGER NOT NULL,
                house_ms INTEGER NOT NULL,
                kind TEXT NOT NULL,
                person TEXT NOT NULL,
                document TEXT NOT NULL,
                PRIMARY KEY (utc_ms, turn)
            ) STRICT, WITHOUT ROWID""",
            "CREATE TABLE almanac (id INTEGER PRIMARY KEY CHECK (id = 1), document BLOB NOT NULL) STRICT",
        ),
    ),
)

HISTORY: Final = Form(
    application_id=0x44736B48,  # "DskH"
    steps=(
        (
            "CREATE TABLE sensor (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT",
            """
            CREATE TABLE reading (
                t INTEGER NOT NULL,
                sensor INTEGER NOT NULL,
                v REAL NOT NULL,
                PRIMARY KEY (t, sensor)
            ) STRICT, WITHOUT ROWID""",
            """
            CREATE TABLE hourly (
                sensor INTEGER NOT NULL,
                t INTEGER NOT NULL,
                n INTEGER NOT NULL,
                mean REAL NOT NULL,
                lo REAL NOT NULL,
                hi REAL NOT NULL,
                PRIMARY KEY (sensor, t)
            ) STRICT, WITHOUT ROWID""",
            _NOTE,
            "CREATE TABLE tally (name TEXT NOT NULL PRIMARY KEY, n INTEGER NOT NULL) STRICT, WITHOUT ROWID",
        ),
    ),
)

LOAD_STATE: Final = (
    "SELECT document, house_ms, utc_ms, utc_trusted, turn FROM state WHERE document IS NOT NULL"
)
SAVE_STATE: Final = (
    "INSERT INTO state VALUES (1, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET "
    "house_ms = excluded.house_ms, utc_ms = excluded.utc_ms, utc_trusted = excluded.utc_trusted, "
    "turn = excluded.turn, document = coalesce(excluded.document, document)"
)
ADD_NOTE: Final = "INSERT OR REPLACE INTO note VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_END_EFFECT: Final = (
    "UPDATE effect SET outcome = ?, detail = ?, ended_utc_ms = ?, ended_house_ms = ? WHERE effect_id = ?"
)
# An order given again under its old name is open again.
_ORDER_EFFECT: Final = (
    "INSERT OR REPLACE INTO effect (effect_id, turn, utc_ms, house_ms, kind, document) "
    "VALUES (?, ?, ?, ?, ?, ?)"
)

Statement: TypeAlias = tuple[str, tuple[object, ...]]
"""SQL and its values."""

Act: TypeAlias = (
    AnswerGiven
    | HoldAsked
    | HoldReleased
    | WeatherTold
    | FaultCleared
    | AlarmShelved
    | AlarmReset
    | AlarmTakenOut
    | AlarmPutBack
    | TestCallAsked
    | ValueEntered
)
"""An event in which a person decided something; who did what is kept."""

ACTS: Final = (
    AnswerGiven, HoldAsked, HoldReleased, WeatherTold, FaultCleared, AlarmShelved, AlarmReset, AlarmTakenOut,
    AlarmPutBack, TestCallAsked, ValueEntered,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Remembered:
    """The last state that was committed, and when. `turn` counts the commits."""

    document: bytes
    house_ms: HouseMs
    utc_ms: UtcMs
    utc_trusted: bool
    turn: int


@dataclass(frozen=True, slots=True)
class NoteLine:
    """A line of the record."""

    utc_ms: UtcMs
    house_ms: HouseMs
    ledger: Ledger
    subject: str
    rule: str
    text: str
    value: float | None


@dataclass(frozen=True, slots=True)
class EffectLine:
    """What was ordered and what became of it; `outcome` is done, failed, or None while nobody knows."""

    effect_id: str
    utc_ms: UtcMs
    kind: str
    document: dict[str, object]
    outcome: str | None
    detail: str
    ended_utc_ms: UtcMs | None


@dataclass(frozen=True, slots=True)
class ActLine:
    """What a person did."""

    utc_ms: UtcMs
    kind: str
    person: str
    document: dict[str, object]


@dataclass(frozen=True, slots=True)
class HourLine:
    """One hour of one sensor: how many readings, their mean, lowest and highest. `utc_ms` is its begin."""

    utc_ms: UtcMs
    count: int
    mean: float
    lowest: float
    highest: float


def write_document(thing: Act | ReplyReceived | MoveCurtain | SendMessage | SoundSiren) -> str:
    """Write an event or effect as JSON text; enums by their words."""
    return json.dumps(
        {name: value.value if isinstance(value, Enum) else value for name, value in asdict(thing).items()},
        separators=(",", ":"),
    )


def read_message(text: str) -> SendMessage:
    """Read a message back from its JSON text.

    Raises
    ------
    ValueError
        The text is no message.
    """
    try:
        fields = json.loads(text)
        return SendMessage(**{**fields, "way": Way(fields["way"])})
    except (TypeError, KeyError) as error:
        raise ValueError(f"no message: {error}") from error


def note_row(stamp: Stamp, note: Note, *, turn: int, place: int) -> tuple[object, ...]:
    """Lay a note out in the columns of its table."""
    return (
        stamp.utc_ms,
        turn,
        place,
        stamp.house_ms,
        note.ledger.value,
        _text(note.subject),
        _text(note.rule),
        _text(note.text),
        note.value,
    )


def event_rows(stamp: Stamp, event: Event, turn: int) -> Iterator[Statement]:
    """Write an event down if it alone is worth a commit: an outcome, or something a person did."""
    if isinstance(event, (EffectDone, EffectFailed)):
        outcome, detail = (
            ("done", event.detail) if isinstance(event, EffectDone) else ("failed", event.reason)
        )
        yield _END_EFFECT, (outcome, _text(detail), stamp.utc_ms, stamp.house_ms, _text(event.effect_id))
    elif isinstance(event, ReplyReceived):
        yield _act_row(stamp, event, event.sender, turn)
    elif isinstance(event, ACTS):
        yield _act_row(stamp, event, event.person, turn)


def _act_row(stamp: Stamp, event: Act | ReplyReceived, person: str, turn: int) -> Statement:
    """Lay out what a person did, or a number wrote."""
    kind, document = type(event).__name__, write_document(event)
    values = (stamp.utc_ms, turn, stamp.house_ms, kind, _text(person), _text(document))
    return "INSERT OR REPLACE INTO act VALUES (?, ?, ?, ?, ?, ?)", values


def effect_rows(stamp: Stamp, effects: tuple[Effect, ...], turn: int) -> Iterator[Statement]:
    """Write down orders and notes; published states are not kept, nor are notes on sensors, here."""
    for place, effect in enumerate(effects):
        if isinstance(effect, (MoveCurtain, SendMessage, SoundSiren)):
            kind, document = type(effect).__name__, write_document(effect)
            values = (_text(effect.effect_id), turn, stamp.utc_ms, stamp.house_ms, kind, document)
            yield _ORDER_EFFECT, values
        elif isinstance(effect, Note) and effect.ledger is not Ledger.SENSOR:
            yield ADD_NOTE, note_row(stamp, effect, turn=turn, place=place)


def _text(text: str) -> str:
    """Make text that SQLite takes: a payload from outside may bring halves of characters along."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")
