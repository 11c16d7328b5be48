"""Judge the alarms, call people, and follow what becomes of the messages."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import replace
from math import isfinite

from controller.core.alarms.alarm import QUIET, Alarm, Truth, judge_condition
from controller.core.alarms.call_list import address_of, call_next, hurry
from controller.core.alarms.life import answer, live, next_due_ms, shelve
from controller.core.alarms.lifecycle import SILENCED, SOUNDING, Phase, Trigger, follow
from controller.core.alarms.wording import describe_fact, explain_call, write_answered, write_call, write_over
from controller.core.draft import Draft, without_item
from controller.core.plan.alarm import AlarmEntry, Response, Watched
from controller.core.plan.people import Way
from controller.core.plan.sensor import Sensor
from controller.core.signals.sense import NEVER
from controller.core.state import Outstanding
from controller.core.units import HOUR_MS, MINUTE_MS, HouseMs
from controller.core.vocabulary import (
    AlarmReset,
    AlarmShelved,
    AnswerGiven,
    EffectDone,
    EffectFailed,
    Ledger,
    SendMessage,
)

ROOMY = frozenset({Way.EMAIL})
"""The ways with room for cause, consequence and how to answer."""

OUTSTANDING_MOST = 400
"""Messages under way at once; the oldest is given up first, as its successors say the same."""

LONGEST_SHELF_MIN = {Response.EMERGENCY: 60.0, Response.TODAY: 24 * 60.0, Response.NOTE: 7 * 24 * 60.0}
"""A shelf always ends: for what kills fish within the hour. [min]"""

SETTLE_MS = 2 * MINUTE_MS
"""After a start a part of Duskbell has this long to say that it is in trouble; only then is its silence good. [ms]"""

OUTSTANDING_LIFE_MS = HOUR_MS
"""A message of which nothing was heard for this long is given up; the calls that follow say more. [ms]"""


def judge_due(draft: Draft) -> None:
    """Judge every alarm that something has happened to or whose time has come."""
    now = draft.now
    due = draft.due_alarms
    if draft.deadline_has_come:
        for name, alarm in draft.alarms.items():
            if alarm.due_ms <= now:
                due.add(name)
    if not due:
        return
    for name in draft.roll.entries:
        if name in due:
            judge(draft, draft.roll.entries[name])


def judge(draft: Draft, entry: AlarmEntry) -> None:
    """Let condition and time act on one alarm until nothing more happens, then call whom it is time to call."""
    before = draft.alarms.get(entry.name, QUIET)
    sense = draft.senses.get(entry.sensor)
    trouble = None if entry.of is None else draft.troubles.get(entry.of)
    truth = judge_condition(entry, sense, trouble)
    if entry.of is not None and trouble is None and draft.settled_ms > draft.now:
        # Parts say when they are in trouble, not when they are well: silence means
        # something only after they have had time to find out.
        truth = Truth.UNKNOWN
    if truth is Truth.FALSE and _is_quiet(before) and before.due_ms > draft.now:
        return
    alarm = before
    happened: Trigger | None = Trigger.RAISE
    while happened is not None:
        alarm, happened = live(entry, alarm, truth, draft.stamp, draft.occurrences + 1)
        if happened is not None:
            draft.occurrences = max(draft.occurrences, alarm.occurrence)
            alarm = _tell(draft, entry, alarm, happened)
    if alarm.phase in SOUNDING and alarm.next_call_ms <= draft.now:
        alarm = _call(draft, entry, alarm)
    if alarm is before and alarm.due_ms > draft.now:
        return
    due_ms = next_due_ms(entry, alarm, draft.now)
    if due_ms != alarm.due_ms:
        # What was due and did not happen waits for its sensor; its deadline must not stay in the past.
        alarm = replace(alarm, due_ms=due_ms)
    if alarm is not before:
        draft.set_alarm(entry.name, alarm)


def _is_quiet(alarm: Alarm) -> bool:
    """Whether one more look at a condition that is over can change nothing: the usual case, and the quickest."""
    return alarm.phase is Phase.NORMAL and alarm.true_ms is None and alarm.over_ms is not None


def _fact(draft: Draft, entry: AlarmEntry) -> str:
    """Say what is the matter now."""
    trouble = None if entry.of is None else draft.troubles.get(entry.of)
    return describe_fact(entry, draft.roll.sensors.get(entry.sensor), draft.senses.get(entry.sensor), trouble)


def _tell(draft: Draft, entry: AlarmEntry, alarm: Alarm, happened: Trigger) -> Alarm:
    """Write into the record what happened, and tell those who had been told when it is over."""
    fact = _fact(draft, entry)
    value = draft.senses[entry.sensor].value if entry.sensor in draft.senses else None
    draft.note(Ledger.ALARM, entry.name, alarm.phase.value, f"{happened.value}: {fact} [{alarm.code}]", value)
    if happened in {Trigger.RETURN, Trigger.RETURN_LATCHED}:
        subject, text = write_over(entry, alarm, fact, draft.stamp)
        for person in alarm.told:
            _send_by_all_ways(draft, entry, alarm, person, subject, text, text)
    if happened is Trigger.RAISE:
        alarm = replace(alarm, detail=fact)
    return alarm


def _call(draft: Draft, entry: AlarmEntry, alarm: Alarm) -> Alarm:
    """Take the next step of the call list."""
    steps = draft.roll.steps[entry.response]
    fact = _fact(draft, entry)
    sensor: Sensor | None = draft.roll.sensors.get(entry.sensor)
    subject, text = write_call(
        entry, alarm, fact, sensor=sensor, site_name=draft.plan.site.name, stamp=draft.stamp
    )
    alarm, told = call_next(alarm, steps, draft.plan.call_rules, entry.response, draft.now)
    long_text = f"{text}\n\n{explain_call(entry, alarm)}"
    for person, way in told:
        _send(draft, entry, alarm, person, way, subject, text, long_text)
    return alarm


def _send_by_all_ways(
    draft: Draft, entry: AlarmEntry, alarm: Alarm, person: str, subject: str, text: str, long_text: str
) -> None:
    """Tell one person by every way the call list uses for this kind of alarm."""
    for way in dict.fromkeys(way for step in draft.roll.steps[entry.response] for way in step.ways):
        _send(draft, entry, alarm, person, way, subject, text, long_text)


def _send(  # noqa: PLR0917 - one message, from its alarm to its words
    draft: Draft,
    entry: AlarmEntry,
    alarm: Alarm,
    person: str,
    way: Way,
    subject: str,
    text: str,
    long_text: str,
) -> None:
    """Hand over one message and remember it until the world has said what became of it."""
    who = draft.roll.persons.get(person)
    address = "" if who is None else address_of(who, way)
    if not address:
        return
    effect_id = draft.effect_id()
    thread = f"{entry.name}/{alarm.occurrence}"
    message = SendMessage(
        effect_id, person, way, address, subject, long_text if way in ROOMY else text, thread
    )
    draft.effects.append(message)
    if len(draft.outstanding) >= OUTSTANDING_MOST:
        oldest = min(draft.outstanding, key=lambda name: draft.outstanding[name].queued_ms)
        draft.set_outstanding(oldest, None)
    draft.set_outstanding(effect_id, Outstanding(message, entry.name, draft.now))
    draft.note(Ledger.CALL, entry.name, "queued", f"to {person} by {way.value}: {text}")


def take_answer(draft: Draft, event: AnswerGiven) -> None:
    """Take a person's answer for the alarm with this code. An answer for no open alarm changes nothing."""
    code = event.code.strip()
    for name, alarm in draft.alarms.items():
        if alarm.code != code or not code:
            continue
        entry = draft.roll.entries.get(name)
        if entry is None:
            break
        if alarm.phase not in SOUNDING:
            text = f"{event.person} answered {code} by {event.way}, but "
            text += (
                f"{alarm.answered_by} has it already"
                if alarm.phase is Phase.ACKNOWLEDGED
                else f"it is {alarm.phase.value}"
            )
            draft.note(Ledger.CALL, name, "late answer", text)
            return
        answered = answer(entry, alarm, draft.stamp, event.person)
        answered = replace(answered, due_ms=next_due_ms(entry, answered, draft.now))
        draft.set_alarm(name, answered)
        draft.note(Ledger.CALL, name, "answered", f"{event.person} answered {code} by {event.way}")
        _forget_messages(draft, name)
        subject, text = write_answered(entry, answered, _fact(draft, entry), draft.stamp)
        for person in answered.told:
            if person != event.person:
                _send_by_all_ways(draft, entry, answered, person, subject, text, text)
        return
    open_codes = ", ".join(
        f"{alarm.code} {name}" for name, alarm in draft.alarms.items() if alarm.phase in SOUNDING
    )
    draft.note(
        Ledger.CALL,
        "answers",
        "refused",
        f"{event.person} answered {code} by {event.way}: no such alarm. Open: {open_codes or 'none'}",
    )


