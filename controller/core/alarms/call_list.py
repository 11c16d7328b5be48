"""Whom to tell next, and when to go on if nobody answers."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from controller.core.alarms.alarm import Alarm
from controller.core.plan.alarm import Response
from controller.core.plan.people import CallRules, CallStep, Person, Way
from controller.core.signals.sense import NEVER
from controller.core.units import MINUTE_MS, SECOND_MS, HouseMs

RETRY_FIRST_MS: Final = 15 * SECOND_MS
"""Wait before the list is tried again after its last message was refused; doubled each time. [ms]"""

RETRY_LONGEST_MS: Final = 10 * MINUTE_MS
"""The doubling ends here. [ms]"""


def steps_for(response: Response, steps: tuple[CallStep, ...]) -> tuple[CallStep, ...]:
    """Return the steps of the call list for a response, in order of time.

    A list with no steps for what is due today lends those of the emergency: a fault of Duskbell itself must
    reach somebody in any case.
    """
    if response is Response.TODAY and not any(step.response is response for step in steps):
        response = Response.EMERGENCY
    return tuple(
        sorted((step for step in steps if step.response is response), key=lambda step: step.after_min)
    )


def call_next(
    alarm: Alarm, steps: tuple[CallStep, ...], rules: CallRules, response: Response, now: HouseMs
) -> tuple[Alarm, tuple[tuple[str, Way], ...]]:
    """Take the next step of the list: whom to tell now, and when to go on.

    After the last step everybody on the list is told again, for ever, until a named person answers.
    """
    if not steps:
        return replace(alarm, next_call_ms=NEVER), ()
    if alarm.rung == 0:
        first_ms = alarm.ladder_ms + round(steps[0].after_min * MINUTE_MS)
        if first_ms > now:
            return replace(alarm, next_call_ms=first_ms), ()
    if alarm.lapsed_by and alarm.rung == 0 and len(steps) > 1:
        # Who had it did not help: the second step is taken together with the first.
        told = [(person, way) for step in steps[:2] for way in step.ways for person in step.people]
        alarm = replace(alarm, rung=1)
    elif alarm.rung < len(steps):
        told = [(person, way) for way in steps[alarm.rung].ways for person in steps[alarm.rung].people]
    else:
        told = [(person, way) for step in steps for way in step.ways for person in step.people]
    rung = min(alarm.rung + 1, len(steps))
    if alarm.rung < len(steps) - 1:
        following = alarm.ladder_ms + round(steps[rung].after_min * MINUTE_MS)
        turn = alarm.turn_of_list
    else:
        repeat = rules.repeat_min if response is Response.EMERGENCY else rules.repeat_today_min
        following = now + round(repeat * MINUTE_MS)
        turn = alarm.turn_of_list + 1
    once = tuple(dict.fromkeys(told))
    people = tuple(dict.fromkeys([*alarm.told, *(person for person, _ in once)]))
    return replace(
        alarm, rung=rung, turn_of_list=turn, next_call_ms=max(following, now + 1), told=people, called_ms=now
    ), once


def hurry(alarm: Alarm, steps: tuple[CallStep, ...], now: HouseMs) -> Alarm:
    """Move on at once because a message was refused; at the end of the list try again with growing waits."""
    failures = alarm.failures + 1
    if alarm.rung < len(steps):
        return replace(alarm, failures=failures, next_call_ms=now)
    wait = min(RETRY_FIRST_MS * 2 ** min(failures - 1, 10), RETRY_LONGEST_MS)
    return replace(alarm, failures=failures, next_call_ms=min(alarm.next_call_ms, now + wait))


def settle_down(
    alarm: Alarm, steps: tuple[CallStep, ...], rules: CallRules, response: Response, sent_ms: HouseMs
) -> Alarm:
    """Take note that a message handed over at `sent_ms` has reached a way: at the end of the list no hurry is left.

    Whoever's address is refused for good must not have the others called again every few seconds. A message
    that was no call, or belonged to an earlier one, moves no call.
    """
    if alarm.called_ms != sent_ms:
        return alarm
    reached = replace(alarm, failures=0, reached_ms=sent_ms)
    if not steps or alarm.rung < len(steps):
        return reached
    repeat = rules.repeat_min if response is Response.EMERGENCY else rules.repeat_today_min
    return replace(reached, next_call_ms=max(alarm.next_call_ms, sent_ms + round(repeat * MINUTE_MS)))


def address_of(person: Person, way: Way) -> str:
    """Return the person's address for a way; empty if there is none."""
    match way:
        case Way.EMAIL:
            return person.email
        case Way.TEXT:
            return person.phone
        case Way.WEBHOOK:
            return person.webhook
        case Way.SERVICE:
            return person.service_file
        case Way.LOG:
            return person.name
