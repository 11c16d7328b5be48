"""What becomes of messages: taken, refused, lost, handed over again after a start; and which ways are broken."""

from __future__ import annotations

from dataclasses import replace

from controller.core.alarms.call_list import hurry, settle_down
from controller.core.alarms.life import next_due_ms
from controller.core.alarms.lifecycle import SILENCED, SOUNDING
from controller.core.draft import Draft, without_item
from controller.core.plan.alarm import Watched
from controller.core.units import HOUR_MS
from controller.core.vocabulary import EffectDone, EffectFailed, Ledger

OUTSTANDING_LIFE_MS = HOUR_MS
"""A message of which nothing was heard for this long is given up; the calls that follow say more. [ms]"""


FAILURE_STANDS_MS = 4 * HOUR_MS
"""A path that refused is in trouble for so long, unless it works before: longer than a round of a list. [ms]"""

PATHS_TOLD_MOST = 3
"""Paths named in a message that says which are broken; the record has them all."""


def take_success(draft: Draft, event: EffectDone) -> None:
    """Take in that a way has taken a message: the way works."""
    under_way = draft.outstanding.get(event.effect_id)
    if under_way is None:
        return
    message = under_way.message
    draft.set_outstanding(event.effect_id, None)
    draft.note(
        Ledger.CALL,
        under_way.alarm,
        "accepted",
        f"{message.way.value} to {message.person} accepted {event.detail}".strip(),
    )
    path = (message.way, message.person)
    if path in draft.way_failures:
        draft.way_failures = without_item(draft.way_failures, path)
        tell_ways(draft)
    for name in _called_with(draft, under_way.alarm):
        entry, alarm = draft.roll.entries[name], draft.alarms[name]
        steps = draft.roll.steps[entry.response]
        calmer = settle_down(alarm, steps, draft.plan.call_rules, entry.response, under_way.queued_ms)
        if calmer is alarm:
            continue
        draft.set_alarm(name, replace(calmer, due_ms=next_due_ms(entry, calmer, draft.now)))


def take_failure(draft: Draft, event: EffectFailed) -> bool:
    """Take in that a way refused a message: move on at once and say so. False if it was no message."""
    under_way = draft.outstanding.get(event.effect_id)
    if under_way is None:
        return False
    message = under_way.message
    draft.set_outstanding(event.effect_id, None)
    draft.note(
        Ledger.CALL,
        under_way.alarm,
        "failed",
        f"{message.way.value} to {message.person} failed: {event.reason}",
    )
    # By path: that somebody else was reached does not mend it, and says nothing about it.
    draft.way_failures = {**draft.way_failures, (message.way, message.person): (event.reason, draft.now)}
    tell_ways(draft)
    for name in _called_with(draft, under_way.alarm):
        entry, alarm = draft.roll.entries[name], draft.alarms[name]
        at_end = alarm.rung >= len(draft.roll.steps[entry.response])
        if at_end and alarm.reached_ms >= under_way.queued_ms:
            continue  # somebody else was reached by the same call
        hurried = hurry(alarm, draft.roll.steps[entry.response], draft.now)
        draft.set_alarm(name, replace(hurried, due_ms=next_due_ms(entry, hurried, draft.now - 1)))
        draft.due_alarms.add(name)
    return True


def forget_old_failures(draft: Draft) -> None:
    """Let go of what a path refused long ago: nobody has tried it since, so nobody knows."""
    kept = {
        path: each for path, each in draft.way_failures.items() if draft.now - each[1] < FAILURE_STANDS_MS
    }
    if len(kept) < len(draft.way_failures):
        draft.way_failures = kept
        tell_ways(draft)


def _called_with(draft: Draft, about: str) -> list[str]:
    """List the sounding alarms that a message called for; the one message of a flood stood for all that sound."""
    names = list(draft.alarms) if draft.chain.flood else [about]
    called = []
    for name in names:
        entry, alarm = draft.roll.entries.get(name), draft.alarms.get(name)
        if entry is None or alarm is None or alarm.phase not in SOUNDING:
            continue
        if draft.roll.steps[entry.response] and (name == about or alarm.rung > 0):
            called.append(name)  # the others have not been called for yet
    return called


def tell_ways(draft: Draft) -> None:
    """Say which ways to reach people are broken."""
    texts = [f"{way.value} to {person}: {why}" for (way, person), (why, _) in draft.way_failures.items()]
    more = [f"and {len(texts) - PATHS_TOLD_MOST} more"] if len(texts) > PATHS_TOLD_MOST else []
    draft.set_trouble(Watched.MESSAGES, "; ".join([*texts[:PATHS_TOLD_MOST], *more]) or None)


def send_again(draft: Draft) -> None:
    """After a start, hand over again every message of which nothing was heard. A duplicate is cheap."""
    for effect_id, under_way in list(draft.outstanding.items()):
        alarm = draft.alarms.get(under_way.alarm)
        if alarm is not None and alarm.phase in SILENCED:
            draft.set_outstanding(effect_id, None)
            continue
        draft.effects.append(under_way.message)
        draft.note(
            Ledger.CALL,
            under_way.alarm,
            "sent again",
            f"to {under_way.message.person}: nothing was heard of it before the restart",
        )


def give_up_old_messages(draft: Draft) -> None:
    """Forget messages of which nothing was heard for long; the list goes on in any case."""
    for effect_id, under_way in list(draft.outstanding.items()):
        if draft.now - under_way.queued_ms > OUTSTANDING_LIFE_MS:
            draft.set_outstanding(effect_id, None)
            draft.note(
                Ledger.CALL,
                under_way.alarm,
                "lost",
                f"nothing was heard of the message to {under_way.message.person}",
            )