def _forget_messages(draft: Draft, alarm_name: str) -> None:
    """Messages of an answered alarm need not be sent again after a restart."""
    for effect_id, under_way in list(draft.outstanding.items()):
        if under_way.alarm == alarm_name:
            draft.set_outstanding(effect_id, None)


def take_shelf(draft: Draft, event: AlarmShelved) -> None:
    """Silence an alarm for a bounded time, by a named person with a reason."""
    entry = draft.roll.entries.get(event.alarm)
    if entry is None:
        return
    asked = event.minutes if isfinite(event.minutes) else 1.0
    minutes = min(max(asked, 1.0), LONGEST_SHELF_MIN[entry.response])
    alarm = draft.alarms.get(event.alarm, QUIET)
    shelved = shelve(alarm, draft.now + round(minutes * MINUTE_MS))
    draft.set_alarm(event.alarm, replace(shelved, due_ms=next_due_ms(entry, shelved, draft.now)))
    draft.note(
        Ledger.ALARM,
        event.alarm,
        "shelved",
        f"{event.person} shelves it for {minutes:.0f} min: {event.reason}",
    )


def take_reset(draft: Draft, event: AlarmReset) -> None:
    """Reset a latched alarm."""
    alarm = draft.alarms.get(event.alarm)
    if alarm is None:
        return
    after = follow(alarm.phase, Trigger.RESET)
    if after is not alarm.phase:
        draft.set_alarm(event.alarm, replace(alarm, phase=after))
        draft.note(Ledger.ALARM, event.alarm, "reset", f"{event.person} resets it")


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
    if message.way in draft.way_failures:
        draft.way_failures = without_item(draft.way_failures, message.way)
        _tell_ways(draft)
    alarm = draft.alarms.get(under_way.alarm)
    if alarm is not None and alarm.failures:
        draft.set_alarm(under_way.alarm, replace(alarm, failures=0))


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
    draft.way_failures = {**draft.way_failures, message.way: event.reason}
    _tell_ways(draft)
    entry, alarm = draft.roll.entries.get(under_way.alarm), draft.alarms.get(under_way.alarm)
    if entry is not None and alarm is not None and alarm.phase in SOUNDING:
        hurried = hurry(alarm, draft.roll.steps[entry.response], draft.now)
        draft.set_alarm(under_way.alarm, replace(hurried, due_ms=next_due_ms(entry, hurried, draft.now - 1)))
        draft.due_alarms.add(under_way.alarm)
    return True


