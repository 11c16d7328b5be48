"""Promises about calling people.

- An alarm that sounds calls somebody, and goes on calling until a named person has answered for this very
  occurrence; a crash does not end the calls.
- Only a named person's answer with the code of the occurrence ends them, and such an answer does.
- An answered alarm lets people sleep until its time is over; if it is still wrong then, it sounds again.
- What can wait for the end of the quiet hours does.
- No two occurrences share a code.
- Messages about what can wait are bounded.
"""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import AlarmEntry, Kind, Response, Watched
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.vocabulary import (
    AnswerGiven,
    Effect,
    EffectDone,
    EffectFailed,
    Event,
    Ledger,
    Note,
    ReplyReceived,
    SendMessage,
    SettingsChanged,
    Stamp,
    Started,
    ValueEntered,
)
from simulators.promises.alarms import SETTLES_MS, SLACK_MS, AlarmPromises
from simulators.promises.broken import PromiseBroken
from simulators.promises.quiet import QuietHours

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

CODES: Final = re.compile(r"\b(\d{4})\b")
NO_ANSWER: Final = re.compile(r"automatic|out of (the )?office|\b(no|not)\b", re.IGNORECASE)
"""A machine's words, or a refusal: no answer, whatever code stands beside them."""

MANY: Final = re.compile(r": \d+ x, ")
"""The subject of one message about many alarms."""

ROUNDS_MORE: Final = 25
"""Rounds of the list in an hour in which messages are refused."""

GATHER_MS: Final = 3 * MINUTE_MS
"""In a flood, what can wait may wait this long for others. [ms]"""

AFTER_QUIET_MS: Final = 65 * MINUTE_MS
"""After quiet hours the calls that waited come within this. [ms]"""


WAYS_BROKEN: Final = frozenset({Watched.MESSAGES, Watched.MODEM, Watched.SIREN})
"""Faults of the ways to people themselves."""

TOLD_WITHIN_MS: Final = 30 * MINUTE_MS
"""Room for a first person who is not reached, and for the next. [ms]"""


@dataclass(slots=True)
class Call:
    """The calls of one occurrence; times on the house axis [ms]."""

    entry: AlarmEntry
    code: str
    began_ms: int
    waits_ms: int
    last_ms: int | None = None
    answered_ms: int | None = None
    freed: bool = False


@dataclass(slots=True)
class Pace:
    """How often the call list of a response calls, from the settings [ms]."""

    first_ms: int
    longest_gap_ms: int
    most_an_hour: int


