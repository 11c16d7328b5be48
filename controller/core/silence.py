"""What people do to silence an alarm: shelve it, take it out of service, put it back, reset its latch.

Nobody silences an alarm alone: a second person is told of a shelf, and it takes two names to take an alarm out
of service.
"""

from __future__ import annotations

from dataclasses import replace
from math import isfinite
from typing import Final

from controller.core.alarms.alarm import QUIET, Alarm
from controller.core.alarms.life import next_due_ms, release, shelve, take_out
from controller.core.alarms.lifecycle import Phase, Trigger, follow
from controller.core.alarms.notices import short_back, short_out, short_shelved
from controller.core.alarms.wording import SPEAKER, span_words
from controller.core.call import find_people, quiet_left, say_fact
from controller.core.draft import Draft
from controller.core.plan.alarm import AlarmEntry, Response
from controller.core.post import Letter, post_by_all_ways
from controller.core.units import MINUTE_MS
from controller.core.vocabulary import AlarmPutBack, AlarmReset, AlarmShelved, AlarmTakenOut, Ledger

LONGEST_SHELF_MIN: Final = {Response.EMERGENCY: 60.0, Response.TODAY: 24 * 60.0, Response.NOTE: 7 * 24 * 60.0}
"""A shelf always ends: for what kills fish within the hour. [min]"""

REPLACEMENT_LETTERS_MOST: Final = 200
"""So much of what stands in the place of an alarm is kept; it is told in one message."""


REASON_LETTERS_MOST: Final = 100
"""So much of the reason for a shelf is told; the record has it all."""


def take_in(draft: Draft, event: AlarmShelved | AlarmReset | AlarmTakenOut | AlarmPutBack) -> None:
    """Take in what a person asks for."""
    match event:
        case AlarmShelved():
            take_shelf(draft, event)
        case AlarmReset():
            take_reset(draft, event)
        case AlarmTakenOut():
            take_out_of_service(draft, event)
        case AlarmPutBack():
            take_back(draft, event)


def granted_min(response: Response, asked_min: float) -> float:
    """Return for how long [min] an alarm is shelved when somebody asks for `asked_min`: at least one minute."""
    asked = asked_min if isfinite(asked_min) else 1.0
    return min(max(asked, 1.0), LONGEST_SHELF_MIN[response])


def take_shelf(draft: Draft, event: AlarmShelved) -> None:
    """Silence an alarm for a bounded time, by a named person with a reason, and tell a second person."""
    entry = draft.roll.entries.get(event.alarm)
    if entry is None:
        return
    alarm = draft.alarms.get(event.alarm, QUIET)
    if follow(alarm.phase, Trigger.SHELVE) is not Phase.SHELVED:
        _refuse(draft, event.alarm, f"{event.person} cannot shelve it: it is {alarm.phase.value}")
        return
    minutes = granted_min(entry.response, event.minutes)
    _set(draft, entry, shelve(alarm, draft.now + round(minutes * MINUTE_MS)))
    draft.note(
        Ledger.ALARM,
        event.alarm,
        "shelved",
        f"{event.person} shelves it for {minutes:.0f} min: {event.reason}",
    )
    phrases, reason = draft.plan.phrases, event.reason[:REASON_LETTERS_MOST]
    span = span_words(round(minutes), phrases)
    text = phrases.shelved.format(name=event.alarm, person=event.person, span=span, reason=reason)
    short = short_shelved(event.alarm, event.person, round(minutes), reason, phrases)
    _tell(draft, entry, text, short, _others(draft, {event.person})[:1])


def take_out_of_service(draft: Draft, event: AlarmTakenOut) -> None:
    """Take an alarm out of service: two different names, one of them known here, and a replacement."""
    entry = draft.roll.entries.get(event.alarm)
    if entry is None:
        return
    person, second, replacement = event.person.strip(), event.second.strip(), event.replacement.strip()
    wrong = _find_wrong(draft, person, second, replacement)
    alarm = draft.alarms.get(event.alarm, QUIET)
    if not wrong and alarm.phase is Phase.OUT_OF_SERVICE:
        wrong = "it is out of service already"
    if wrong:
        _refuse(draft, event.alarm, f"{person} cannot take it out of service: {wrong}")
        return
    replacement = replacement[:REPLACEMENT_LETTERS_MOST]
    _set(draft, entry, take_out(alarm, by=f"{person} and {second}", replacement=replacement))
    draft.note(
        Ledger.ALARM,
        event.alarm,
        "out of service",
        f"{person} and {second} take it out of service; instead: {replacement}",
    )
    text = draft.plan.phrases.out.format(
        name=event.alarm, person=person, second=second, replacement=replacement
    )
    short = short_out(event.alarm, person, second, replacement, draft.plan.phrases)
    _tell(draft, entry, text, short, [second, *_others(draft, {person, second})[:1]])


