"""Opening in small steps: the air above a drawn curtain is cold and falls when the way is opened at once."""

from __future__ import annotations

from typing import Final

from controller.core.curtain.drive import END_TOLERANCE_PERCENT, Drive
from controller.core.curtain.marks import Staging
from controller.core.curtain.view import View
from controller.core.curtain.wishes import Rule, Wish
from controller.core.plan.curtain import StagedOpening
from controller.core.units import MINUTE_MS, HouseMs

NEARLY_DRAWN_PERCENT: Final = 96.0
"""A curtain that held heat stood at least so far drawn, a humidity gap included. [%]"""

OPENERS: Final = frozenset({Rule.OPEN, Rule.BALANCE})
"""The rules whose opening is no matter of minutes. A person, storm, snow and heat open at once."""

HOLDERS: Final = frozenset(
    rule.value
    for rule in (Rule.HOLD_HEAT_NIGHT, Rule.HOLD_HEAT_DARK, Rule.HUMIDITY_GAP, Rule.TOO_COLD, Rule.BALANCE)
)
"""The rules that draw for heat, as the drive remembers who moved it last."""


def find_difference_c(view: View) -> float | None:
    """Return how much colder it is outside than inside [C]; None if one of the two is not known."""
    if view.inside_c is None or view.outside_c is None:
        return None
    return view.inside_c - view.outside_c


def remember_staging(rule: StagedOpening | None, view: View, drive: Drive, wish: Wish) -> View:
    """Begin an opening in steps, let it go on, or forget it because something else is wanted."""
    before = view.marks.staging
    staging = None if rule is None else _follow(rule, view, drive, wish, before)
    return view if staging == before else view._replace(marks=view.marks._replace(staging=staging))


def _follow(
    rule: StagedOpening, view: View, drive: Drive, wish: Wish, before: Staging | None
) -> Staging | None:
    here, goal = drive.drawn_percent, wish.drawn_percent
    if here is None or wish.rule not in OPENERS:
        return None
    difference_c = find_difference_c(view)
    if before is not None:
        if here <= before.goal_percent + END_TOLERANCE_PERCENT or (goal is not None and goal > here):
            return None
        # What has begun goes on while the balance has nothing better: half open is the worst of both.
        return before._replace(
            goal_percent=before.goal_percent if goal is None else goal, difference_c=difference_c
        )
    if goal is None or goal >= here - END_TOLERANCE_PERCENT:
        return None
    if difference_c is None or difference_c <= rule.difference_above_c:
        return None
    if drive.rule == Rule.OPEN.value:
        # Nothing but its steps leaves it half open, so a restart or new settings came between: they go on.
        return Staging(100.0, goal, difference_c)
    held = here >= NEARLY_DRAWN_PERCENT and drive.rule in HOLDERS
    return Staging(here, goal, difference_c) if held else None


def open_in_steps(rule: StagedOpening | None, view: View, drive: Drive, wish: Wish, now: HouseMs) -> Wish:
    """Turn a wish to open into the next step of the opening that has begun."""
    staging, here = view.marks.staging, drive.drawn_percent
    if rule is None or staging is None or here is None or wish.rule not in OPENERS:
        return wish
    difference_c, goal = staging.difference_c, staging.goal_percent
    begun = here < staging.from_percent - END_TOLERANCE_PERCENT
    if difference_c is not None and difference_c <= rule.difference_above_c:
        # The sun has warmed the air above: the rest in one go.
        return wish._replace(drawn_percent=goal, own_pace=wish.own_pace or begun, follows=begun)
    first = 100.0 - rule.first_step_percent
    left_min = 0.0
    target = max(goal, first)
    if begun:
        wait_min = rule.first_wait_min if here >= first - rule.step_percent / 2 else rule.wait_min
        left_min = max(0.0, wait_min - (now - drive.ended_ms) / MINUTE_MS)
        target = max(goal, here - rule.step_percent)
    return wish._replace(
        drawn_percent=None if left_min > 0.0 else target,
        own_pace=wish.own_pace or begun,
        follows=begun,
        least_percent=1.0,
        steps=(difference_c, rule.difference_above_c, target, left_min),
    )
