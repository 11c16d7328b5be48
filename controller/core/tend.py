"""Look after the bodies of water: follow their readings, reckon what can be derived, remind of tests that are due.

Work is done only for a water one of whose sensors has changed in this turn; horizons and causes are reckoned
when somebody asks (`controller.core.foresee`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final, NamedTuple

from controller.core.draft import Draft
from controller.core.signals.sense import UNHEARD, Sense
from controller.core.state import Tended
from controller.core.units import HOUR_MS, Quantity
from controller.core.vocabulary import Trust
from controller.core.water.derive import derive, derive_loss, with_doubt
from controller.core.water.probe import find_in_air
from controller.core.water.readings import Recipe
from controller.core.water.trace import EMPTY, Trace, follow

REMIND_EVERY_MS: Final = HOUR_MS
"""A test kit is due in days: looking once an hour is often enough. [ms]"""


class _Work(NamedTuple):
    """The mappings of one turn being changed."""

    senses: dict[str, Sense]
    before: Mapping[str, Sense]
    traces: dict[str, Trace]


def tend_due(draft: Draft) -> None:
    """Bring up to date every body of water that something has happened to, and look for tests that are due."""
    if draft.due_waters:
        _tend(draft)
    if draft.roll.reminders and draft.tended.look_ms <= draft.now:
        draft.tended = replace(draft.tended, look_ms=draft.now + REMIND_EVERY_MS)
        draft.due_alarms.update(draft.roll.reminders)


def expect_waters(draft: Draft) -> None:
    """After a start or new settings reckon everything anew; courses of sensors that are gone are forgotten."""
    traced = {name for names in draft.roll.traced.values() for name in names}
    kept = {name: trace for name, trace in draft.tended.traces.items() if name in traced}
    draft.tended = Tended(traces=kept, look_ms=draft.now)
    draft.due_waters.update(draft.roll.waters)


def _tend(draft: Draft) -> None:
    roll = draft.roll
    work = _Work(dict(draft.senses), draft.state.senses, dict(draft.tended.traces))
    doubts = draft.tended.doubts
    for name in draft.due_waters:
        water = roll.waters[name]
        turned = _follow(roll.traced[name], work)
        if turned:
            found = find_in_air(water, work.senses, work.traces, elevation_m=draft.plan.site.elevation_m)
            mine = {water.oxygen, water.conductivity}
            if found or not mine.isdisjoint(doubts):
                doubts = {each: why for each, why in doubts.items() if each not in mine} | found
        for recipe in roll.recipes[name]:
            _reckon(draft, recipe, work, doubts)
    draft.senses = work.senses
    draft.tended = replace(draft.tended, traces=work.traces, doubts=doubts)


def _follow(names: tuple[str, ...], work: _Work) -> bool:
    """Add what the sensors of a water have said to their courses; tell whether a minute has been completed."""
    turned = False
    for name in names:
        sense = work.senses.get(name, UNHEARD)
        if sense is work.before.get(name) or sense.trust is not Trust.GOOD or sense.value is None:
            continue
        trace = work.traces.get(name, EMPTY)
        after = follow(trace, at_ms=max(sense.changed_ms, sense.heard_ms), value=sense.value)
        turned = turned or after.fine is not trace.fine
        work.traces[name] = after
    return turned


def _reckon(draft: Draft, recipe: Recipe, work: _Work, doubts: Mapping[str, str]) -> None:
    """Reckon one derived reading if anything it rests on has changed."""
    name, senses = recipe.name, work.senses
    old = senses.get(name)
    if old is not None and all(senses.get(each) is work.before.get(each) for each in recipe.inputs):
        return
    inputs = [with_doubt(each, senses.get(each, UNHEARD), doubts) for each in recipe.inputs]
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
    if name in draft.roll.alarms_of_sensor:
        draft.due_alarms.update(draft.roll.alarms_of_sensor[name])
    if recipe.quantity is Quantity.UNIONISED_AMMONIA and new.trust is Trust.GOOD and new.value is not None:
        work.traces[name] = follow(work.traces.get(name, EMPTY), at_ms=draft.now, value=new.value)
