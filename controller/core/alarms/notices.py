"""What is told besides a call, as one text message each: who has it, over, silenced, restarted, a test.

Each is cut in its free text alone: in what is measured, in a person's reason, in a list. How long the rest can
get is known beforehand, and refused when the settings load if it would not fit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from controller.core.alarms.alarm import Alarm
from controller.core.alarms.septets import ONE_MESSAGE, count_septets, cut_message
from controller.core.alarms.wording import SPEAKER, clock_words, local_time, span_words
from controller.core.plan.alarm import AlarmEntry
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.vocabulary import Stamp

FREE_ROOM: Final = 12
"""Septets that are always left for free text, so that it says something."""

PERSON_LETTERS_MOST: Final = 20
"""So much of a name is told; people of the settings have no longer one, an account of the board might."""

SPAN_LONGEST_MIN: Final = 9_999 * 60.0
"""The longest span a notice is measured with: more than a year. [min]"""

TEST_ANSWER_LONGEST_MIN: Final = 240.0
"""The longest time a test call gives, as the settings allow. [min]"""

CLOCK_LONGEST: Final = Stamp(0, 1_767_225_600_000, 0, utc_trusted=False)


def _name(person: str) -> str:
    """Return so much of a person's name as is told."""
    return person[:PERSON_LETTERS_MOST]


def _fill(template: str, free: str, **words: str) -> str:
    """Fill a template, and cut its free text until the whole fits one message."""
    text = f"{SPEAKER} {template.format(free=free, **words)}"
    free = " ".join(free.split())
    while count_septets(text) > ONE_MESSAGE and free:
        free = free[:-1].rstrip()
        text = f"{SPEAKER} {template.format(free=f'{free}...', **words)}"
    # Never reached by names the check has measured; an account may have stranger letters.
    return cut_message(text)


def short_answered(
    entry: AlarmEntry, alarm: Alarm, fact: str, stamp: Stamp, phrases: Phrases = ENGLISH
) -> str:
    """Write to the others who has it; what is the matter now may be cut."""
    return _fill(
        phrases.short_answered,
        fact,
        name=entry.name,
        code=alarm.code,
        person=_name(alarm.answered_by),
        since=clock_words(stamp.utc_ms, stamp, phrases),
    )


def short_over(
    entry: AlarmEntry, alarm: Alarm, fact: str, minutes: float, stamp: Stamp, phrases: Phrases = ENGLISH
) -> str:
    """Write that it is over and how long it lasted [min]; what is the matter now may be cut."""
    if alarm.answered_by:
        answer = phrases.answered_by.format(person=_name(alarm.answered_by))
    else:
        answer = phrases.not_answered.format(code=alarm.code)
    return _fill(
        phrases.short_over,
        fact,
        name=entry.name,
        code=alarm.code,
        time=clock_words(stamp.utc_ms, stamp, phrases),
        span=span_words(minutes, phrases),
        answer=answer,
    )


def short_shelved(name: str, person: str, minutes: float, reason: str, phrases: Phrases = ENGLISH) -> str:
    """Write that an alarm is silenced for a while [min]; the reason may be cut."""
    return _fill(
        phrases.short_shelved, reason, name=name, person=_name(person), span=span_words(minutes, phrases)
    )


def short_out(name: str, person: str, second: str, replacement: str, phrases: Phrases = ENGLISH) -> str:
    """Write that an alarm is out of service; what stands in its place may be cut."""
    return _fill(phrases.short_out, replacement, name=name, person=_name(person), second=_name(second))


def short_back(name: str, person: str, phrases: Phrases = ENGLISH) -> str:
    """Write that an alarm is in service again."""
    return cut_message(f"{SPEAKER} {phrases.back.format(name=name, person=_name(person))}")


