"""The words of the house: events that come in, facts that are known, effects that go out.

Read this first. Everything the daemon does is one sentence in this language: an event arrives with a stamp,
`step` turns the old state and the event into a new state and some effects, and the edges carry the effects
out. What became of an effect comes back as another event; an adapter never answers.

Effects are absolute, bounded and expire ("draw, at most 74 s, not after this instant"), never "toggle".
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple, TypeAlias

from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.plan.plan import Plan
from controller.core.sky.almanac import Almanac
from controller.core.units import Basis, HouseMs, UtcMs


class Stamp(NamedTuple):
    """All clocks, read once per turn.

    `house_ms` never goes back and runs on across restarts; durations and deadlines use it alone. `utc_ms` is
    for the sun, schedules and text; `utc_trusted` says whether the board's clock has been set.
    """

    house_ms: HouseMs
    utc_ms: UtcMs
    utc_offset_min: int
    utc_trusted: bool


class Trust(Enum):
    """How far a value can be believed. Unknown is never normal."""

    GOOD = "good"
    DOUBTFUL = "doubtful"
    STALE = "stale"
    MISSING = "missing"


class Limit(Enum):
    """Which end switches of a curtain are pressed."""

    NONE = "none"
    OPEN = "open"
    DRAWN = "drawn"
    BOTH = "both"


class Selector(Enum):
    """The switch at the motor. Local and off always win."""

    REMOTE = "remote"
    LOCAL = "local"
    OFF = "off"


class Weather(Enum):
    """The weather that goes before the rules of comfort."""

    NONE = "none"
    STORM = "storm"
    SNOW = "snow"


class Run(Enum):
    """What a motor is asked to do."""

    DRAW = "draw"
    OPEN = "open"
    STOP = "stop"


# --- events ---------------------------------------------------------------------------------------------


class Sample(NamedTuple):
    """One value of one sensor, in the kept unit of its quantity.

    `fresh` is False for a retained message, whose age nobody knows. `taken_utc_ms` is the sensor's own time,
    if it sent one.
    """

    sensor: str
    value: float
    fresh: bool = True
    taken_utc_ms: UtcMs | None = None


@dataclass(frozen=True, slots=True)
class Started:
    """The daemon has (re)started; `away_ms` is how long it was away, if that is known [ms].

    `salt` is a secret drawn by chance, from which the codes of a new house come; an older house keeps its own.
    """

    away_ms: int | None = None
    salt: str = ""


@dataclass(frozen=True, slots=True)
class ReadingsTaken:
    """Sensors have spoken."""

    samples: tuple[Sample, ...]


@dataclass(frozen=True, slots=True)
class PayloadRefused:
    """A message could not be read; it is counted and never becomes a value."""

    topic: str
    source: str
    reason: str


@dataclass(frozen=True, slots=True)
class CurtainReported:
    """A motor board has said where its curtain is and what it does."""

    curtain: str
    drawn_percent: float | None
    moving: bool
    limit: Limit = Limit.NONE
    selector: Selector = Selector.REMOTE
    command_id: str | None = None


@dataclass(frozen=True, slots=True)
class SettingsChanged:
    """The manager's settings have been read and found good."""

    plan: Plan


@dataclass(frozen=True, slots=True)
class AlmanacArrived:
    """A table of the sun for the coming days."""

    almanac: Almanac


@dataclass(frozen=True, slots=True)
class Woken:
    """A deadline of the state has come; nothing else has happened."""


@dataclass(frozen=True, slots=True)
class TroubleSeen:
    """A part of Duskbell or of its surroundings is in trouble, or (with None) in order again."""

    part: Watched
    trouble: str | None


@dataclass(frozen=True, slots=True)
class WayTried:
    """A way to people has been tried as a whole: what is the matter with it, or None if it works."""

    way: Way
    trouble: str | None


@dataclass(frozen=True, slots=True)
class AnswerGiven:
    """A person answers for the alarm with this code."""

    code: str
    person: str
    way: str


@dataclass(frozen=True, slots=True)
class HoldAsked:
    """A person wants the curtain at a position for a time, whatever the rules say."""

    curtain: str
    drawn_percent: float
    minutes: float
    person: str


@dataclass(frozen=True, slots=True)
class HoldReleased:
    """A person gives the curtain back to the rules."""

    curtain: str
    person: str


@dataclass(frozen=True, slots=True)
class WeatherTold:
    """A person says that storm or snow is coming, for some hours, for all curtains.

    `NONE` ends what was said; with `hours` above 0 the sensors of wind and snow are not heeded for so long.
    """

    weather: Weather
    hours: float
    person: str


@dataclass(frozen=True, slots=True)
class FaultCleared:
    """A person has looked at the curtain and lets the motor run again, or at a doubted probe and believes it again.

    `curtain` is the name of either.
    """

    curtain: str
    person: str