def _find_wrong(draft: Draft, person: str, second: str, replacement: str) -> str:
    """Find what is wrong with a wish to take an alarm out of service; empty if nothing is."""
    if not second or second.casefold() == person.casefold():
        return "it takes two different persons"
    if second not in draft.roll.persons:
        return f"the settings know no person {second!r}"
    if not replacement:
        return "it must be said what stands in its place"
    return ""


def take_back(draft: Draft, event: AlarmPutBack) -> None:
    """Put an alarm back in service, or end its shelf early; it sounds if it is still wrong."""
    entry, alarm = draft.roll.entries.get(event.alarm), draft.alarms.get(event.alarm)
    if entry is None or alarm is None:
        return
    if alarm.phase not in {Phase.OUT_OF_SERVICE, Phase.SHELVED}:
        _refuse(draft, event.alarm, f"{event.person} cannot put it back: it is {alarm.phase.value}")
        return
    after, happened = release(entry, alarm, draft.stamp, draft.occurrences + 1)
    if after.occurrence > draft.occurrences:
        draft.occurrences = after.occurrence
        after = replace(after, code=draft.make_code())
    fact = say_fact(draft, entry)
    if after.phase is Phase.UNACKNOWLEDGED:
        after = replace(after, detail=fact)
    _set(draft, entry, after)
    draft.due_alarms.add(entry.name)
    draft.note(Ledger.ALARM, event.alarm, "back", f"{event.person} puts it back in service")
    draft.note(Ledger.ALARM, event.alarm, after.phase.value, f"{happened.value}: {fact} [{after.code}]")
    words = draft.plan.phrases.back.format(name=event.alarm, person=event.person)
    short = short_back(event.alarm, event.person, draft.plan.phrases)
    _tell(draft, entry, words, short, _others(draft, {event.person})[:1])


def take_reset(draft: Draft, event: AlarmReset) -> None:
    """Reset a latched alarm; where there is nothing to reset, that is written down."""
    alarm = draft.alarms.get(event.alarm)
    if alarm is None:
        return
    after = follow(alarm.phase, Trigger.RESET)
    if after is not alarm.phase:
        draft.set_alarm(event.alarm, replace(alarm, phase=after))
        draft.note(Ledger.ALARM, event.alarm, "reset", f"{event.person} resets it")
    else:
        _refuse(draft, event.alarm, f"{event.person} cannot reset it: it is {alarm.phase.value}")


def _set(draft: Draft, entry: AlarmEntry, alarm: Alarm) -> None:
    """Change an alarm, with its deadline."""
    draft.set_alarm(entry.name, replace(alarm, due_ms=next_due_ms(entry, alarm, draft.now)))


def _refuse(draft: Draft, alarm: str, text: str) -> None:
    """Write down that a person's wish was refused."""
    draft.note(Ledger.ALARM, alarm, "refused", text)


def _others(draft: Draft, doers: set[str]) -> list[str]:
    """Name those on the call lists who did not do it, emergencies first."""
    names = [
        person
        for response in (Response.EMERGENCY, Response.TODAY)
        for person in find_people(draft, response)[1]
    ]
    done = {doer.strip().casefold() for doer in doers}
    return [person for person in dict.fromkeys(names) if person.casefold() not in done]


def _tell(draft: Draft, entry: AlarmEntry, text: str, short: str, people: list[str]) -> None:
    """Tell others what was done, by the ways of the list; in quiet hours without waking them for little."""
    words = f"{SPEAKER} {text}"
    letter = Letter(entry.name, f"{entry.name}/silence", words, words, short, repeats=True)
    response = Response.EMERGENCY if draft.roll.steps[Response.EMERGENCY] else Response.TODAY
    silently = entry.response is not Response.EMERGENCY and quiet_left(draft) > 0
    for person in dict.fromkeys(people):
        post_by_all_ways(draft, letter, person, response, silently=silently)
