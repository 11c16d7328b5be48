"""Everything the daemon knows, as one value.

Two halves: what must survive a power cut (`Durable`: drives, holds, alarms, messages under way) and what is
learnt again from the sensors within minutes (`senses`, `views`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.chain import Chain
from controller.core.alarms.lifecycle import Phase
from controller.core.alarms.siren import Playing
from controller.core.curtain.balance import Balance
from controller.core.curtain.drive import Drive
from controller.core.curtain.hold import Hold
from controller.core.curtain.light_day import LightDay
from controller.core.curtain.self_knowledge import Learnt
from controller.core.curtain.view import View
from controller.core.curtain.weather import Standing
from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.plan.plan import Plan
from controller.core.replies import SenderRecord
from controller.core.roll import Roll
from controller.core.signals.sense import NEVER, Sense
from controller.core.sky.almanac import Almanac
from controller.core.units import Basis, HouseMs, UtcMs
from controller.core.vocabulary import SendMessage
from controller.core.water.trace import Trace


@dataclass(frozen=True, slots=True)
class Outstanding:
    """A message that has been handed over and of which nothing has been heard yet, or that is to go again.

    What tells people something, and calls nobody, is handed over again if it was refused: at `again_ms`, after
    `tries` tries so far; `phase` is that of the alarm it tells of, and when that is another one it is old news.
    `references` are the network's names of a text message that it has taken.
    """

    message: SendMessage
    alarm: str
    queued_ms: HouseMs
    repeats: bool = False
    tries: int = 0
    again_ms: HouseMs = NEVER
    phase: Phase | None = None
    references: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Entry:
    """What a person entered last for a sensor: the value as kept, and as `given` with its basis, by whom and when.

    `utc_trusted` says whether the board's clock had been set when it was entered; only then is `utc_ms` held
    against the clock of today.
    """

    value: float
    given: float
    basis: Basis
    person: str
    house_ms: HouseMs
    utc_ms: UtcMs
    utc_trusted: bool = False


@dataclass(frozen=True, slots=True)
class Tended:
    """What is learnt again of the waters: courses by sensor, and when to look for tests that are due."""

    traces: Mapping[str, Trace] = field(default_factory=dict)
    look_ms: HouseMs = 0


@dataclass(frozen=True, slots=True)
class Durable:
    """The half of the state that the journal keeps.

    `occurrences` counts alarms and `effects_made` counts commands and messages, so that neither a code nor the
    name of an effect comes twice, not even across a restart. `codes_from` and the secret `salt` are where this
    house's codes come from. `unreported` are text messages whose delivery has not been reported yet.
    `standing` is what a person said of storm and snow; `learnt` what curtains have learnt of themselves, and
    `days` the light at each canopy today and `balances` the accounts of moves and memories of the sky, as they were
    within the last hour. `doubts` says by sensor why a probe
    seems to hang in air: a restart must not forget it, for what shows it is the jump, and that is past.
    """

    drives: Mapping[str, Drive] = field(default_factory=dict)
    holds: Mapping[str, Hold] = field(default_factory=dict)
    alarms: Mapping[str, Alarm] = field(default_factory=dict)
    outstanding: Mapping[str, Outstanding] = field(default_factory=dict)
    occurrences: int = 0
    effects_made: int = 0
    codes_from: int = 0
    salt: str = ""
    unreported: Mapping[str, Outstanding] = field(default_factory=dict)
    senders: Mapping[str, SenderRecord] = field(default_factory=dict)
    chain: Chain = field(default_factory=Chain)
    entered: Mapping[str, Entry] = field(default_factory=dict)
    standing: Standing | None = None
    learnt: Mapping[str, Learnt] = field(default_factory=dict)
    days: Mapping[str, LightDay] = field(default_factory=dict)
    balances: Mapping[str, Balance] = field(default_factory=dict)
    doubts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class State:
    """The whole. `wake_ms` is when `step` has work without new input; `turn` counts the turns.

    `alarms_due_ms` is when time alone next has work for an alarm, as `alarms` stand in the durable half. Until
    `settled_ms` (0 once it has passed) the silence of a part of Duskbell after a start says nothing;
    parts that have `spoken` meanwhile said that they are well, and need not be waited for.
    """

    plan: Plan
    roll: Roll
    almanac: Almanac | None = None
    turn: int = 0
    durable: Durable = Durable()
    senses: Mapping[str, Sense] = field(default_factory=dict)
    views: Mapping[str, View] = field(default_factory=dict)
    tended: Tended = Tended()
    rules: Mapping[str, str] = field(default_factory=dict)
    troubles: Mapping[Watched, str] = field(default_factory=dict)
    way_failures: Mapping[tuple[Way, str], tuple[str, HouseMs]] = field(default_factory=dict)
    way_troubles: Mapping[Way, str] = field(default_factory=dict)
    playing: Playing = field(default_factory=Playing)
    refused: Mapping[str, tuple[int, str]] = field(default_factory=dict)
    settled_ms: HouseMs = 0
    spoken: frozenset[Watched] = frozenset()
    heartbeat_ms: HouseMs = 0
    supervised_ms: HouseMs = 0
    alarms_due_ms: HouseMs = 0
    wake_ms: HouseMs = NEVER


REFUSED_TOPICS_MOST: Final = 200
"""Topics whose refused payloads are counted by name; further ones share one counter."""


def next_wake(state: State) -> HouseMs:
    """Return when `step` has work without new input [ms]; NEVER if only input can make work."""
    return state.wake_ms
