"""Look after the bodies of water: follow their readings, reckon what can be derived, remind of tests that are due.

Work is done only for what hangs on a sensor that has spoken in this turn; horizons and causes are reckoned
when somebody asks (`controller.core.foresee`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Final

from controller.core.alarms.calm import is_calm
from controller.core.alarms.lifecycle import Phase
from controller.core.draft import Draft, with_item, without_item
from controller.core.plan.alarm import Kind
from controller.core.signals.sense import UNHEARD, Sense
from controller.core.state import Tended
from controller.core.units import HOUR_MS, MINUTE_MS, Quantity
from controller.core.vocabulary import FaultCleared, Ledger, Trust
from controller.core.water.derive import derive, derive_loss
from controller.core.water.probe import find_in_air, is_striking
from controller.core.water.readings import Recipe
from controller.core.water.trace import EMPTY, follow

LOOKED_AFTER_MS: Final = 20 * MINUTE_MS
"""So long after a person can be there a doubted probe has been looked at. [ms]"""

REMIND_EVERY_MS: Final = HOUR_MS
"""A test kit is due in days: looking once an hour is often enough. [ms]"""


class _Work:
    """The mappings of one turn being changed; each is copied on its first change."""

    __slots__ = ("draft", "senses", "traces")

    def __init__(self, draft: Draft) -> None:
        self.draft = draft
        self.senses = dict(draft.senses)
        self.traces = dict(draft.tended.traces)


def tend_due(draft: Draft) -> None:
    """Bring up to date every water that something has happened to, and look for tests that are due."""
    if draft.stirred:
        _tend(draft, draft.stirred)
    if draft.roll.reminders and draft.tended.look_ms <= draft.now:
        draft.tended = replace(draft.tended, look_ms=draft.now + REMIND_EVERY_MS)
        draft.due_alarms.update(draft.roll.reminders)


def expect_waters(draft: Draft) -> None:
    """After a start or new settings reckon everything anew; courses of sensors that are gone are forgotten."""
    roll = draft.roll
    kept = {
        name: trace
        for name, trace in draft.tended.traces.items()
        if name in roll.traced or (name in roll.sensors and name not in roll.specs)
    }
    draft.tended = Tended(traces=kept, look_ms=draft.now)
    for name in draft.doubts:
        if name not in roll.probes:
            draft.doubts = without_item(draft.doubts, name)
    work = _Work(draft)
    for recipes in roll.recipes.values():
        for recipe in recipes:
            _reckon(work, recipe)
    draft.senses = work.senses


def _tend(draft: Draft, stirred: Iterable[str]) -> None:
    """Follow the readings that have changed, and reckon what hangs on them."""
    roll, work = draft.roll, _Work(draft)
    traced, recipes_of, before = roll.traced, roll.recipes_of_sensor, draft.state.senses
    due: dict[str, Recipe] = {}
    for name in stirred:
        if name in traced and work.senses[name] is not before.get(name):
            _follow(work, name, work.senses[name])
        if name in recipes_of:
            for recipe in recipes_of[name]:
                due[recipe.name] = recipe
    for recipe in due.values():
        _reckon(work, recipe)
    draft.senses = work.senses
    draft.tended = Tended(work.traces, draft.tended.look_ms)


def _follow(work: _Work, name: str, sense: Sense) -> None:
    """Add what a sensor has said to its course; where it strikes, ask whether it hangs in air."""
    value, draft = sense.value, work.draft
    if value is None:
        return
    doubt = draft.doubts.get(name) if draft.doubts else None
    if sense.trust is not Trust.GOOD and (doubt is None or sense.why != doubt):
        return
    trace = work.traces.get(name, EMPTY)
    after = work.traces[name] = follow(trace, at_ms=sense.heard_ms, value=value)
    if name not in draft.roll.probes:
        return
    if is_striking(after, value) if doubt is None else after.fine is not trace.fine:
        _doubt(work, name, doubt)


def _doubt(work: _Work, name: str, doubt: str | None) -> None:
    """Ask whether a probe hangs in air. Its course begins anew with a doubt and at its end: it holds no water."""
    draft, elevation_m = work.draft, work.draft.plan.site.elevation_m
    trace, sense = work.traces[name], work.senses[name]
    why, looked = "", doubt is not None and _has_been_looked_at(draft, name)
    for water in draft.roll.probes[name]:
        why = why or find_in_air(
            water,
            name,
            work.senses,
            trace,
            elevation_m=elevation_m,
            doubted=doubt is not None,
            looked=looked,
        )
    if bool(why) is (doubt is not None):
        return
    draft.doubts = with_item(draft.doubts, name, why) if why else without_item(draft.doubts, name)
    work.traces[name] = EMPTY
    trust = Trust.DOUBTFUL if why else Trust.GOOD
    work.senses[name] = sense._replace(trust=trust, why=why)
    draft.note_trust(name, before=sense.trust, after=trust, why=why)
    draft.due_alarms.update(draft.roll.alarms_of_sensor.get(name, ()))
    draft.due_curtains.update(draft.roll.curtains_of_sensor.get(name, ()))


def _has_been_looked_at(draft: Draft, name: str) -> bool:
    """Tell whether a person who has answered for a doubted probe has had the time to get there and look."""
    enough_ms = draft.plan.call_rules.call_out_and_travel_min * MINUTE_MS + LOOKED_AFTER_MS
    for each in draft.roll.alarms_of_sensor.get(name, ()):
        alarm = draft.alarms.get(each)
        if alarm is None or draft.roll.entries[each].kind is not Kind.DOUBTFUL:
            continue
        if alarm.phase is Phase.ACKNOWLEDGED and draft.now - alarm.raised_ms >= enough_ms:
            return True
    return False


def believe(draft: Draft, event: FaultCleared) -> None:
    """Believe a doubted probe again because a person has looked at it: it hangs in the water."""
    name = event.curtain
    doubt, sense = draft.doubts[name], draft.senses.get(name, UNHEARD)
    draft.doubts = without_item(draft.doubts, name)
    draft.tended = replace(draft.tended, traces=without_item(draft.tended.traces, name))
    draft.note(Ledger.SENSOR, name, "looked at", f"{event.person} has looked: it hangs in the water")
    if sense.why == doubt:
        draft.senses = with_item(draft.senses, name, sense._replace(trust=Trust.GOOD, why=""))
        draft.stirred[name] = None
    draft.due_alarms.update(draft.roll.alarms_of_sensor.get(name, ()))
    draft.due_curtains.update(draft.roll.curtains_of_sensor.get(name, ()))


def _reckon(work: _Work, recipe: Recipe) -> None:
    """Reckon one derived reading."""
    draft, senses, name = work.draft, work.senses, recipe.name
    old = senses.get(name)
    inputs = [senses.get(each, UNHEARD) for each in recipe.inputs]
    if (
        old is not None
        and recipe.quantity is not Quantity.WATER_LOSS
        and _is_as_before(draft, recipe, inputs)
    ):
        heard = min([sense.heard_ms for sense in inputs], default=old.heard_ms)
        if heard != old.heard_ms:
            senses[name] = old._replace(heard_ms=heard)
            _follow_derived(work, recipe, old)
        return
    if recipe.quantity is Quantity.WATER_LOSS:
        trace = work.traces.get(recipe.inputs[0], EMPTY)
        before = draft.tended.traces.get(recipe.inputs[0], EMPTY)
        if old is not None and old.trust is inputs[0].trust is Trust.GOOD and trace.coarse is before.coarse:
            senses[name] = old._replace(heard_ms=inputs[0].heard_ms)
            return
        new = derive_loss(recipe, inputs[0], trace)
    else:
        new = derive(recipe, inputs, now=draft.now)
    if new == old:
        return
    senses[name] = new
    roll = draft.roll
    if name in roll.alarms_of_sensor and not (old is not None and is_calm(roll.calms[name], old, new)):
        draft.due_alarms.update(roll.alarms_of_sensor[name])
    _follow_derived(work, recipe, new)


def _follow_derived(work: _Work, recipe: Recipe, sense: Sense) -> None:
    """Add un-ionised ammonia to its course, also while it stands still: a course with gaps begins anew."""
    name = recipe.name
    if (
        recipe.quantity is Quantity.UNIONISED_AMMONIA
        and sense.trust is Trust.GOOD
        and sense.value is not None
    ):
        work.traces[name] = follow(work.traces.get(name, EMPTY), at_ms=work.draft.now, value=sense.value)


def _is_as_before(draft: Draft, recipe: Recipe, inputs: Iterable[Sense]) -> bool:
    """Tell whether nothing that a derived reading is reckoned from has changed but its age."""
    before = draft.state.senses
    spoilt = changed = False
    for name, sense in zip(recipe.inputs, inputs, strict=True):
        was = before.get(name)
        good = sense.trust is Trust.GOOD
        spoilt = spoilt or not good
        if sense is was:
            continue
        if was is None or not good or was.trust is not Trust.GOOD:
            return False
        changed = changed or was.value != sense.value
    return spoilt or not changed