@dataclass(slots=True)
class CallPromises:
    """Watches every call. `calls` holds the last occurrence of every alarm that calls people.

    `refused` names the ways to people that refused the last message they were given; `heard_ms` is when somebody
    answered last, rightly or not, on the house axis [ms].
    """

    alarms: AlarmPromises
    calls: dict[str, Call] = field(default_factory=dict)
    _quiet: QuietHours | None = None
    _codes: set[str] = field(default_factory=set)
    _tests: set[str] = field(default_factory=set)
    _lost_codes: set[str] = field(default_factory=set)
    _paces: dict[Response, Pace] | None = None
    _recent: dict[str, deque[int]] = field(default_factory=dict)
    _failures: deque[int] = field(default_factory=deque)
    _losses: int = 0
    _wrong_texts: bool = False
    _ways: dict[str, str] = field(default_factory=dict)
    refused: set[str] = field(default_factory=set)
    heard_ms: int = 0

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Follow answers and calls."""
        now = stamp.house_ms
        right = False
        if isinstance(event, AnswerGiven | ReplyReceived):
            self.heard_ms = now
        match event:
            case AnswerGiven():
                right = self._take_answer(event, now)
            case ReplyReceived():
                right = self._take_reply(run, event, effects, now)
            case ValueEntered() if event.person.strip():
                self._take_test(event, now)
            case Started():
                self._start(run)
            case SettingsChanged():
                self._change(run)
            case EffectFailed():
                self._failures.append(now)
                self.refused.add(self._ways.pop(event.effect_id, ""))
            case EffectDone():
                self.refused.discard(self._ways.pop(event.effect_id, ""))
            case _:
                pass
        for name in self.alarms.silenced:
            self.calls.pop(name, None)
        for status in self.alarms.began:
            self._begin(run, status.entry, status.code, now)
        for status in self.alarms.again:
            self._sound_again(run, status.entry, now)
        answered = False
        for effect in effects:
            if isinstance(effect, SendMessage):
                self._ways[effect.effect_id] = f"{effect.way.value} to {effect.person}"
                self._see(run, effect, stamp)
            elif isinstance(effect, Note) and effect.ledger is Ledger.CALL and effect.rule == "answered":
                answered = True
        lost = (
            isinstance(event, AnswerGiven) and event.person.strip() and event.code.strip() in self._lost_codes
        )
        lost = lost or (
            isinstance(event, ReplyReceived) and bool(set(CODES.findall(event.text)) & self._lost_codes)
        )
        if answered and not right and not lost:
            raise PromiseBroken(
                run, "only a named person's answer to this occurrence counts", f"{event!r} was taken"
            )
        if right and not answered and isinstance(event, AnswerGiven):
            raise PromiseBroken(run, "a right answer is taken", f"{event!r} was not taken")

    def _take_answer(self, event: AnswerGiven, now: int) -> bool:
        """Reckon whether an answer is right: a named person, and the code of an open call or a test."""
        code = event.code.strip()
        if not event.person.strip() or not code:
            return False
        for call in self.calls.values():
            if call.answered_ms is None and call.code == code:
                call.answered_ms = now
                call.freed = False
                return True
        if code in self._tests:
            self._tests.discard(code)
            return True
        return False

    def _take_reply(
        self, run: Clockwork, event: ReplyReceived, effects: tuple[Effect, ...], now: int
    ) -> bool:
        """Reckon whether a reply may be, and must be, an answer: a known number, and the code of an open call."""
        known = any(person.phone and person.phone == event.sender for person in run.plan.person)
        codes = set(CODES.findall(event.text)) if known and not NO_ANSWER.search(event.text) else set()
        taken = {
            effect.subject
            for effect in effects
            if isinstance(effect, Note) and effect.ledger is Ledger.CALL and effect.rule == "answered"
        }
        right = False
        for name, call in self.calls.items():
            if call.answered_ms is None and call.code in codes:
                if name in taken:
                    call.answered_ms, call.freed, right = now, False, True
                elif event.text.strip() == call.code and not self._wrong_texts:
                    raise PromiseBroken(run, "a right answer is taken", f"{event!r} was not taken")
        if codes & self._tests and "test" in taken:
            self._tests -= codes
            right = True
        if not right and known and codes:
            # Five wrong codes in an hour, and a number is refused.
            self._wrong_texts = True
        return right

    def _take_test(self, event: ValueEntered, now: int) -> None:
        """Let a test that is entered answer the reminder that it is due."""
        for call in self.calls.values():
            if call.entry.kind is Kind.DUE and call.entry.sensor == event.sensor and call.answered_ms is None:
                call.answered_ms = now

    def _start(self, run: Clockwork) -> None:
        """Follow a start: new settings may have come with it, and what was not remembered is lost."""
        self._paces = self._quiet = None
        if run.memory.losses == self._losses:
            return
        self._losses = run.memory.losses
        # An occurrence that was forgotten may have its code given again, and one that was ended go on.
        self._lost_codes |= self._codes
        self._codes.clear()
        self.calls.clear()

    def _change(self, run: Clockwork) -> None:
        """Follow new settings: calls of entries that are gone end; who was told may be gone."""
        self._paces = None
        self._quiet = None
        entries = {entry.name: entry for entry in run.entries}
        self.calls = {name: call for name, call in self.calls.items() if name in entries}
        for name, call in self.calls.items():
            call.entry = entries[name]
            call.freed = True

    def _begin(self, run: Clockwork, entry: AlarmEntry, code: str, now: int) -> None:
        """Follow a new occurrence."""
        call = self.calls.get(entry.name)
        if call is not None and call.answered_ms is None:
            if call.code == code:
                return
            text = f"{entry.name}: {call.code} was never answered, and {code} begins"
            raise PromiseBroken(run, "every occurrence is called until it is answered", text)
        if code in self._codes:
            raise PromiseBroken(run, "no two occurrences share a code", f"{code} comes again: {entry.name}")
        self._codes.add(code)
        self.calls[entry.name] = Call(entry, code, now, now)

    def _sound_again(self, run: Clockwork, entry: AlarmEntry, now: int) -> None:
        """Follow an answered alarm that sounds again."""
        call = self.calls.get(entry.name)
        if call is None:
            return
        if call.answered_ms is not None and not call.freed:
            quiet_ms = round(entry.sound_again_min * MINUTE_MS)
            if now - call.answered_ms < quiet_ms:
                text = f"{entry.name} was answered {(now - call.answered_ms) / MINUTE_MS:.1f} min ago, and sounds"
                raise PromiseBroken(run, "an answered alarm lets people sleep", text)
        call.answered_ms = call.last_ms = None
        call.freed = False
        call.waits_ms = now

    def _see(self, run: Clockwork, message: SendMessage, stamp: Stamp) -> None:
        """Follow one message: find the alarms it calls for."""
        now = stamp.house_ms
        phrases = run.plan.phrases
        subject = message.subject
        if message.thread.startswith("test/"):
            self._tests.update(CODES.findall(message.text))
        about = self.alarms.hearing.cases.get(message.thread.rpartition("/")[0])
        if about is not None:
            self._count(run, about.entry, now)
        if not subject.startswith((f"DUSKBELL {phrases.emergency}:", f"DUSKBELL {phrases.today}:")):
            return
        many = MANY.search(subject) is not None
        codes = set(CODES.findall(message.text))
        for call in self.calls.values():
            if call.answered_ms is None and (many or call.code in codes):
                call.last_ms = now
            if not many and call.code in codes:
                self._ask_sleep(run, call, stamp)

    def _ask_sleep(self, run: Clockwork, call: Call, stamp: Stamp) -> None:
        """Ask whether this call may wake people now."""
        now = stamp.house_ms
        if call.answered_ms is not None and not call.freed:
            text = f"{call.entry.name} [{call.code}] calls although somebody has it"
            raise PromiseBroken(run, "an answered alarm lets people sleep", text)
        # That the night's calls would fail is told at once, and then waits like everything else.
        new_break = call.entry.of in WAYS_BROKEN and now - call.began_ms <= TOLD_WITHIN_MS
        if call.entry.response is Response.TODAY and not new_break:
            left_ms = self._quiet_hours(run).left_ms(stamp)
            spare_min = call.entry.time_to_respond_min - run.plan.call_rules.call_out_and_travel_min
            if left_ms and call.began_ms + spare_min * MINUTE_MS > now + left_ms + 10 * MINUTE_MS:
                text = (
                    f"{call.entry.name} calls with {left_ms / MINUTE_MS:.0f} quiet min to go, and could wait"
                )
                raise PromiseBroken(run, "what can wait lets people sleep", text)

    def _quiet_hours(self, run: Clockwork) -> QuietHours:
        """Return the quiet hours of the settings."""
        if self._quiet is None:
            rules = run.plan.call_rules
            self._quiet = QuietHours.read(rules.quiet_from, rules.quiet_to)
        return self._quiet

    def _count(self, run: Clockwork, entry: AlarmEntry, now: int) -> None:
        """Count the messages about what can wait."""
        if entry.response is Response.EMERGENCY:
            return
        recent = self._recent.setdefault(entry.name, deque())
        recent.append(now)
        while recent[0] < now - HOUR_MS:
            recent.popleft()
        while self._failures and self._failures[0] < now - HOUR_MS:
            self._failures.popleft()
        pace = self._pace(run).get(Response.TODAY)
        most = 0 if pace is None else pace.most_an_hour
        if self._failures and most:
            # The list is tried again with growing waits while nobody is reached.
            most += ROUNDS_MORE * max(1, len(run.plan.person))
        if len(recent) > most:
            text = f"{entry.name}: {len(recent)} in an hour"
            raise PromiseBroken(run, "messages about what can wait are bounded", text)

    def minute(self, run: Clockwork) -> None:
        """Look for calls that should have come and did not."""
        if run.away:
            return
        stamp = run.clocks.stamp(run.now_utc_ms)
        now = stamp.house_ms
        if now - self.alarms.hearing.restarted_ms < SETTLES_MS:
            return
        paces = self._pace(run)
        for call in self.calls.values():
            pace = paces.get(call.entry.response)
            if pace is None or call.entry.kind is Kind.DUE:
                continue
            if call.answered_ms is not None:
                self._ask_again(run, call, now)
                continue
            wait_ms = pace.first_ms if call.last_ms is None else pace.longest_gap_ms
            since_ms = call.waits_ms if call.last_ms is None else call.last_ms
            if now - since_ms <= wait_ms + SLACK_MS:
                continue
            if call.entry.response is Response.TODAY and self._may_wait(run, call, stamp, since_ms + wait_ms):
                continue
            text = (
                f"{call.entry.name} [{call.code}] has not called for {(now - since_ms) / MINUTE_MS:.0f} min"
            )
            raise PromiseBroken(run, "every occurrence is called until it is answered", text)

    def _may_wait(self, run: Clockwork, call: Call, stamp: Stamp, due_ms: int) -> bool:
        """Tell whether a call that can wait may still do so: for others of a flood, or for the morning."""
        now = stamp.house_ms
        if now - due_ms <= GATHER_MS:
            return True
        spare_min = call.entry.time_to_respond_min - run.plan.call_rules.call_out_and_travel_min
        in_time = call.began_ms + spare_min * MINUTE_MS > now - AFTER_QUIET_MS
        return in_time and self._quiet_hours(run).near(stamp, AFTER_QUIET_MS)

    def _ask_again(self, run: Clockwork, call: Call, now: int) -> None:
        """Ask whether an answered alarm that is still wrong sounds again when its time is over."""
        answered_ms = call.answered_ms
        since = self.alarms.hearing.cases[call.entry.name].surely_ms
        if answered_ms is None or since is None or since > answered_ms:
            return
        stamp = run.clocks.stamp(run.now_utc_ms)
        due_ms = answered_ms + round(call.entry.sound_again_min * MINUTE_MS)
        if now - due_ms > SLACK_MS:
            if call.entry.response is Response.TODAY and self._may_wait(run, call, stamp, due_ms):
                return
            text = f"{call.entry.name} was answered {(now - answered_ms) / MINUTE_MS:.0f} min ago and is still wrong"
            raise PromiseBroken(run, "what is answered and stays wrong sounds again", text)

    def _pace(self, run: Clockwork) -> dict[Response, Pace]:
        """Reckon the paces from the settings."""
        if self._paces is None:
            rules, paces = run.plan.call_rules, {}
            for response, repeat in (
                (Response.EMERGENCY, rules.repeat_min),
                (Response.TODAY, rules.repeat_today_min),
            ):
                steps = [step for step in run.plan.call if step.response is response]
                if not steps:
                    continue
                times = sorted(step.after_min for step in steps)
                gaps = [after - before for before, after in pairwise(times)]
                each = sum(len(step.people) * len(step.ways) for step in steps)
                paces[response] = Pace(
                    round(times[0] * MINUTE_MS),
                    round(max([repeat, *gaps]) * MINUTE_MS),
                    # The list, its repeats, and as much again for what is answered and what is over.
                    4 * each * (2 + int(60.0 / repeat)),
                )
            self._paces = paces
        return self._paces