@dataclass(frozen=True, slots=True)
class AlarmShelved:
    """A person silences one alarm for a bounded time, with a reason."""

    alarm: str
    minutes: float
    person: str
    reason: str


@dataclass(frozen=True, slots=True)
class AlarmReset:
    """A person resets a latched alarm."""

    alarm: str
    person: str


@dataclass(frozen=True, slots=True)
class ValueEntered:
    """A person enters a test kit's value [kept unit], with what it is weighed as.

    `corrects` says that the last value was a slip: this one takes its place and its time, and the record keeps
    both.
    """

    sensor: str
    value: float
    person: str
    basis: Basis = Basis.ITSELF
    corrects: bool = False


@dataclass(frozen=True, slots=True)
class AlarmTakenOut:
    """Two persons take an alarm out of service and say what stands in its place."""

    alarm: str
    person: str
    second: str
    replacement: str


@dataclass(frozen=True, slots=True)
class AlarmPutBack:
    """A person puts an alarm back in service, or ends its shelf early."""

    alarm: str
    person: str


@dataclass(frozen=True, slots=True)
class TestCallAsked:
    """A person asks for a test call to somebody, or with an empty name to everybody on the list."""

    __test__ = False  # its name makes pytest look for tests in it

    person: str
    whom: str = ""


@dataclass(frozen=True, slots=True)
class EffectDone:
    """The world took an effect: a board's relay closed, a mail server accepted a message.

    `references` are the network's own names for a text message, by which it reports its delivery.
    """

    effect_id: str
    detail: str = ""
    references: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class EffectFailed:
    """The world refused an effect."""

    effect_id: str
    reason: str


@dataclass(frozen=True, slots=True)
class MessageDelivered:
    """A message has reached the person's phone. That is not yet read, nor answered."""

    effect_id: str


@dataclass(frozen=True, slots=True)
class ReplyReceived:
    """Somebody has written back. Who it is shows only in `sender`, the number or address it came from."""

    way: Way
    sender: str
    text: str


@dataclass(frozen=True, slots=True)
class GuessesSeen:
    """Too many wrong codes came to the page from one address; it has been refused for an hour."""

    client: str


@dataclass(frozen=True, slots=True)
class SirenReported:
    """The siren has said whether it sounds."""

    on: bool


Event: TypeAlias = (
    Started
    | ReadingsTaken
    | PayloadRefused
    | CurtainReported
    | SettingsChanged
    | AlmanacArrived
    | Woken
    | TroubleSeen
    | WayTried
    | AnswerGiven
    | HoldAsked
    | HoldReleased
    | WeatherTold
    | FaultCleared
    | AlarmShelved
    | AlarmReset
    | ValueEntered
    | AlarmTakenOut
    | AlarmPutBack
    | TestCallAsked
    | EffectDone
    | EffectFailed
    | MessageDelivered
    | ReplyReceived
    | SirenReported
    | GuessesSeen
)


# --- effects --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class MoveCurtain:
    """Run a curtain's motor: towards `drawn_percent`, at most `run_at_most_ms`, not after an instant.

    `run` says the direction for boards that only know draw, open and stop. A stop has `run_at_most_ms` 0.
    """

    effect_id: str
    curtain: str
    run: Run
    drawn_percent: float
    run_at_most_ms: int
    not_after_utc_ms: UtcMs
    not_after_house_ms: HouseMs
    reason: str


@dataclass(frozen=True, slots=True)
class SendMessage:
    """Tell a person something by one way. `thread` groups the messages of one alarm.

    `after` names a message under way that this one only makes sense after: if that one is not taken, this one
    is not sent.
    """

    effect_id: str
    person: str
    way: Way
    address: str
    subject: str
    text: str
    thread: str
    after: str = ""


@dataclass(frozen=True, slots=True)
class SoundSiren:
    """Let the siren sound for at most `run_at_most_ms`, not after an instant; 0 silences it at once."""

    effect_id: str
    run_at_most_ms: int
    not_after_utc_ms: UtcMs
    not_after_house_ms: HouseMs
    reason: str


@dataclass(frozen=True, slots=True)
class PublishState:
    """Publish a retained state under the site's own topic root."""

    tail: str
    document: str


class Ledger(Enum):
    """Which page of the record a line belongs to."""

    CURTAIN = "curtain"
    ALARM = "alarm"
    CALL = "call"
    SENSOR = "sensor"
    HOUSE = "house"


@dataclass(frozen=True, slots=True)
class Note:
    """A line for the record: what was decided, about what, and why, in one sentence."""

    ledger: Ledger
    subject: str
    rule: str
    text: str
    value: float | None = None


Effect: TypeAlias = MoveCurtain | SendMessage | SoundSiren | PublishState | Note