def short_restarted(
    away_min: float | None, names: Sequence[str], stamp: Stamp, phrases: Phrases = ENGLISH
) -> str:
    """Write that Duskbell has begun again; as many open alarms as fit are named, each whole, the rest counted."""
    span = phrases.away_unknown if away_min is None else span_words(away_min, phrases)
    for shown in range(len(names), -1, -1):
        more = [phrases.and_more.format(count=len(names) - shown)] if shown < len(names) else []
        text = phrases.short_restarted.format(
            time=clock_words(stamp.utc_ms, stamp, phrases),
            span=span,
            free=", ".join([*names[:shown], *more]) or phrases.none_open,
        )
        if count_septets(f"{SPEAKER} {text}") <= ONE_MESSAGE:
            break
    return cut_message(f"{SPEAKER} {text}")


def longest_notices(
    entry: AlarmEntry, persons: Iterable[str], phrases: Phrases = ENGLISH
) -> Mapping[str, int]:
    """Return the septets of each notice about an entry at its longest, by the name of its phrase."""
    who = max([*persons, "x" * PERSON_LETTERS_MOST], key=count_septets)
    times = [clock_words(CLOCK_LONGEST.utc_ms + day * 86_400_000, CLOCK_LONGEST, phrases) for day in range(7)]
    time = max(times, key=count_septets)
    span = max((span_words(each, phrases) for each in (120.0, SPAN_LONGEST_MIN)), key=count_septets)
    answers = (phrases.answered_by.format(person=who), phrases.not_answered.format(code="0000"))
    words = {
        "name": entry.name, "person": who, "second": who, "code": "0000", "since": time, "time": time, "span": span,
        "answer": max(answers, key=count_septets), "free": "x" * FREE_ROOM,
    }  # fmt: skip
    templates = {
        "short_answered": phrases.short_answered,
        "short_over": phrases.short_over,
        "short_shelved": phrases.short_shelved,
        "short_out": phrases.short_out,
        "back": phrases.back,
        "reply_thanks": f": {phrases.reply_thanks}",
        "said_test": f": {phrases.said_test}",
    }
    return {key: count_septets(f"{SPEAKER} {text.format(**words)}") for key, text in templates.items()}


def longest_of_the_house(phrases: Phrases = ENGLISH) -> Mapping[str, int]:
    """Return the septets of the notices about no alarm at their longest, by the name of their phrase."""
    stamps = [CLOCK_LONGEST._replace(utc_ms=CLOCK_LONGEST.utc_ms + day * 86_400_000) for day in range(7)]
    time = max((clock_words(each.utc_ms, each, phrases) for each in stamps), key=count_septets)
    spans = [phrases.away_unknown, *(span_words(each, phrases) for each in (120.0, SPAN_LONGEST_MIN))]
    more = phrases.and_more.format(count=100)
    restarted = phrases.short_restarted.format(time=time, span=max(spans, key=count_septets), free=more)
    tests = [write_test("0000", TEST_ANSWER_LONGEST_MIN, each, phrases)[1] for each in stamps]
    return {
        "short_restarted": count_septets(f"{SPEAKER} {restarted}"),
        "test": max(count_septets(text) for text in tests),
        "reply_locked": count_septets(f"{SPEAKER}: {phrases.reply_locked}"),
        "reply_refused": count_septets(f"{SPEAKER}: {phrases.reply_refused.format(time=time)}"),
        "reply_declined": count_septets(f"{SPEAKER}: {phrases.reply_declined.format(code='0000')}"),
    }


def write_test(code: str, minutes: float, stamp: Stamp, phrases: Phrases = ENGLISH) -> tuple[str, str]:
    """Write the test call; return subject and text."""
    at = local_time(stamp.utc_ms, stamp.utc_offset_min)
    time = f"{phrases.weekdays.split()[at.weekday()]} {at:%H:%M}"
    text = phrases.test.format(time=time, code=code, minutes=f"{minutes:g}")
    return f"{SPEAKER} {phrases.test_subject.format(code=code)}", f"{SPEAKER} {text}"
