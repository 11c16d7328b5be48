"""Call people: whose turn it is, who is on duty, away or tired, whether it is quiet, and many alarms at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from controller.core.alarms.alarm import QUIET, Alarm, Truth, judge_condition
from controller.core.alarms.call_list import address_of, call_next
from controller.core.alarms.chain import count_call, is_tired, path_name, relieve
from controller.core.alarms.life import next_due_ms
from controller.core.alarms.lifecycle import ACTIVE, PAST, SOUNDING, Phase, Trigger, follow
from controller.core.alarms.remind import hold_until_ms, next_reminder_ms
from controller.core.alarms.roster import find_on_duty, find_stand_ins, quiet_left_min
from controller.core.alarms.septets import ONE_MESSAGE
from controller.core.alarms.short import Listed, write_flood, write_short
from controller.core.alarms.wall import LOOK_AGAIN_MIN, read_wall
from controller.core.alarms.wording import describe_fact, explain_call, write_call, write_head
from controller.core.draft import Draft
from controller.core.foresee import Foresight, diagnose_alarm, foresee_alarm
from controller.core.outcomes import find_call
from controller.core.plan.alarm import AlarmEntry, Kind, Response, Watched
from controller.core.plan.people import CallStep, Way
from controller.core.post import Letter, answers_of, post, ways_for
from controller.core.signals.sense import NEVER
from controller.core.units import MINUTE_MS, SECOND_MS, HouseMs
from controller.core.vocabulary import Ledger

GATHER_MS: Final = {Response.EMERGENCY: 4 * SECOND_MS, Response.TODAY: 2 * MINUTE_MS, Response.NOTE: 0}
"""In a flood a new alarm waits so long for others, so that one message tells of all of them. [ms]

An emergency must be on its way within five seconds; what can wait till today can wait two minutes."""

NEWS_OF_FLOOD_MS: Final = {
    Response.EMERGENCY: 15 * SECOND_MS,
    Response.TODAY: MINUTE_MS,
    Response.NOTE: MINUTE_MS,
}
"""After the message of a flood a new alarm waits so long at most for others, until a minute is over since. [ms]"""

FLOOD_SPACING_MS: Final = MINUTE_MS
"""So long after the message of a flood alarms that join it are gathered. [ms]"""

JUST_NOW_MS: Final = MINUTE_MS
"""A call that was made within this and has not failed is not made again by the next step, if that is early. [ms]"""

TOGETHER_MS: Final = 2 * MINUTE_MS
"""In a flood, calls that are due within this are made together. [ms]"""

ABOUT_WAYS: Final = frozenset({Watched.MESSAGES, Watched.MODEM, Watched.SIREN})
"""Faults of the ways themselves: they are told by a way that works, and once in quiet hours too. (A path that is
merely not proven waits for the morning.)"""

FLOOD_LETTERS_MOST: Final = 1500
"""Length of a flood's message where there is room."""


def say_fact(draft: Draft, entry: AlarmEntry) -> str:
    """Say what is the matter now."""
    trouble = None if entry.of is None else draft.troubles.get(entry.of)
    sensor, sense = draft.roll.sensors.get(entry.sensor), draft.senses.get(entry.sensor)
    fact = describe_fact(entry, sensor, sense, trouble, draft.plan.phrases)
    alarm = draft.alarms.get(entry.name, QUIET)
    silent = bool(entry.sensor) and (sense is None or sense.value is None)
    if (
        entry.of is not None
        and trouble is None
        and alarm.phase in ACTIVE
        and not can_be_silent(draft, entry.of)
    ):
        fact, silent = draft.plan.phrases.unknown, True
    if silent and alarm.detail:
        # After a start nothing has been heard of it yet; what was known last is better than nothing.
        template = draft.plan.phrases.was
        between = template.partition("{now}")[2].partition("{before}")[0]
        before = alarm.detail.rpartition(between)[2] if between else alarm.detail
        return fact if before == fact else template.format(now=fact, before=before)
    return fact


