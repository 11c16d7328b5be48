"""The daemon as the page sees it: what is open in plain words, and a door for answers."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from controller.core.alarms.lifecycle import SOUNDING, Phase
from controller.core.alarms.wording import MINUTES_SHOWN_MOST, clock_words
from controller.core.foresee import foresee_alarm, see_state
from controller.core.plan.alarm import Response, Watched
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.units import MINUTE_MS
from controller.core.vocabulary import GuessesSeen, TroubleSeen
from controller.daemon import Daemon
from controller.edges.page.server import PageServer
from controller.edges.page.view import AlarmView, PageView, Verdict
from controller.report import describe_silence
from controller.talk import give_answer

URGENCY = {Response.EMERGENCY: 0, Response.TODAY: 1, Response.NOTE: 2}


def serve_page(daemon: Daemon) -> PageServer | None:
    """Open the page if the settings have one; what stands in the way is told as trouble of the settings."""
    page = daemon.engine.state.plan.page
    if page is None:
        return None
    server = PageServer(page, DaemonHost(daemon))
    trouble = server.start()
    if trouble:
        daemon.inbox.put(TroubleSeen(Watched.SETTINGS, trouble))
    return server


class DaemonHost:
    """The daemon, for the page's threads. It reads one state, which never changes once it is made."""

    def __init__(self, daemon: Daemon) -> None:
        self._daemon = daemon

    def view(self) -> PageView:
        """Return what is to be shown now; never a code."""
        state, stamp = self._daemon.engine.state, self._daemon.clock.stamp(0)
        sight = see_state(state)
        alarms, phrases = [], state.plan.phrases
        for name, alarm in state.durable.alarms.items():
            entry = state.roll.entries.get(name)
            if entry is None or alarm.phase is Phase.NORMAL:
                continue
            sensor = state.roll.sensors.get(entry.sensor)
            left_min = entry.time_to_respond_min - (stamp.house_ms - alarm.raised_ms) / MINUTE_MS
            outlook = foresee_alarm(sight, entry)
            if outlook is not None and outlook.least_minutes is not None:
                left_min = outlook.least_minutes
            silence = describe_silence(state, name, alarm, stamp.house_ms)
            alarms.append(
                AlarmView(
                    name=name,
                    response=entry.response,
                    state=phrases.page_nobody if alarm.phase in SOUNDING else alarm.phase.value,
                    detail=alarm.detail,
                    place="" if sensor is None else sensor.place,
                    since="" if silence else clock_words(alarm.raised_utc_ms, stamp, phrases),
                    left="" if silence else write_left(left_min, phrases),
                    action=entry.action,
                    who=alarm.answered_by,
                    silence=silence,
                )
            )
        alarms.sort(key=lambda each: (URGENCY[each.response], each.since))
        return PageView(
            site=state.plan.site.name,
            at=clock_words(stamp.utc_ms, stamp, phrases),
            alarms=tuple(alarms),
            troubles=tuple(f"{part.value}: {text}" for part, text in state.troubles.items()),
            people=tuple(state.roll.persons),
            has_words=bool(self.word_files()),
            phrases=phrases,
        )

    def answer(self, code: str, person: str) -> Verdict:
        """Give a person's answer to the house and wait for what became of it."""
        verdict = give_answer(self._daemon, code, person, "page")
        return Verdict(verdict.taken, verdict.wrong, verdict.text)

    def word_files(self) -> Mapping[str, Path]:
        """Return the file of each person who has a word of their own."""
        persons = self._daemon.engine.state.roll.persons
        return {name: Path(person.word_file) for name, person in persons.items() if person.word_file}

    def guessed(self, client: str) -> None:
        """Tell the house that somebody guesses codes."""
        self._daemon.inbox.put(GuessesSeen(client))


def write_left(left_min: float, phrases: Phrases = ENGLISH) -> str:
    """Write the time until harm."""
    if left_min < 1.0:
        return phrases.page_late
    if left_min <= MINUTES_SHOWN_MOST:
        return phrases.page_left_minutes.format(minutes=f"{left_min:.0f}")
    return phrases.page_left_hours.format(hours=f"{left_min / 60:.0f}")
