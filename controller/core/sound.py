"""Judge the alarms, and follow what begins, ends and is answered."""

from __future__ import annotations

from collections.abc import Iterable
from collections.abc import Set as AbstractSet
from dataclasses import replace

from controller.core.alarms.alarm import QUIET, Alarm, Truth, judge_condition
from controller.core.alarms.chain import count_raise, path_name, prove, take_test_answer
from controller.core.alarms.life import answer, live, next_due_ms
from controller.core.alarms.lifecycle import SOUNDING, Phase, Trigger
from controller.core.alarms.notices import short_answered, short_over, short_restarted
from controller.core.alarms.remind import judge_due_test
from controller.core.alarms.wording import write_answered, write_over, write_restarted
from controller.core.call import call_due, can_be_silent, find_people, is_caused, quiet_left, say_fact
from controller.core.draft import Draft, without_item
from controller.core.outcomes import find_call, forget_old_failures, tell_ways
from controller.core.plan.alarm import AlarmEntry, Kind, Response, Watched
from controller.core.post import SILENT, Letter, answers_of, post, post_by_all_ways, ways_for
from controller.core.signals.sense import NEVER
from controller.core.units import MINUTE_MS, HouseMs
from controller.core.vocabulary import AnswerGiven, Ledger, TroubleSeen

SETTLE_MS = 2 * MINUTE_MS
"""After a start a part of Duskbell has this long to say that it is in trouble; only then is its silence good. [ms]

One that says that it is well counts at once."""


def judge_due(draft: Draft) -> None:
    """Judge every alarm that something has happened to or whose time has come."""
    now = draft.now
    if draft.way_failures:
        forget_old_failures(draft)
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
    if draft.due_calls:
        call_due(draft)


def judge(draft: Draft, entry: AlarmEntry) -> None:
    """Let condition and time act on one alarm until nothing more happens, then call whom it is time to call."""
    before = draft.alarms.get(entry.name, QUIET)
    sense = draft.senses.get(entry.sensor)
    trouble = None if entry.of is None else draft.troubles.get(entry.of)
    if entry.kind is Kind.DUE:
        truth = judge_due_test(draft.roll.sensors.get(entry.sensor), sense, draft.stamp)
    else:
        truth = judge_condition(entry, sense, trouble)
    # Whether a siren obeys shows when it sounds again; until then who has answered for it is believed.
    looked = entry.of is Watched.SIREN and before.phase is Phase.ACKNOWLEDGED
    if entry.of is not None and trouble is None and not looked and not can_be_silent(draft, entry.of):
        truth = Truth.UNKNOWN
    if truth is Truth.FALSE and _is_quiet(before) and before.due_ms > draft.now:
        return
    alarm = before
    caused = entry.name in draft.roll.causes_of and is_caused(draft, entry.name)
    happened: Trigger | None = Trigger.RAISE
    while happened is not None:
        alarm, happened = live(entry, alarm, truth, draft.stamp, draft.occurrences + 1, caused)
        if happened is not None:
            if alarm.occurrence > draft.occurrences:
                draft.occurrences = alarm.occurrence
                alarm = replace(alarm, code=draft.make_code())
            alarm = _tell(draft, entry, alarm, happened)
    if alarm.phase in SOUNDING and alarm.next_call_ms <= draft.now:
        draft.due_calls.add(entry.name)
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


def _tell(draft: Draft, entry: AlarmEntry, alarm: Alarm, happened: Trigger) -> Alarm:
    """Write into the record what happened, count it, and tell those who had been told when it is over."""
    fact = say_fact(draft, entry)
    value = draft.senses[entry.sensor].value if entry.sensor in draft.senses else None
    draft.note(Ledger.ALARM, entry.name, alarm.phase.value, f"{happened.value}: {fact} [{alarm.code}]", value)
    if happened in {Trigger.RETURN, Trigger.RETURN_LATCHED}:
        subject, text = write_over(entry, alarm, fact, draft.stamp, draft.plan.phrases)
        lasted_min = (draft.now - alarm.raised_ms) // MINUTE_MS
        short = short_over(entry, alarm, fact, lasted_min, draft.stamp, draft.plan.phrases)
        full = text if alarm.answered_by else f"{text}\n\n{answers_of(draft, alarm.code)}"
        thread = f"{entry.name}/{alarm.occurrence}"
        letter = Letter(entry.name, thread, subject, text, short, full, repeats=True, phase=alarm.phase)
        _tell_over(draft, entry, alarm, letter)
    if happened is Trigger.SUPPRESS:
        alarm = replace(alarm, detail=fact)
    if happened in {Trigger.RAISE, Trigger.RELEASE_ACTIVE}:
        alarm = replace(alarm, detail=fact)
        _count(draft, entry, alarm)
    return alarm


def _count(draft: Draft, entry: AlarmEntry, alarm: Alarm) -> None:
    """Count an alarm that begins to sound: for the flood and for the daily digest."""
    if alarm.raised_ms != draft.now:
        return  # the same occurrence goes on
    tally = draft.chain.tally
    match entry.response:
        case Response.EMERGENCY:
            tally = replace(tally, emergencies=tally.emergencies + 1)
        case Response.TODAY:
            tally = replace(tally, today=tally.today + 1)
        case Response.NOTE:
            draft.chain = replace(draft.chain, tally=replace(tally, notes=tally.notes + 1))
            return
    was_flood = draft.chain.flood
    draft.chain = count_raise(
        replace(draft.chain, tally=tally), draft.now, draft.plan.call_rules.flood_alarms
    )
    if draft.chain.flood and not was_flood:
        text = f"more than {draft.plan.call_rules.flood_alarms} alarms within 10 min: they are told together"
        draft.note(Ledger.CALL, "alarms", "flood", text)


