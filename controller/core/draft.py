"""The working copy of one turn: a state being changed, and the effects being gathered.

It lives inside one call of `step` and never leaves it. Mappings are copied on first change, so that an
untouched half of the state stays the same object and the journal can see that it needs no writing.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

from controller.core.alarms.alarm import Alarm, make_code
from controller.core.alarms.lifecycle import ACTIVE, Phase
from controller.core.curtain.drive import Drive
from controller.core.curtain.hold import Hold
from controller.core.plan.alarm import Watched
from controller.core.state import Durable, Outstanding, State
from controller.core.vocabulary import Effect, Ledger, Note, Stamp, Trust

K = TypeVar("K")
V = TypeVar("V")


class Draft:
    """One turn's working copy."""

    __slots__ = (
        "alarms",
        "alarms_due_ms",
        "almanac",
        "balances",
        "chain",
        "codes_from",
        "days",
        "deadline_has_come",
        "doubts",
        "drives",
        "due_alarms",
        "due_calls",
        "due_curtains",
        "effects",
        "effects_made",
        "entered",
        "heartbeat_ms",
        "holds",
        "learnt",
        "now",
        "occurrences",
        "outstanding",
        "plan",
        "playing",
        "refused",
        "roll",
        "rules",
        "salt",
        "senders",
        "senses",
        "settled_ms",
        "spoken",
        "stamp",
        "standing",
        "state",
        "stirred",
        "supervised_ms",
        "tended",
        "troubles",
        "unreported",
        "views",
        "way_failures",
        "way_troubles",
    )  # fmt: skip

    def __init__(self, state: State, stamp: Stamp) -> None:
        durable = state.durable
        self.state = state
        self.stamp = stamp
        # House time of this turn [ms], and whether anything but the event itself can be due.
        self.now = stamp.house_ms
        self.deadline_has_come = state.wake_ms <= stamp.house_ms
        self.plan = state.plan
        self.roll = state.roll
        self.almanac = state.almanac
        self.senses = state.senses
        self.views = state.views
        self.tended = state.tended
        self.rules = state.rules
        self.troubles = state.troubles
        self.way_failures = state.way_failures
        self.way_troubles = state.way_troubles
        self.playing = state.playing
        self.refused = state.refused
        self.settled_ms = state.settled_ms
        self.spoken = state.spoken
        self.heartbeat_ms = state.heartbeat_ms
        self.supervised_ms = state.supervised_ms
        self.alarms_due_ms = state.alarms_due_ms
        self.drives = durable.drives
        self.holds = durable.holds
        self.alarms = durable.alarms
        self.outstanding = durable.outstanding
        self.occurrences = durable.occurrences
        self.effects_made = durable.effects_made
        self.codes_from = durable.codes_from
        self.salt = durable.salt
        self.unreported = durable.unreported
        self.senders = durable.senders
        self.entered = durable.entered
        self.chain = durable.chain
        self.standing = durable.standing
        self.learnt = durable.learnt
        self.days = durable.days
        self.balances = durable.balances
        self.doubts = durable.doubts
        self.effects: list[Effect] = []
        self.due_alarms: set[str] = set()
        self.due_calls: set[str] = set()
        self.due_curtains: set[str] = set()
        self.stirred: dict[str, None] = {}  # in the order in which they spoke

    def effect_id(self) -> str:
        """Return a name for the next command or message; no two in the life of the house are the same."""
        self.effects_made += 1
        return f"e{self.effects_made}"

    def make_code(self) -> str:
        """Return the code of the latest occurrence, from this house's own secret; never one that is in use."""
        in_use = {alarm.code for alarm in self.alarms.values() if alarm.phase is not Phase.NORMAL}
        in_use.update(test.code for test in self.chain.tests)
        while (code := make_code(self.codes_from + self.occurrences, self.salt)) in in_use:
            self.occurrences += 1
        return code

    def note(self, ledger: Ledger, subject: str, rule: str, text: str, value: float | None = None) -> None:
        """Put a line into the record."""
        self.effects.append(Note(ledger, subject, rule, text, value))

    def note_trust(self, name: str, *, before: Trust, after: Trust, why: str) -> None:
        """Write a change of trust in a sensor into the record."""
        text = (
            f"can be trusted again (was {before.value})" if after is Trust.GOOD else f"{after.value}: {why}"
        )
        self.note(Ledger.SENSOR, name, after.value, text)

    def set_drive(self, name: str, drive: Drive) -> None:
        """Change one motor."""
        self.drives = with_item(self.drives, name, drive)

    def set_hold(self, name: str, hold: Hold | None) -> None:
        """Set or end one hold."""
        self.holds = without_item(self.holds, name) if hold is None else with_item(self.holds, name, hold)

    def set_alarm(self, name: str, alarm: Alarm) -> None:
        """Change one alarm; what follows from it is judged anew when it opens or closes."""
        followers = self.roll.consequences_of.get(name)
        if followers is not None:
            before = self.alarms.get(name)
            if (before is not None and before.phase in ACTIVE) != (alarm.phase in ACTIVE):
                self.due_alarms.update(followers)
        self.alarms = with_item(self.alarms, name, alarm)

    def set_outstanding(self, effect_id: str, outstanding: Outstanding | None) -> None:
        """Remember a message under way, or forget it."""
        if outstanding is None:
            self.outstanding = without_item(self.outstanding, effect_id)
        else:
            self.outstanding = with_item(self.outstanding, effect_id, outstanding)

    def set_trouble(self, part: Watched, trouble: str | None) -> None:
        """Say what is the matter with a part, or that it is in order."""
        if self.troubles.get(part) == trouble:
            return
        self.troubles = (
            without_item(self.troubles, part) if trouble is None else with_item(self.troubles, part, trouble)
        )
        self.due_alarms.update(self.roll.alarms_of_part.get(part, ()))
        if trouble is None:
            self.hear_well(part)

    def hear_well(self, part: Watched) -> None:
        """Remember that a part has said since the start that it is well; once settled its silence says as much."""
        if self.now < self.settled_ms and part not in self.spoken:
            self.spoken |= {part}
            self.due_alarms.update(self.roll.alarms_of_part.get(part, ()))

    def finish(self, wake_ms: int) -> State:
        """Return the new state. The durable half is the old object if nothing in it has changed."""
        old = self.state.durable
        durable = old
        if (
            self.drives is not old.drives
            or self.holds is not old.holds
            or self.alarms is not old.alarms
            or self.outstanding is not old.outstanding
            or self.occurrences != old.occurrences
            or self.effects_made != old.effects_made
            or self.codes_from != old.codes_from
            or self.salt != old.salt
            or self.unreported is not old.unreported
            or self.senders is not old.senders
            or self.entered is not old.entered
            or self.chain is not old.chain
            or self.standing is not old.standing
            or self.learnt is not old.learnt
            or self.days is not old.days
            or self.balances is not old.balances
            or self.doubts is not old.doubts
        ):
            durable = Durable(
                drives=self.drives, holds=self.holds, alarms=self.alarms, outstanding=self.outstanding,
                occurrences=self.occurrences, effects_made=self.effects_made, codes_from=self.codes_from,
                salt=self.salt, unreported=self.unreported, senders=self.senders, chain=self.chain,
                entered=self.entered, standing=self.standing, learnt=self.learnt, days=self.days,
                balances=self.balances,
                doubts=self.doubts,
            )  # fmt: skip
        return State(
            plan=self.plan, roll=self.roll, almanac=self.almanac, turn=self.state.turn + 1, durable=durable,
            senses=self.senses, tended=self.tended, views=self.views, rules=self.rules, troubles=self.troubles,
            way_failures=self.way_failures, way_troubles=self.way_troubles, playing=self.playing,
            refused=self.refused, settled_ms=self.settled_ms, spoken=self.spoken,
            heartbeat_ms=self.heartbeat_ms, supervised_ms=self.supervised_ms,
            alarms_due_ms=self.alarms_due_ms, wake_ms=wake_ms,
        )  # fmt: skip


def with_item(mapping: Mapping[K, V], name: K, value: V) -> Mapping[K, V]:
    """Return a copy of `mapping` with one item set."""
    return {**mapping, name: value}


def without_item(mapping: Mapping[K, V], name: K) -> Mapping[K, V]:
    """Return `mapping` without one item; the same object if it was not there."""
    if name not in mapping:
        return mapping
    return {other: value for other, value in mapping.items() if other != name}