def can_be_silent(draft: Draft, part: Watched) -> bool:
    """Tell whether the silence of a part means that it is in order.

    Parts say when they are in trouble, and few say when they are well: silence means something only after they
    have had time to find out, or have said since the start that they are well. Whether a siren obeys shows only
    when it is told to sound, so its silence never does.
    """
    if part is Watched.SIREN and draft.plan.siren is not None:
        return draft.playing.spoke
    return draft.settled_ms <= draft.now or part in draft.spoken


def _reads_as_over(draft: Draft, entry: AlarmEntry) -> bool:
    """Tell whether the fact says that it is over, though the alarm still waits for its off-delay."""
    if entry.of is not None:
        return entry.of not in draft.troubles and can_be_silent(draft, entry.of)
    if entry.kind not in {Kind.MISSING, Kind.DOUBTFUL}:
        return False  # a value is told with its limit, and whether it stays is for the delay to say
    return judge_condition(entry, draft.senses.get(entry.sensor), None) is Truth.FALSE


def is_caused(draft: Draft, name: str) -> bool:
    """Tell whether a cause of an alarm is open."""
    return any(draft.alarms.get(cause, QUIET).phase in ACTIVE for cause in draft.roll.causes_of.get(name, ()))


def call_due(draft: Draft) -> None:
    """Call for every alarm whose time to call has come; in a flood with as few messages as will do."""
    due = [
        name
        for name in draft.due_calls
        if (alarm := draft.alarms.get(name, QUIET)).phase in SOUNDING and alarm.next_call_ms <= draft.now
    ]
    draft.due_calls = set()
    due = [name for name in draft.roll.entries if name in due and not _hold(draft, name)]
    if not due:
        return
    sounding = [name for name, alarm in draft.alarms.items() if alarm.phase in SOUNDING]
    if draft.chain.flood and len(sounding) > 1:
        _call_flood(draft, due)
        return
    for name in due:
        _call_one(draft, name)


def _hold(draft: Draft, name: str) -> bool:
    """Wait with a call, for the end of the quiet hours or for other alarms of a flood."""
    entry, alarm = draft.roll.entries[name], draft.alarms[name]
    until_ms = hold_until_ms(entry, draft.stamp) or _quiet_until_ms(draft, entry, alarm)
    if until_ms is None and draft.chain.flood and alarm.rung == 0 and not alarm.lapsed_by:
        until_ms = _gather_until_ms(draft, entry, alarm)
        if until_ms <= draft.now:
            return False
        _set(draft, name, replace(alarm, next_call_ms=until_ms))
        return True
    if until_ms is None:
        return False
    ladder_ms = until_ms if alarm.rung == 0 else alarm.ladder_ms
    _set(draft, name, replace(alarm, next_call_ms=until_ms, ladder_ms=ladder_ms))
    return True


def _gather_until_ms(draft: Draft, entry: AlarmEntry, alarm: Alarm) -> HouseMs:
    """Return how long a new alarm of a flood waits for others [ms]: longer when people have just been told of it."""
    until_ms = alarm.ladder_ms + GATHER_MS[entry.response]
    told_ms = draft.chain.flood_told_ms
    if told_ms < 0:
        return until_ms
    waits_ms = min(told_ms + FLOOD_SPACING_MS, alarm.ladder_ms + NEWS_OF_FLOOD_MS[entry.response])
    return max(until_ms, waits_ms)


def _quiet_until_ms(draft: Draft, entry: AlarmEntry, alarm: Alarm) -> HouseMs | None:
    """Return when to look again if this call can wait for the end of the quiet hours; None if it is made now.

    That the night's calls would fail cannot wait: it is told at once, and then waits for the morning.
    """
    if entry.of in ABOUT_WAYS and not alarm.told:
        return None
    left_min = quiet_left(draft) if entry.response is Response.TODAY else 0
    if not left_min:
        return None
    spare_min = entry.time_to_respond_min - draft.plan.call_rules.call_out_and_travel_min
    if alarm.raised_ms + round(spare_min * MINUTE_MS) < draft.now + left_min * MINUTE_MS:
        return None
    return draft.now + min(left_min, LOOK_AGAIN_MIN) * MINUTE_MS


