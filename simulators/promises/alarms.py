"""Promises about when an alarm sounds and when it ends.

- Unknown is never normal, and a condition that is true sounds within its delay: no bad message, no step of a
  clock and no crash makes it later.
- Nothing sounds without cause: a spike shorter than the delay, chatter inside the deadband and an old value
  kept by the broker wake nobody.
- An alarm ends only after it has been heard to be well for the whole of its off-delay.
- An alarm that sounds does not sound a second time as if it were another.
- A shelf ends.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import AlarmEntry, Kind, Response, Watched
from controller.core.plan.plan import Plan
from controller.core.units import MINUTE_MS, SECOND_MS
from controller.core.vocabulary import (
    AlarmReset,
    AlarmShelved,
    Effect,
    Event,
    Ledger,
    Note,
    ReadingsTaken,
    SettingsChanged,
    Stamp,
    Started,
    TroubleSeen,
)
from simulators.promises.broken import PromiseBroken
from simulators.promises.heard import Case, Hearing

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

SLACK_MS: Final = 90 * SECOND_MS
"""The promises look once a minute; a call may be this late. [ms]"""

SETTLES_MS: Final = 150 * SECOND_MS
"""After a start the daemon has this long before anything is asked of it. [ms]"""

LONGEST_SHELF_MIN: Final = {Response.EMERGENCY: 60.0, Response.TODAY: 1440.0, Response.NOTE: 10080.0}
"""A shelf ends: what kills fish sounds again within the hour, and nothing sleeps for more than a week. [min]"""

TOLD_PARTS: Final = frozenset({Watched.BROKER, Watched.JOURNAL, Watched.HISTORY, Watched.SETTINGS})
"""The parts whose trouble reaches the daemon as an event."""

HIDDEN_MOST_MS: Final = 7 * 1440 * MINUTE_MS
"""An alarm may be hidden by its cause for this long before it is asked for. [ms]"""

CODE: Final = re.compile(r"\[(\d{4})\]")
ENDED: Final = frozenset({"normal", "returned unacknowledged"})


@dataclass(slots=True)
class Status:
    """One alarm as its notes have shown it; times on the house axis [ms].

    It is `unsure` after turns were lost that could not be remembered, until it is heard of again.
    """

    entry: AlarmEntry
    up: bool = False
    code: str = ""
    raised_ms: int = 0
    silent_until_ms: int | None = None
    unsure: bool = False


class AlarmPromises:
    """Watches every alarm.

    Attributes
    ----------
    statuses : dict[str, Status]
        Every alarm that has ever sounded, by name.
    parts : dict[Watched, int]
        Since when a part has been in trouble, on the house axis. [ms]
    began, again, silenced : list
        The alarms that began a new occurrence, sounded again or fell silent in the turn just seen.
    """

    def __init__(self, hearing: Hearing) -> None:
        self.hearing = hearing
        self.statuses: dict[str, Status] = {}
        self.parts: dict[Watched, int] = {}
        self.began: list[Status] = []
        self.again: list[Status] = []
        self.silenced: list[str] = []
        self._maybe_parts: dict[Watched, int] = {}
        self._losses = 0
        self._plan: Plan | None = None

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Take in what the daemon was told, and hold its notes against it."""
        now = stamp.house_ms
        self.began.clear()
        self.again.clear()
        self.silenced.clear()
        if isinstance(event, ReadingsTaken):
            self.hearing.take(event, now, utc_ms=stamp.utc_ms)
        else:
            self._take(run, event, now)
        self._follow_clock(stamp)
        for effect in effects:
            if isinstance(effect, Note) and effect.ledger is Ledger.ALARM:
                self._read(run, effect, now, by_hand=isinstance(event, AlarmReset))

    def _take(self, run: Clockwork, event: Event, now: int) -> None:
        """Take in an event that is no reading."""
        match event:
            case TroubleSeen():
                if event.trouble is None:
                    self.parts.pop(event.part, None)
                    self._maybe_parts.pop(event.part, None)
                else:
                    self.parts.setdefault(event.part, now)
                    # What was so before a start may still be so.
                    self._maybe_parts.setdefault(event.part, now)
            case Started():
                self._start(run, now)
            case SettingsChanged():
                self._follow(run, now)
            case AlarmShelved() if event.person.strip() and event.alarm in self.hearing.cases:
                status = self._status(event.alarm)
                most = LONGEST_SHELF_MIN[status.entry.response]
                # What is no number of minutes may be a minute, and may not be for ever.
                minutes = min(max(event.minutes, 1.0), most) if event.minutes == event.minutes else most
                status.silent_until_ms = now + round(minutes * MINUTE_MS)
                status.up = False
                self.silenced.append(event.alarm)
            case _:
                pass

    def _start(self, run: Clockwork, now: int) -> None:
        """Follow a start: new settings may have come with it, and what was not remembered is lost."""
        if run.plan is not self._plan:
            self._follow(run, now)
        self.hearing.restart(now)
        self.parts.clear()
        if run.memory.losses == self._losses:
            return
        self._losses = run.memory.losses
        if run.memory.document is None:
            self.statuses.clear()
        for status in self.statuses.values():
            status.unsure = True

    def _follow(self, run: Clockwork, now: int) -> None:
        """Follow new settings."""
        self._plan = run.plan
        self.hearing.follow(run.plan, run.entries)
        self.hearing.restarted_ms = now
        entries = {entry.name: entry for entry in run.entries}
        self.statuses = {name: status for name, status in self.statuses.items() if name in entries}
        for name, status in self.statuses.items():
            status.entry = entries[name]

    def _follow_clock(self, stamp: Stamp) -> None:
        """Count a clock that is not trusted as a part in trouble."""
        if not stamp.utc_trusted:
            self.parts.setdefault(Watched.CLOCK, stamp.house_ms)
        elif Watched.CLOCK in self.parts:
            del self.parts[Watched.CLOCK]

    def _status(self, name: str) -> Status:
        if name not in self.statuses:
            self.statuses[name] = Status(self.hearing.cases[name].entry)
        return self.statuses[name]

    def _read(self, run: Clockwork, note: Note, now: int, *, by_hand: bool) -> None:
        """Hold a note of the daemon against what it was told."""
        case = self.hearing.cases.get(note.subject)
        if case is None:
            return
        status = self._status(note.subject)
        found = CODE.search(note.text)
        code = "" if found is None else found.group(1)
        was_silent = status.silent_until_ms is not None
        was_unsure, status.unsure = status.unsure, False
        if note.rule == "unacknowledged":
            status.silent_until_ms = None
            if was_unsure:
                status.up = False
            if status.up and code != status.code:
                raise PromiseBroken(run, "an alarm that sounds does not sound a second time", note.text)
            if not status.up and not was_silent and not was_unsure:
                self._ask_cause(run, case, note, now)
            if not status.up:
                status.raised_ms = now
            new, was_up = code != status.code or was_silent, status.up
            status.up, status.code = True, code
            if new:
                self.began.append(status)
            elif was_up:
                self.again.append(status)
        elif note.rule in ENDED and status.up:
            status.up = False
            if not by_hand:
                self._ask_wellness(run, case, note, now)
        elif note.rule in ENDED:
            status.silent_until_ms = None
        elif note.rule == "suppressed by design":
            causes = status.entry.suppressed_by
            if not any(cause in self.statuses and self.statuses[cause].up for cause in causes):
                raise PromiseBroken(run, "only an open cause hides what follows from it", note.text)
            status.up = False
            status.silent_until_ms = now + HIDDEN_MOST_MS
            self.silenced.append(note.subject)

    def _ask_cause(self, run: Clockwork, case: Case, note: Note, now: int) -> None:
        """Ask why an alarm sounds: it must have been so, as far as anybody can tell, for the whole on-delay."""
        entry = case.entry
        delay_ms = round(entry.on_delay_s * SECOND_MS)
        since: int | None
        if entry.kind is Kind.DUE or (entry.kind is not Kind.FAULT and self._is_reckoned(entry)):
            return
        if entry.kind is Kind.FAULT:
            if entry.of not in TOLD_PARTS:
                return
            since = self._maybe_parts.get(entry.of)
        elif entry.kind is Kind.MISSING:
            voice = self.hearing.voices[entry.sensor]
            since = (voice.surely_heard_ms or 0) + voice.stale_ms
        else:
            since = case.maybe_ms
        if since is None or now - since < delay_ms:
            lasted = "never" if since is None else f"for {(now - since) / SECOND_MS:.0f} s"
            raise PromiseBroken(
                run,
                "nothing sounds without cause",
                f"{entry.name} sounds ({note.text}); it was so {lasted}, the delay is {entry.on_delay_s:g} s",
            )

    def _is_reckoned(self, entry: AlarmEntry) -> bool:
        """Tell whether an entry watches what no sensor says: values reckoned from others, or entered by hand."""
        voice = self.hearing.voices.get(entry.sensor)
        return voice is None or (voice.heard_ms is None and entry.kind is not Kind.MISSING)

    def _ask_wellness(self, run: Clockwork, case: Case, note: Note, now: int) -> None:
        """Ask why an alarm ends: it must have been heard to be well for the whole off-delay."""
        entry = case.entry
        if entry.kind in {Kind.FAULT, Kind.DUE} or entry.latching or self._is_reckoned(entry):
            return
        voice = self.hearing.voices[entry.sensor]
        delay_ms = round(entry.off_delay_s * SECOND_MS)
        silent_ms = now - (voice.heard_ms or 0)
        if case.well_ms is None or now - case.well_ms < delay_ms or silent_ms > voice.stale_ms + MINUTE_MS:
            lasted = "never" if case.well_ms is None else f"for {(now - case.well_ms) / SECOND_MS:.0f} s"
            raise PromiseBroken(
                run,
                "unknown is never normal",
                f"{entry.name} ends ({note.text}); it was heard to be well {lasted}, "
                f"the off-delay is {entry.off_delay_s:g} s; last heard {silent_ms / SECOND_MS:.0f} s ago",
            )

    def minute(self, run: Clockwork) -> None:
        """Look for what should sound and does not."""
        if run.away:
            return
        now = run.clocks.house_ms(run.now_utc_ms)
        if now - self.hearing.restarted_ms < SETTLES_MS:
            return
        for case in self._uneasy(now):
            since = case.surely_ms
            if case.entry.kind is Kind.MISSING:
                voice = self.hearing.voices.get(case.entry.sensor)
                if voice is None or not voice.sensor.topic:
                    continue
                heard_ms = voice.heard_ms or 0
                if now - heard_ms < voice.stale_ms:
                    continue
                since = max(heard_ms, self.hearing.restarted_ms) + voice.stale_ms
            elif case.entry.kind is Kind.FAULT:
                began = self.parts.get(case.entry.of) if case.entry.of is not None else None
                since = None if began is None else max(began, self.hearing.restarted_ms + SETTLES_MS)
            elif since is not None:
                voice = self.hearing.voices[case.entry.sensor]
                if now - (voice.heard_ms or 0) > voice.stale_ms:
                    continue
            if since is not None and now - since >= case.entry.on_delay_s * SECOND_MS + SLACK_MS:
                self._ask_sound(run, case, now, since)

    def _uneasy(self, now: int) -> list[Case]:
        """List the entries that may have something to say: most sensors are calm at most times."""
        cases = [
            case
            for voice in self.hearing.voices.values()
            if not voice.calm or voice.heard_ms is None or now - voice.heard_ms >= voice.stale_ms
            for case in voice.cases
        ]
        if self.parts:
            cases.extend(case for case in self.hearing.cases.values() if case.entry.kind is Kind.FAULT)
        return cases

    def _ask_sound(self, run: Clockwork, case: Case, now: int, since: int) -> None:
        """Ask whether an alarm whose condition has lasted sounds, or is silenced until an instant."""
        status = self.statuses.get(case.entry.name)
        if status is not None:
            if status.up or status.unsure:
                return
            until = status.silent_until_ms
            if until is not None:
                if now < until + SLACK_MS:
                    return
                raise PromiseBroken(run, "a shelf ends", f"{case.entry.name} is wrong and stays silent")
        raise PromiseBroken(
            run,
            "what is wrong sounds in time",
            f"{case.entry.name} has been wrong for {(now - since) / SECOND_MS:.0f} s and does not sound; "
            f"its delay is {case.entry.on_delay_s:g} s",
        )
