"""Prove the chain to people while nothing is wrong: test calls, proofs of paths, the daily digest, a sign of life.

Times of day are local and are done once a day; while nobody knows the time they wait. What is found wrong is
an alarm like any other.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Final

from controller.core.alarms.chain import (
    TESTS_MOST,
    Chain,
    DayTally,
    TestCall,
    expect_paths,
    flood_ends_ms,
    let_flood_end,
    mark_unreached,
    path_name,
)
from controller.core.alarms.lifecycle import SOUNDING
from controller.core.alarms.notices import write_test
from controller.core.alarms.septets import cut_message
from controller.core.alarms.wall import Wall, read_wall, wait_until_ms
from controller.core.alarms.wording import SPEAKER
from controller.core.call import find_people
from controller.core.digest import describe_day
from controller.core.draft import Draft
from controller.core.plan.alarm import Response, Watched
from controller.core.plan.duty import WEEK, read_minute
from controller.core.plan.people import Way
from controller.core.plan.supervision import Supervision
from controller.core.post import Letter, answers_of, post, post_to, ways_for
from controller.core.signals.sense import NEVER
from controller.core.units import DAY_MS, MINUTE_MS, HouseMs
from controller.core.vocabulary import Ledger, PublishState, TestCallAsked

WATCHER: Final = "outside watcher"
"""Name under which the sign of life goes out; nobody answers to it."""

CLOCK_AGAIN_MS: Final = 5 * MINUTE_MS
"""While nobody knows the time, it is looked again so often whether somebody does. [ms]"""

WEEK_DAYS: Final = 7
"""A test call that was missed, by a long absence, is made up for after this. [days]"""


def supervise(draft: Draft) -> None:
    """Do what is due now."""
    if draft.chain.flood:
        _end_flood(draft)
    rules = draft.plan.supervision
    if rules is None:
        _follow_asked_tests(draft)
        return
    if draft.now < draft.supervised_ms and not _is_stirred(draft):
        return
    wall = read_wall(draft.stamp)
    if not draft.supervised_ms or draft.plan is not draft.state.plan:
        paths = [path_name(person, way.value) for person, way in list_paths(draft)]
        draft.chain = expect_paths(draft.chain, paths, draft.now)
    if wall is not None:
        _test_weekly(draft, rules, wall)
        _write_digest(draft, rules, wall)
    _remind(draft, rules)
    draft.chain = mark_unreached(draft.chain, draft.now)
    _tell_doubts(draft, rules)
    _give_sign_of_life(draft, rules)


def _is_stirred(draft: Draft) -> bool:
    """Tell whether this turn has changed what is supervised, or how."""
    return draft.chain is not draft.state.durable.chain or draft.plan is not draft.state.plan


def _follow_asked_tests(draft: Draft) -> None:
    """Without supervision follow only the tests that somebody asked for."""
    chain = draft.chain
    if chain.tests or chain.unreached:
        draft.chain = mark_unreached(chain, draft.now)
        _tell_unreached(draft)
    elif chain.proven_ms:
        draft.chain = replace(chain, proven_ms={})
        draft.set_trouble(Watched.PATHS, None)
    if chain is not draft.state.durable.chain:
        _tell_unreached(draft)


def _end_flood(draft: Draft) -> None:
    """Say that a flood is over."""
    after = let_flood_end(draft.chain, draft.now)
    if after is not draft.chain:
        draft.chain = after
        draft.note(
            Ledger.CALL, "alarms", "flood over", "fewer than five alarms in 10 min: each is told alone"
        )


def list_paths(draft: Draft) -> list[tuple[str, Way]]:
    """List every path the call list may use: who by which way, where there is an address."""
    found: dict[tuple[str, Way], None] = {}
    for response in (Response.EMERGENCY, Response.TODAY):
        for step in draft.roll.steps[response]:
            for person in step.people:
                who = draft.roll.persons.get(person)
                for way in step.ways:
                    if way is not Way.LOG and who is not None and _has_address(draft, person, way):
                        found[person, way] = None
    for shift in draft.roll.roster.shifts:
        for person in filter(None, (shift.person, shift.stand_in)):
            for way in draft.roll.steps[Response.TODAY][0].ways if draft.roll.steps[Response.TODAY] else ():
                if way is not Way.LOG and _has_address(draft, person, way):
                    found[person, way] = None
    return list(found)


def _has_address(draft: Draft, person: str, way: Way) -> bool:
    """Tell whether a person has an address for a way."""
    who = draft.roll.persons.get(person)
    keys = {
        Way.EMAIL: "email", Way.TEXT: "phone", Way.WEBHOOK: "webhook", Way.SERVICE: "service_file", Way.LOG: "name",
    }  # fmt: skip
    return who is not None and bool(getattr(who, keys[way]))


# --- test calls -----------------------------------------------------------------------------------------


def _test_weekly(draft: Draft, rules: Supervision, wall: Wall) -> None:
    """Make the weekly test call, once on its day; a week that was slept through is made up for."""
    minute, day = read_minute(rules.test_time), draft.chain.test_day
    if minute is None or wall.minute < minute or day == wall.day or rules.test_day not in WEEK:
        return
    missed = 0 <= day < wall.day - WEEK_DAYS
    if wall.weekday == WEEK.index(rules.test_day) or missed:
        draft.chain = replace(draft.chain, test_day=wall.day)
        call_tests(draft, None, rules.answer_within_min)


def take_test_asked(draft: Draft, event: TestCallAsked) -> None:
    """Make a test call now because a person asks for it."""
    rules = draft.plan.supervision or Supervision()
    whom = event.whom.strip()
    if whom and whom not in draft.roll.persons:
        draft.note(
            Ledger.CALL,
            "test",
            "refused",
            f"{event.person} asks for a test call to nobody known: {whom[:40]}",
        )
        return
    draft.note(Ledger.CALL, "test", "asked", f"{event.person} asks for a test call to {whom or 'everybody'}")
    call_tests(draft, whom or None, rules.answer_within_min)


def call_tests(draft: Draft, whom: str | None, within_min: float) -> None:
    """Send each person, or one, a test code by each of their ways; a code proves the way it went."""
    tests = [test for test in draft.chain.tests if whom is not None and test.person != whom]
    wall = read_wall(draft.stamp)
    for person, way in list_paths(draft):
        away = wall is not None and draft.roll.roster.is_away(person, wall.day)
        if (whom is not None and person != whom) or (whom is None and away) or len(tests) >= TESTS_MOST:
            continue
        draft.occurrences += 1
        code = draft.make_code()
        if post(draft, _write_test(draft, code, within_min), person, way):
            due_ms = draft.now + round(within_min * MINUTE_MS)
            tests.append(TestCall(person, way.value, code, draft.now, due_ms))
    draft.chain = replace(draft.chain, tests=tuple(tests))


def _write_test(draft: Draft, code: str, within_min: float) -> Letter:
    """Write a test call in all its forms."""
    subject, text = write_test(code, within_min, draft.stamp, draft.plan.phrases)
    full = f"{text}\n\n{answers_of(draft, code)}"
    return Letter("test", f"test/{code}", subject, text, cut_message(text), full, repeats=True)


def _remind(draft: Draft, rules: Supervision) -> None:
    """Send test calls again that nobody has answered yet: a message may be lost, or overlooked."""
    tests = []
    for test in draft.chain.tests:
        reminded = test
        if test.reminder_ms(rules.remind_times) <= draft.now < test.due_ms:
            left_min = max(round((test.due_ms - draft.now) / MINUTE_MS), 1)
            post(draft, _write_test(draft, test.code, left_min), test.person, Way(test.way))
            reminded = replace(test, reminded=test.reminded + 1)
        tests.append(reminded)
    if any(after is not before for after, before in zip(tests, draft.chain.tests, strict=True)):
        draft.chain = replace(draft.chain, tests=tuple(tests))


def _tell_doubts(draft: Draft, rules: Supervision) -> None:
    """Say who did not answer a test call, and which paths have not been proven for too long."""
    _tell_unreached(draft)
    limit_ms = draft.now - round(rules.unproven_days * DAY_MS)
    unproven = sorted(path for path, at in draft.chain.proven_ms.items() if at < limit_ms)
    text = f"not proven for {rules.unproven_days:g} days: {', '.join(unproven)}"
    draft.set_trouble(Watched.PATHS, text if unproven else None)


def _tell_unreached(draft: Draft) -> None:
    """Say who did not answer a test call."""
    unreached = draft.chain.unreached
    draft.set_trouble(Watched.PEOPLE, f"no answer from {', '.join(unreached)}" if unreached else None)


# --- the daily digest -----------------------------------------------------------------------------------


def _write_digest(draft: Draft, rules: Supervision, wall: Wall) -> None:
    """Send the day in five lines, once a day, so that silence is noticed."""
    minute = read_minute(rules.digest_time)
    if minute is None or wall.minute < minute or draft.chain.digest_day == wall.day:
        return
    first = draft.chain.digest_day < 0
    draft.chain = replace(draft.chain, digest_day=wall.day)
    if first and wall.minute > minute + 60:
        return  # it has just been put to work; the first digest comes tomorrow
    steps, _ = find_people(draft, Response.TODAY)
    people = rules.digest_people or (steps[0].people if steps else ())
    text = "\n".join(describe_day(draft))
    subject = f"{SPEAKER} {text.splitlines()[0]}"
    letter = Letter(
        "digest", f"digest/{wall.day}", subject, subject, cut_message(subject), text, repeats=True
    )
    for person in people:
        for way in (Way.EMAIL, *ways_for(draft, Response.TODAY)):
            if post(draft, letter, person, way):
                break
    draft.chain = replace(draft.chain, tally=DayTally())


# --- sign of life ---------------------------------------------------------------------------------------


def _give_sign_of_life(draft: Draft, rules: Supervision) -> None:
    """Tell the outside that the house is being watched; a watcher there worries when it hears nothing."""
    if not rules.heartbeat_min or draft.now < draft.heartbeat_ms:
        return
    draft.heartbeat_ms = draft.now + round(rules.heartbeat_min * MINUTE_MS)
    document = json.dumps(
        {
            "site": draft.plan.site.id,
            "utc_ms": draft.stamp.utc_ms,
            "next_within_s": round(rules.heartbeat_min * 60),
            "open_emergencies": sum(
                alarm.phase in SOUNDING
                and (entry := draft.roll.entries.get(name)) is not None
                and entry.response is Response.EMERGENCY
                for name, alarm in draft.alarms.items()
            ),
        },
        sort_keys=True,
        separators=(",", ":"),
    )
    draft.effects.append(PublishState("heartbeat", document))
    if rules.heartbeat_webhook and not any(each.alarm == "heartbeat" for each in draft.outstanding.values()):
        letter = Letter("heartbeat", "heartbeat", f"{SPEAKER} sign of life", document)
        post_to(draft, letter, WATCHER, Way.WEBHOOK, rules.heartbeat_webhook)


def next_look_ms(draft: Draft) -> HouseMs:
    """Return when time alone has work here [ms]."""
    rules = draft.plan.supervision
    if rules is None and not draft.chain.flood and not draft.chain.tests:
        return NEVER
    if draft.now < draft.supervised_ms and not _is_stirred(draft):
        return draft.supervised_ms  # the usual case, and a year has half a million turns
    times = [flood_ends_ms(draft.chain)] if draft.chain.flood else []
    times += [test.due_ms for test in draft.chain.tests]
    if rules is not None:
        times += [test.reminder_ms(rules.remind_times) for test in draft.chain.tests]
        if draft.stamp.utc_trusted:
            minutes = (read_minute(rules.test_time), read_minute(rules.digest_time))
            times += [wait_until_ms(draft.stamp, minute) for minute in minutes if minute is not None]
        else:
            times.append(draft.now + CLOCK_AGAIN_MS)
        if rules.heartbeat_min:
            times.append(draft.heartbeat_ms)
    draft.supervised_ms = min((time for time in times if time > draft.now), default=NEVER)
    return draft.supervised_ms


def forget_gone(draft: Draft) -> None:
    """After a change of settings forget the tests and doubts of people who are gone, and all without supervision."""
    chain: Chain = draft.chain
    known = draft.roll.persons if draft.plan.supervision is not None else {}
    tests = tuple(test for test in chain.tests if test.person in known)
    unreached = tuple(person for person in chain.unreached if person in known)
    calls = {person: calls for person, calls in chain.calls_ms.items() if person in draft.roll.persons}
    if (tests, unreached, calls) != (chain.tests, chain.unreached, chain.calls_ms):
        draft.chain = replace(chain, tests=tests, unreached=unreached, calls_ms=calls)