def quiet_left(draft: Draft) -> int:
    """Count the minutes [min] until the quiet hours end; 0 if it is not quiet or nobody knows the time."""
    wall = read_wall(draft.stamp)
    rules = draft.plan.call_rules
    return 0 if wall is None else quiet_left_min(rules.quiet_from, rules.quiet_to, wall)


def _set(draft: Draft, name: str, alarm: Alarm) -> None:
    """Change an alarm, with its deadline."""
    entry = draft.roll.entries[name]
    draft.set_alarm(name, replace(alarm, due_ms=next_due_ms(entry, alarm, draft.now)))


# --- whose turn it is -----------------------------------------------------------------------------------


def find_people(draft: Draft, response: Response) -> tuple[tuple[CallStep, ...], tuple[str, ...]]:
    """Return the steps with those who are there to be called now, and all of these, in order.

    With a roster the first step of `today` goes to whoever is on duty. Who is away is left out; where that
    leaves a step empty, the first who is there takes it.
    """
    steps = draft.roll.steps[response]
    wall = read_wall(draft.stamp)
    roster = draft.roll.roster
    if wall is None or not steps or not (roster.shifts or roster.away):
        return steps, _everybody(steps)
    if response is Response.TODAY:
        on_duty = find_on_duty(roster, wall)
        if on_duty:
            steps = (steps[0].model_copy(update={"people": on_duty}), *steps[1:])
    there = [person for person in _everybody(steps) if not roster.is_away(person, wall.day)]
    if not there:
        return steps, _everybody(steps)
    filled = []
    for step in steps:
        people = tuple(person for person in step.people if person in there)
        filled.append(step.model_copy(update={"people": people or (there[0],)}))
    others = find_stand_ins(roster, wall) if response is Response.TODAY else ()
    return tuple(filled), tuple(dict.fromkeys((*there, *others)))


def _everybody(steps: Sequence[CallStep]) -> tuple[str, ...]:
    """Name everybody on the list, in order, once."""
    return tuple(dict.fromkeys(person for step in steps for person in step.people))


def _relieve(
    draft: Draft, name: str, alarm: Alarm, steps: tuple[CallStep, ...], everybody: tuple[str, ...]
) -> tuple[CallStep, ...]:
    """Put rested people in the place of the tired in the step that comes now; the whole list stays whole."""
    most = draft.plan.call_rules.calls_most
    if alarm.rung >= len(steps):
        return steps
    step = steps[alarm.rung]
    if not any(is_tired(draft.chain, person, draft.now, most) for person in step.people):
        return steps
    known = tuple(person for person in step.people if person in alarm.told)
    fresh = tuple(person for person in step.people if person not in known)
    called, swaps = relieve(draft.chain, fresh, [p for p in everybody if p not in known], draft.now, most)
    for tired, rested in swaps:
        text = f"{tired} has been called often enough in 12 h: {rested} is called first"
        draft.note(Ledger.CALL, name, "passed over", text)
    people = tuple(dict.fromkeys((*known, *called)))
    return (*steps[: alarm.rung], step.model_copy(update={"people": people}), *steps[alarm.rung + 1 :])


def _take_step(draft: Draft, name: str) -> tuple[Alarm, tuple[tuple[str, Way], ...]]:
    """Take the next step of the list for one alarm, and count who is called."""
    entry, alarm = draft.roll.entries[name], draft.alarms[name]
    steps, everybody = find_people(draft, entry.response)
    steps = _relieve(draft, name, alarm, steps, everybody)
    after, told = call_next(alarm, steps, draft.plan.call_rules, entry.response, draft.now)
    if told:
        next_ms = next_reminder_ms(entry, after.next_call_ms, draft.stamp)
        after = replace(after, next_call_ms=next_ms)
    if alarm.lapsed_by and alarm.rung == 0 and alarm.lapsed_by not in {person for person, _ in told}:
        told = (*told, *((alarm.lapsed_by, way) for way in steps[0].ways)) if steps else told
    told = _by_another_way(draft, entry, told)
    if told and _is_early(alarm, steps, draft.now):
        fresh = tuple(pair for pair in told if not _has_just_heard(draft, name, alarm, pair))
        if not fresh and after.rung < len(steps):
            after = replace(
                after, next_call_ms=draft.now + 1
            )  # the step has brought nobody: the next one's turn
        told = fresh
    for person in dict.fromkeys(person for person, _ in told):
        if person not in alarm.told:
            draft.chain = count_call(draft.chain, person, draft.now)
    return after, told