def _tell_ways(draft: Draft) -> None:
    """Say which ways to reach people are broken."""
    texts = [f"{way.value}: {why}" for way, why in draft.way_failures.items()]
    draft.set_trouble(Watched.MESSAGES, "; ".join(texts) or None)


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


def expect_alarms(draft: Draft) -> None:
    """Follow a change of settings: new entries begin quiet, those that are gone end, the rest keep their state."""
    roll = draft.roll
    gone = draft.state.roll.persons.keys() - roll.persons.keys()
    for name, alarm in list(draft.alarms.items()):
        entry = roll.entries.get(name)
        if entry is None:
            draft.alarms = without_item(draft.alarms, name)
            if alarm.phase is not Phase.NORMAL:
                text = f"taken off the alarm list while it was {alarm.phase.value}"
                draft.note(Ledger.ALARM, name, "removed", text)
            continue
        followed = _follow_people(alarm, gone, draft.now, has_steps=bool(roll.steps[entry.response]))
        if followed is not alarm:
            draft.set_alarm(name, followed)
    for effect_id, under_way in list(draft.outstanding.items()):
        if under_way.alarm not in roll.entries or under_way.message.person not in roll.persons:
            draft.set_outstanding(effect_id, None)
    draft.due_alarms.update(roll.entries)


def _follow_people(alarm: Alarm, gone: AbstractSet[str], now: HouseMs, *, has_steps: bool) -> Alarm:
    """Go on to the next person where one who was told, or who has it, is no longer on the list."""
    if alarm.phase is Phase.ACKNOWLEDGED and alarm.answered_by in gone:
        return replace(alarm, again_ms=now)
    if alarm.phase not in SOUNDING or not has_steps:
        return alarm
    if not gone.isdisjoint(alarm.told):
        told = tuple(person for person in alarm.told if person not in gone)
        return replace(alarm, told=told, next_call_ms=now)
    # A list that was empty when the alarm sounded has steps now.
    return replace(alarm, next_call_ms=now) if alarm.next_call_ms == NEVER else alarm


def forget_pending(draft: Draft) -> None:
    """After a start nothing is known: a condition must show itself anew before it counts as over."""
    for name, alarm in list(draft.alarms.items()):
        if alarm.over_ms is not None:
            draft.set_alarm(name, replace(alarm, over_ms=None))
    draft.settled_ms = draft.now + SETTLE_MS
    draft.due_alarms.update(draft.roll.entries)


def settle_parts(draft: Draft) -> None:
    """From now on a part that says nothing is in order."""
    if 0 < draft.settled_ms <= draft.now:
        draft.settled_ms = 0
        for names in draft.roll.alarms_of_part.values():
            draft.due_alarms.update(names)
