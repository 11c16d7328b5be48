"""What the calls of some weeks came to, and which settings to change: from the record alone.

An alarm that nobody acts on is not an alarm. The report counts, for each entry of the list, how often it
called, how often it was over before anybody did anything, and how often it trembled, stood or was shelved; the
worst come first, each with the setting to look at.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.phrases import Phrases
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS, UtcMs
from controller.core.vocabulary import Ledger
from controller.edges.journal_schema import NoteLine
from controller.occurrences import Occurrence, gather_occurrences, is_call

WORST: Final = 10
"""Entries in the list of the worst: EEMUA 191 looks at the ten most frequent."""

NIGHT_FROM_H: Final = 22
NIGHT_TO_H: Final = 6
"""A night, by local time. [h]"""

FLEETING_MS: Final = 5 * MINUTE_MS
"""Over by itself so soon and unanswered: fleeting (our choice; published definitions speak of seconds). [ms]"""

STALE_MS: Final = DAY_MS
"""Active for longer than a day: stale (EEMUA 191, ISA-18.2). [ms]"""

CHATTER_TIMES: Final = 3
CHATTER_MS: Final = HOUR_MS
"""So many times within so long: chattering. The published three a minute cannot pass an on-delay of a minute,
so the hour is our choice. [ms]"""

SHORTEST_STEP_S: Final = 30
"""Delays are proposed in steps of this. [s]"""


@dataclass(frozen=True, slots=True)
class EntryReport:
    """One entry of the list over the time looked at."""

    alarm: str
    calls: int
    never_acted_on: int
    fleeting: int
    stale: int
    chattering: bool
    shelved: int
    lapsed: int
    setting: str
    advice: str

    @property
    def badness(self) -> tuple[int, int]:
        """Rank: calls for nothing first, then all that woke somebody without need."""
        bad = (
            self.never_acted_on + self.fleeting + self.stale + self.shelved + CHATTER_TIMES * self.chattering
        )
        return bad, self.calls


@dataclass(frozen=True, slots=True)
class CallReport:
    """The whole report. `calls_by_person` counts messages that asked somebody to act.

    `others` counts the calls of entries that are not among the worst, so that every call stands somewhere.
    """

    days: float
    calls: int
    calls_per_week: float
    nights_broken: int
    never_acted_on: int
    fleeting: int
    stale: int
    shelved: int
    chattering: tuple[str, ...]
    calls_by_person: Mapping[str, int]
    answered_within_min: float | None
    worst: tuple[EntryReport, ...]
    others: Mapping[str, int] = field(default_factory=dict)


def report_calls(
    notes: Iterable[NoteLine],
    entries: Mapping[str, AlarmEntry],
    *,
    from_utc_ms: UtcMs,
    to_utc_ms: UtcMs,
    zone: ZoneInfo,
    phrases: Phrases,
) -> CallReport:
    """Make the report from the notes of a span, in order of time."""
    lines = list(notes)
    occurrences = gather_occurrences(lines, phrases)
    shelved = [line.subject for line in lines if line.ledger is Ledger.ALARM and line.rule == "shelved"]
    called = [each for each in occurrences if each.calls_ms]
    names = dict.fromkeys([each.alarm for each in occurrences] + shelved)
    reports = [
        _report_entry(
            name,
            [each for each in occurrences if each.alarm == name],
            shelved.count(name),
            entries.get(name),
            to_utc_ms,
        )
        for name in names
    ]
    worst = sorted((each for each in reports if each.badness[0]), key=lambda each: each.badness, reverse=True)
    days = max((to_utc_ms - from_utc_ms) / DAY_MS, 1e-9)
    waits = sorted(
        (each.answered_ms - each.calls_ms[0]) / MINUTE_MS for each in called if each.answered_ms is not None
    )
    return CallReport(
        days=days,
        calls=len(called),
        calls_per_week=len(called) * 7 / days,
        nights_broken=len(
            {night for each in called for at in each.calls_ms if (night := find_night(at, zone))}
        ),
        never_acted_on=sum(each.answered_ms is None and each.over_ms is not None for each in called),
        fleeting=sum(_is_fleeting(each) for each in occurrences),
        stale=sum(_is_stale(each, to_utc_ms) for each in occurrences),
        shelved=len(shelved),
        chattering=tuple(each.alarm for each in reports if each.chattering),
        calls_by_person=_count_people(lines, phrases),
        answered_within_min=waits[len(waits) // 2] if waits else None,
        worst=tuple(worst[:WORST]),
        others={each.alarm: each.calls for each in reports if each.calls and each not in worst[:WORST]},
    )


def _count_people(notes: Sequence[NoteLine], phrases: Phrases) -> dict[str, int]:
    """Count the calls each person was sent."""
    counts: dict[str, int] = {}
    for line in notes:
        if line.ledger is Ledger.CALL and line.rule == "queued" and is_call(line.text, phrases):
            person = line.text.removeprefix("to ").partition(" by ")[0]
            counts[person] = counts.get(person, 0) + 1
    return dict(sorted(counts.items()))


def find_night(utc_ms: UtcMs, zone: ZoneInfo) -> str:
    """Name the night an instant falls into by the date of its evening; empty by day."""
    at = datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(zone)
    if at.hour >= NIGHT_FROM_H:
        return at.date().isoformat()
    return (at.date() - timedelta(days=1)).isoformat() if at.hour < NIGHT_TO_H else ""


def _is_fleeting(one: Occurrence) -> bool:
    answered_first = one.answered_ms is not None and (one.over_ms is None or one.answered_ms <= one.over_ms)
    return one.over_ms is not None and one.over_ms - one.raised_ms <= FLEETING_MS and not answered_first


def _is_stale(one: Occurrence, now_ms: UtcMs) -> bool:
    return (now_ms if one.over_ms is None else one.over_ms) - one.raised_ms > STALE_MS


def _chatters(occurrences: Sequence[Occurrence]) -> bool:
    """Tell whether it came so often within an hour; a return and a new raise count alike."""
    times = sorted(each.raised_ms for each in occurrences for _ in range(each.raises))
    return any(
        last - first <= CHATTER_MS for first, last in zip(times, times[CHATTER_TIMES - 1 :], strict=False)
    )


def _report_entry(
    name: str, mine: Sequence[Occurrence], shelved: int, entry: AlarmEntry | None, now_ms: UtcMs
) -> EntryReport:
    calls = sum(bool(each.calls_ms) for each in mine)
    never = sum(
        bool(each.calls_ms) and each.answered_ms is None and each.over_ms is not None for each in mine
    )
    fleeting = sum(_is_fleeting(each) for each in mine)
    stale = sum(_is_stale(each, now_ms) for each in mine)
    chattering, lapsed = _chatters(mine), sum(each.lapses for each in mine)
    setting, advice = _advise(
        entry,
        mine,
        never=never,
        fleeting=fleeting,
        stale=stale,
        chattering=chattering,
        shelved=shelved,
        lapsed=lapsed,
    )
    return EntryReport(name, calls, never, fleeting, stale, chattering, shelved, lapsed, setting, advice)


def _advise(
    entry: AlarmEntry | None,
    mine: Sequence[Occurrence],
    *,
    never: int,
    fleeting: int,
    stale: int,
    chattering: bool,
    shelved: int,
    lapsed: int,
) -> tuple[str, str]:
    """Name the setting to change first, and why."""
    if entry is None:
        return "", "the list has no such entry any more"
    limits = entry.kind in {Kind.HIGH, Kind.LOW, Kind.RATE}
    if chattering and limits:
        return (
            "deadband",
            f"it trembles round its limit: more `deadband` than {entry.deadband:g}, or more `off_delay_s`",
        )
    if chattering:
        return "off_delay_s", f"it comes and goes: more `off_delay_s` than {entry.off_delay_s:g}"
    if fleeting * 2 >= len(mine) and fleeting:
        delay_s = propose_delay_s(entry, mine)
        if delay_s is not None:
            return "on_delay_s", (
                f"over by itself soon: `on_delay_s = {delay_s:g}` (now {entry.on_delay_s:g}) would have spared half"
            )
        return (
            "limit",
            "over by itself soon, but a longer delay would leave too little time: look at `limit` or the sensor",
        )
    if stale:
        return (
            "limit",
            "it stood for more than a day: mend what is wrong, or set `limit` so that it means something",
        )
    if never * 2 > len(mine):
        calmer = "today" if entry.response is Response.EMERGENCY else "note"
        return "response", f"nobody acts on it: if nobody needs to, `response` is `{calmer}`"
    if shelved:
        return (
            "limit",
            "it is shelved again and again: look at `limit`, or take it out of service with a replacement",
        )
    if lapsed:
        return (
            "sound_again_min",
            f"answered and still wrong: more `sound_again_min` than {entry.sound_again_min:g} if the work takes longer",
        )
    return "", ""


def propose_delay_s(entry: AlarmEntry, mine: Sequence[Occurrence]) -> float | None:
    """Propose the on-delay [s] that would have spared half of the fleeting ones; None if there is no time for it.

    Half of the time to respond belongs to people.
    """
    lasted = sorted(
        (each.over_ms - each.raised_ms) / SECOND_MS
        for each in mine
        if _is_fleeting(each) and each.over_ms is not None
    )
    if not lasted:
        return None
    # What was over was over for the off-delay already; the condition itself lasted so much less.
    middle = lasted[len(lasted) // 2] - entry.off_delay_s
    wanted = entry.on_delay_s + max(middle, 0.0) + 1.0
    delay_s = math.ceil(wanted / SHORTEST_STEP_S) * SHORTEST_STEP_S
    return float(delay_s) if delay_s <= entry.time_to_respond_min * 30.0 else None


def describe_report(report: CallReport) -> dict[str, Any]:
    """Return the report for machines, with stable keys."""
    return asdict(report)


def write_report(report: CallReport) -> str:
    """Write the report for people: the numbers, then the worst entries with what to change."""
    lines = [
        f"Calls in {report.days:.0f} days: {report.calls}, which is {report.calls_per_week:.1f} a week",
        f"Nights broken ({NIGHT_FROM_H} to {NIGHT_TO_H:02d}): {report.nights_broken}",
        (
            f"Over before anybody answered: {report.never_acted_on}; fleeting: {report.fleeting}; "
            f"stale: {report.stale}; shelved: {report.shelved}"
        ),
        f"Chattering: {', '.join(report.chattering) or 'none'}",
        "Calls by person: "
        + (", ".join(f"{who} {count}" for who, count in report.calls_by_person.items()) or "none"),
    ]
    if report.answered_within_min is not None:
        lines.append(f"Half of the answers came within {report.answered_within_min:.0f} min")
    if not report.worst:
        lines.append("No entry calls for a change.")
    for number, each in enumerate(report.worst, start=1):
        facts = [
            f"{count} {word}"
            for count, word in (
                (each.calls, "call" if each.calls == 1 else "calls"),
                (each.never_acted_on, "never acted on"),
                (each.fleeting, "fleeting"),
                (each.stale, "stale"),
                (each.shelved, "shelved"),
                (each.lapsed, "sounded again"),
            )
            if count
        ]
        lines.append(f"{number:2}. {each.alarm}: {', '.join(facts)}")
        if each.advice:
            lines.append(f"    {each.advice}")
    if report.others:
        listed = ", ".join(f"{name} {calls}" for name, calls in report.others.items())
        lines.append(f"Other calls, about which nothing is to be said: {listed}")
    return "\n".join(lines)