def _is_early(alarm: Alarm, steps: Sequence[CallStep], now: HouseMs) -> bool:
    """Tell whether a step is taken before its time, because the one before it has failed."""
    return 0 < alarm.rung < len(steps) and now < alarm.ladder_ms + round(
        steps[alarm.rung].after_min * MINUTE_MS
    )


def _has_just_heard(draft: Draft, name: str, alarm: Alarm, pair: tuple[str, Way]) -> bool:
    """Tell whether the step before has called this person by this way, and the call has not failed."""
    person, way = pair
    if draft.now - alarm.called_ms > JUST_NOW_MS or (way, person) in draft.way_failures:
        return False
    path = path_name(person, way.value)
    return path in alarm.heard or bool(find_call(draft, name, alarm, path))


def _by_another_way(
    draft: Draft, entry: AlarmEntry, told: tuple[tuple[str, Way], ...]
) -> tuple[tuple[str, Way], ...]:
    """Call for a broken way by another one, where a person would only be called by what is broken."""
    if entry.of not in ABOUT_WAYS:
        return told
    down = {*draft.way_troubles, *((Way.TEXT,) if Watched.MODEM in draft.troubles else ())}

    def works(person: str, way: Way) -> bool:
        who = draft.roll.persons.get(person)
        open_ = who is not None and bool(address_of(who, way))
        return open_ and way is not Way.LOG and way not in down and (way, person) not in draft.way_failures

    every = dict.fromkeys((*ways_for(draft, Response.EMERGENCY), *ways_for(draft, Response.TODAY)))
    more: list[tuple[str, Way]] = []
    for person in dict.fromkeys(person for person, _ in told):
        if not any(works(person, way) for each, way in told if each == person):
            more += [(person, way) for way in every if works(person, way)][:1]
    return (*told, *more)


# --- one alarm ------------------------------------------------------------------------------------------


def _call_one(draft: Draft, name: str) -> None:
    """Take the next step of the call list for one alarm."""
    before = draft.alarms[name]
    alarm, told = _take_step(draft, name)
    _set(draft, name, alarm)
    if told:
        letter = write_letter(draft, name, before)
        for person, way in told:
            post(draft, letter, person, way)


def write_letter(draft: Draft, name: str, alarm: Alarm) -> Letter:
    """Write the call for one alarm in all its forms."""
    entry, phrases = draft.roll.entries[name], draft.plan.phrases
    sensor, sense = draft.roll.sensors.get(entry.sensor), draft.senses.get(entry.sensor)
    sight = Foresight(draft.roll, draft.senses, draft.tended, draft.drives, draft.doubts)
    outlook = foresee_alarm(sight, entry)
    fact = say_fact(draft, entry)
    if alarm.phase in SOUNDING and _reads_as_over(draft, entry):
        alarm = replace(alarm, phase=follow(alarm.phase, Trigger.RETURN), lapsed_by="")
    hidden = [
        follower
        for follower in draft.roll.consequences_of.get(name, ())
        if draft.alarms.get(follower, QUIET).phase is Phase.SUPPRESSED and _is_true(draft, follower)
    ]
    subject, text = write_call(
        entry,
        alarm,
        fact,
        sensor=sensor,
        site_name=draft.plan.site.name,
        stamp=draft.stamp,
        phrases=phrases,
        hidden=hidden,
        outlook=outlook,
    )
    short = write_short(
        entry,
        alarm,
        sensor=sensor,
        sense=sense,
        trouble=fact if entry.of is not None else None,
        stamp=draft.stamp,
        phrases=phrases,
        outlook=outlook,
    )
    full = f"{text}\n\n{explain_call(entry, answers_of(draft, alarm.code), phrases, diagnose_alarm(sight, entry))}"
    return Letter(name, f"{name}/{alarm.occurrence}", subject, text, short, full)