def _tell_gently(draft: Draft, entry: AlarmEntry, letter: Letter, people: Iterable[str]) -> None:
    """Tell people something that asks nothing of them; in quiet hours what is no emergency wakes nobody."""
    silently = entry.response is not Response.EMERGENCY and quiet_left(draft) > 0
    for person in people:
        post_by_all_ways(draft, letter, person, entry.response, silently=silently)


def _tell_over(draft: Draft, entry: AlarmEntry, alarm: Alarm, letter: Letter) -> None:
    """Tell that it is over to those who have heard, or may yet hear, that it began; in that order.

    Where every call was refused nobody knows of it, and the first word must not be that it is over.
    """
    silently = entry.response is not Response.EMERGENCY and quiet_left(draft) > 0
    for person in alarm.told:
        for way in ways_for(draft, entry.response):
            path = path_name(person, way.value)
            if path not in alarm.missed and (not silently or way in SILENT):
                post(draft, letter, person, way, after=find_call(draft, entry.name, alarm, path))


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
        draft.due_alarms.add(name)
        draft.note(Ledger.CALL, name, "answered", f"{event.person} answered {code} by {event.way}")
        _forget_messages(draft, name)
        tally = draft.chain.tally
        draft.chain = replace(draft.chain, tally=replace(tally, answers=tally.answers + 1))
        if path_name(event.person, event.way) in draft.chain.proven_ms:
            draft.chain = prove(draft.chain, event.person, event.way, draft.now)
        fact, phrases = say_fact(draft, entry), draft.plan.phrases
        subject, text = write_answered(entry, answered, fact, draft.stamp, phrases)
        short = short_answered(entry, answered, fact, draft.stamp, phrases)
        thread = f"{name}/{answered.occurrence}"
        letter = Letter(name, thread, subject, text, short, repeats=True, phase=answered.phase)
        _tell_gently(draft, entry, letter, [each for each in answered.told if each != event.person])
        return
    draft.chain, test = take_test_answer(draft.chain, code, draft.now)
    if test is not None:
        draft.note(
            Ledger.CALL,
            "test",
            "answered",
            f"{event.person} answered by {event.way} the test call to {test.person}",
        )
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
        if under_way.alarm == alarm_name and not under_way.repeats:
            draft.set_outstanding(effect_id, None)


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
        gone_entry = under_way.alarm not in roll.entries and under_way.alarm in draft.state.roll.entries
        if gone_entry or under_way.message.person in gone:
            draft.set_outstanding(effect_id, None)
    kept = {path: why for path, why in draft.way_failures.items() if path[1] not in gone}
    if kept != draft.way_failures:
        draft.way_failures = kept
        tell_ways(draft)
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
    # Nobody has been called yet: the list may have steps now that it had not, or earlier ones.
    return replace(alarm, next_call_ms=now) if alarm.next_call_ms == NEVER or alarm.rung == 0 else alarm


def forget_pending(draft: Draft) -> None:
    """After a start nothing is known: a condition must show itself anew before it counts as over."""
    for name, alarm in list(draft.alarms.items()):
        if alarm.over_ms is not None:
            draft.set_alarm(name, replace(alarm, over_ms=None))
    draft.settled_ms = draft.now + SETTLE_MS
    draft.spoken = frozenset()
    draft.due_alarms.update(draft.roll.entries)


LONG_AWAY_MS = 10 * MINUTE_MS
"""An absence of this length is told even if no alarm is open; a restart by hand is shorter. [ms]"""

SHORT_AWAY_MS = 2 * MINUTE_MS
"""A shorter absence is told to nobody; the calls of open alarms go on in any case. [ms]"""


def tell_restart(draft: Draft, away_ms: int | None) -> None:
    """After a start tell people which alarms are still open, and that nobody was watching meanwhile."""
    still_open = [
        name
        for name, alarm in draft.alarms.items()
        if alarm.phase in SOUNDING or alarm.phase is Phase.ACKNOWLEDGED
    ]
    told_from_ms = SHORT_AWAY_MS if still_open else LONG_AWAY_MS
    if (away_ms is None and not still_open) or (away_ms is not None and away_ms < told_from_ms):
        return
    urgent = any(draft.roll.entries[name].response is Response.EMERGENCY for name in still_open)
    response = Response.EMERGENCY if urgent else Response.TODAY
    steps, _ = find_people(draft, response)
    if not steps:
        return
    names = [f"{draft.alarms[name].code} {name}" for name in still_open]
    text = write_restarted(away_ms, names, draft.stamp, draft.plan.phrases)
    away_min = None if away_ms is None else round(away_ms / MINUTE_MS)
    short = short_restarted(away_min, names, draft.stamp, draft.plan.phrases)
    letter = Letter("daemon", f"started/{draft.state.turn}", text, text, short, repeats=True)
    silently = not urgent and quiet_left(draft) > 0
    for person in steps[0].people:
        post_by_all_ways(draft, letter, person, response, silently=silently)


def hear_of_part(draft: Draft, event: TroubleSeen) -> None:
    """Take in what a part of Duskbell says of itself; that it is well counts even where no trouble was known."""
    draft.set_trouble(event.part, event.trouble)
    if event.trouble is None:
        draft.hear_well(event.part)


def settle_parts(draft: Draft) -> None:
    """From now on a part that says nothing is in order."""
    if 0 < draft.settled_ms <= draft.now:
        draft.settled_ms = 0
        draft.spoken = frozenset()
        for names in draft.roll.alarms_of_part.values():
            draft.due_alarms.update(names)
