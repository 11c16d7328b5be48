"""What becomes of messages: taken, refused, lost, handed over again; and which ways to people are broken.

A call that is refused moves the list on at once, so it is never handed over again as it was. What only tells
people something is, with growing waits, as long as it is still true.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from controller.core.alarms.alarm import QUIET, Alarm
from controller.core.alarms.call_list import hurry, settle_down
from controller.core.alarms.chain import path_name
from controller.core.alarms.life import next_due_ms
from controller.core.alarms.lifecycle import SILENCED, SOUNDING
from controller.core.draft import Draft, with_item, without_item
from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.signals.sense import NEVER
from controller.core.state import Outstanding
from controller.core.units import HOUR_MS, MINUTE_MS, HouseMs
from controller.core.vocabulary import EffectDone, EffectFailed, Ledger, WayTried

OUTSTANDING_LIFE_MS: Final = HOUR_MS
"""A message of which nothing was heard for this long is given up; the calls that follow say more. [ms]"""

REPEATED_LIFE_MS: Final = 6 * HOUR_MS
"""What is handed over again is given up after this: then it is old news. [ms]"""

AGAIN_AFTER_MS: Final = (2 * MINUTE_MS, 10 * MINUTE_MS, 30 * MINUTE_MS, HOUR_MS, 2 * HOUR_MS)
"""Waits before a refused message that calls nobody is handed over again; then it is given up. [ms]"""

FAILURE_STANDS_MS: Final = 4 * HOUR_MS
"""A path that refused is in trouble for so long, unless it works before: longer than a round of a list. [ms]"""

PATHS_TOLD_MOST: Final = 3
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
    if path in draft.way_failures or message.way in draft.way_troubles:
        draft.way_failures = without_item(draft.way_failures, path)
        draft.way_troubles = without_item(draft.way_troubles, message.way)
        tell_ways(draft)
    if under_way.repeats:
        return
    for name in _called_with(draft, under_way.alarm):
        entry, alarm = draft.roll.entries[name], draft.alarms[name]
        steps = draft.roll.steps[entry.response]
        calmer = settle_down(alarm, steps, draft.plan.call_rules, entry.response, under_way.queued_ms)
        if calmer is not alarm:
            draft.set_alarm(name, replace(calmer, due_ms=next_due_ms(entry, calmer, draft.now)))
    _follow_path(draft, under_way, taken=True)


def take_failure(draft: Draft, event: EffectFailed) -> bool:
    """Take in that a way refused a message: move on at once and say so. False if it was no message."""
    under_way = draft.outstanding.get(event.effect_id)
    if under_way is None:
        return False
    message = under_way.message
    draft.note(
        Ledger.CALL,
        under_way.alarm,
        "failed",
        f"{message.way.value} to {message.person} failed: {event.reason}",
    )
    if not under_way.repeats or under_way.tries:
        # By path: that somebody else was reached does not mend it, and says nothing about it. That a server is
        # busy once is no trouble where nothing hangs on it: it is tried again in two minutes.
        draft.way_failures = {**draft.way_failures, (message.way, message.person): (event.reason, draft.now)}
        tell_ways(draft)
    if under_way.repeats:
        draft.set_outstanding(event.effect_id, _put_off(draft, under_way))
        return True
    draft.set_outstanding(event.effect_id, None)
    _follow_path(draft, under_way, taken=False)
    for name in _called_with(draft, under_way.alarm):
        entry, alarm = draft.roll.entries[name], draft.alarms[name]
        at_end = alarm.rung >= len(draft.roll.steps[entry.response])
        if at_end and alarm.reached_ms >= under_way.queued_ms:
            continue  # somebody else was reached by the same call
        hurried = hurry(alarm, draft.roll.steps[entry.response], draft.now)
        draft.set_alarm(name, replace(hurried, due_ms=next_due_ms(entry, hurried, draft.now - 1)))
        draft.due_alarms.add(name)
    return True


def _put_off(draft: Draft, under_way: Outstanding) -> Outstanding | None:
    """Put a refused message off for a while; None when it has been tried often enough."""
    if under_way.tries >= len(AGAIN_AFTER_MS):
        return None
    again_ms = draft.now + AGAIN_AFTER_MS[under_way.tries]
    return replace(under_way, tries=under_way.tries + 1, again_ms=again_ms)


def _follow_path(draft: Draft, under_way: Outstanding, *, taken: bool) -> None:
    """Remember for each alarm that a call was for by which paths people have heard of it, and by which not."""
    path = path_name(under_way.message.person, under_way.message.way.value)
    for name in tuple(draft.alarms) if draft.chain.flood else (under_way.alarm,):
        alarm = draft.alarms.get(name)
        if alarm is None or not _is_called_by(alarm, name, under_way):
            continue
        if taken and path not in alarm.heard:
            missed = tuple(each for each in alarm.missed if each != path)
            draft.set_alarm(name, replace(alarm, heard=(*alarm.heard, path), missed=missed))
        elif not taken and path not in alarm.heard and path not in alarm.missed:
            draft.set_alarm(name, replace(alarm, missed=(*alarm.missed, path)))


def _is_called_by(alarm: Alarm, name: str, under_way: Outstanding) -> bool:
    """Tell whether a message called for this occurrence, or for a flood in which it was sounding."""
    if under_way.alarm == name:
        return under_way.message.thread == f"{name}/{alarm.occurrence}"
    return alarm.rung > 0 and alarm.raised_ms <= under_way.queued_ms


def find_call(draft: Draft, name: str, alarm: Alarm, path: str) -> str:
    """Name the last call for an alarm that is under way on a path; empty if none is."""
    found = [
        effect_id
        for effect_id, under_way in draft.outstanding.items()
        if not under_way.repeats
        and path_name(under_way.message.person, under_way.message.way.value) == path
        and (under_way.alarm == name or draft.chain.flood)
        and _is_called_by(alarm, name, under_way)
    ]
    return found[-1] if found else ""


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


def take_way_tried(draft: Draft, event: WayTried) -> None:
    """Take in whether a way works as a whole: somebody has tried it, with a message or without one."""
    if draft.way_troubles.get(event.way) == event.trouble:
        return
    draft.way_troubles = (
        without_item(draft.way_troubles, event.way)
        if event.trouble is None
        else with_item(draft.way_troubles, event.way, event.trouble)
    )
    tell_ways(draft)


def hear_of_modem(draft: Draft, part: Watched) -> None:
    """Take note that something was heard of the modem; when it works again, what it had refused is open again."""
    if part is not Watched.MODEM:
        return
    if part not in draft.troubles:
        draft.way_failures = {
            path: why for path, why in draft.way_failures.items() if path[0] is not Way.TEXT
        }
        draft.way_troubles = without_item(draft.way_troubles, Way.TEXT)
    tell_ways(draft)


def tell_ways(draft: Draft) -> None:
    """Say which ways to reach people are broken: whole ways first, then single paths by ways that work.

    While the modem is in trouble that is why texts fail: its own alarm says so, and this one is silent of them.
    """
    caused = {Way.TEXT} if Watched.MODEM in draft.troubles else set()
    texts = [f"{way.value}: {why}" for way, why in draft.way_troubles.items() if way not in caused]
    texts += [
        f"{way.value} to {person}: {why}"
        for (way, person), (why, _) in draft.way_failures.items()
        if way not in draft.way_troubles and way not in caused
    ]
    more = [f"and {len(texts) - PATHS_TOLD_MOST} more"] if len(texts) > PATHS_TOLD_MOST else []
    draft.set_trouble(Watched.MESSAGES, "; ".join([*texts[:PATHS_TOLD_MOST], *more]) or None)


def send_again(draft: Draft) -> None:
    """After a start, hand over again every message of which nothing was heard. A duplicate is cheap."""
    for effect_id, under_way in list(draft.outstanding.items()):
        alarm = draft.alarms.get(under_way.alarm)
        if alarm is not None and alarm.phase in SILENCED:
            draft.set_outstanding(effect_id, None)
            continue
        if under_way.again_ms < NEVER:
            continue  # it was refused, and waits for its time
        _hand_over(draft, under_way, "nothing was heard of it before the restart")


def tend_messages(draft: Draft) -> None:
    """Hand over again what was refused and is due; forget messages of which nothing was heard for long."""
    for effect_id, under_way in list(draft.outstanding.items()):
        life_ms = REPEATED_LIFE_MS if under_way.repeats else OUTSTANDING_LIFE_MS
        if draft.now - under_way.queued_ms > life_ms:
            draft.set_outstanding(effect_id, None)
            draft.note(
                Ledger.CALL,
                under_way.alarm,
                "lost",
                f"nothing was heard of the message to {under_way.message.person}",
            )
        elif under_way.again_ms <= draft.now:
            if _is_old_news(draft, under_way):
                draft.set_outstanding(effect_id, None)
                continue
            # What it was to follow has long been taken or refused.
            freed = replace(under_way, again_ms=NEVER, message=replace(under_way.message, after=""))
            draft.set_outstanding(effect_id, freed)
            _hand_over(draft, freed, "it was refused before")


def _is_old_news(draft: Draft, under_way: Outstanding) -> bool:
    """Tell whether what a message says is no longer so, or makes no sense to whoever has not heard the call."""
    if under_way.phase is None:
        kind, _, code = under_way.message.thread.partition("/")
        return kind == "test" and all(test.code != code for test in draft.chain.tests)
    alarm = draft.alarms.get(under_way.alarm, QUIET)
    message = under_way.message
    return (
        alarm.phase is not under_way.phase
        or message.thread != f"{under_way.alarm}/{alarm.occurrence}"
        or path_name(message.person, message.way.value) in alarm.missed
    )


def _hand_over(draft: Draft, under_way: Outstanding, why: str) -> None:
    draft.effects.append(under_way.message)
    draft.note(Ledger.CALL, under_way.alarm, "sent again", f"to {under_way.message.person}: {why}")


def next_again_ms(draft: Draft) -> HouseMs:
    """Return when a refused message is to be handed over again [ms]."""
    return min(
        (each.again_ms for each in draft.outstanding.values() if each.again_ms > draft.now), default=NEVER
    )