def _is_true(draft: Draft, name: str) -> bool:
    """Tell whether a hidden alarm's condition is not over."""
    entry = draft.roll.entries[name]
    trouble = None if entry.of is None else draft.troubles.get(entry.of)
    return judge_condition(entry, draft.senses.get(entry.sensor), trouble) is not Truth.FALSE


# --- many at once ---------------------------------------------------------------------------------------


def _call_flood(draft: Draft, due: Sequence[str]) -> None:
    """Make the calls that are due, those soon due, and all that wait for others, with one message a person and way."""
    soon = draft.now + TOGETHER_MS
    names = [
        name
        for name, alarm in draft.alarms.items()
        if name in due
        or (alarm.phase in SOUNDING and alarm.next_call_ms <= soon and _may_join(draft, name, alarm))
    ]
    urgency: dict[tuple[str, Way], Response] = {}
    for name in names:
        response = draft.roll.entries[name].response
        alarm, told = _take_step(draft, name)
        _set(draft, name, alarm)
        for pair in told:
            if urgency.get(pair) is not Response.EMERGENCY:
                urgency[pair] = response
    if urgency:
        draft.chain = replace(draft.chain, flood_told_ms=draft.now)
    listed = order_flood(draft)
    letters = {response: write_flood_letter(draft, listed, response) for response in set(urgency.values())}
    for (person, way), response in urgency.items():
        post(draft, letters[response], person, way)


def _may_join(draft: Draft, name: str, alarm: Alarm) -> bool:
    """Tell whether an alarm may be told with others before its time: not if it waits for the morning."""
    entry = draft.roll.entries.get(name)
    if entry is None or alarm.rung > 0:
        return entry is not None
    return hold_until_ms(entry, draft.stamp) is None and _quiet_until_ms(draft, entry, alarm) is None


def order_flood(draft: Draft) -> list[str]:
    """List all sounding alarms: what is over last, then emergencies first, causes first, least time left first."""

    def rank(name: str) -> tuple[bool, bool, bool, float, int]:
        entry, alarm = draft.roll.entries[name], draft.alarms[name]
        harm_ms = alarm.raised_ms + entry.time_to_respond_min * MINUTE_MS
        causes = name in draft.roll.consequences_of
        over = alarm.phase in PAST or _reads_as_over(draft, entry)
        return over, entry.response is not Response.EMERGENCY, not causes, harm_ms, alarm.raised_ms

    return sorted(
        (
            name
            for name, alarm in draft.alarms.items()
            if alarm.phase in SOUNDING and name in draft.roll.entries
        ),
        key=rank,
    )


def write_flood_letter(draft: Draft, names: Sequence[str], response: Response) -> Letter:
    """Write the one message of a flood."""
    phrases = draft.plan.phrases
    listed = [
        Listed(name, draft.alarms[name].code, draft.roll.entries[name].action)
        for name in names
        if draft.alarms[name].next_call_ms < NEVER or draft.roll.steps[draft.roll.entries[name].response]
    ]
    first = names[0]
    text = write_flood(response, listed, septets_most=FLOOD_LETTERS_MOST, phrases=phrases)
    short = write_flood(response, listed, septets_most=ONE_MESSAGE, phrases=phrases)
    lines = [
        f"[{draft.alarms[name].code}] {name}: {say_fact(draft, draft.roll.entries[name])}" for name in names
    ]
    cause = explain_call(draft.roll.entries[first], answers_of(draft, draft.alarms[first].code), phrases)
    subject = f"{write_head(response, phrases)}: {len(listed)} x, {first} [{draft.alarms[first].code}]"
    full = "\n".join([text, "", *lines, "", cause])
    return Letter(first, f"{first}/{draft.alarms[first].occurrence}", subject, text, short, full)
