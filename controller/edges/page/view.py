"""What the page shows, as plain values: no code of an alarm is among them, for whoever has it may answer."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, Protocol

from controller.core.plan.alarm import Response
from controller.core.plan.phrases import ENGLISH, Phrases


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One open alarm. `left` is the time until harm in words, `who` has it, `silence` says why it is quiet."""

    name: str
    response: Response
    state: str
    detail: str
    place: str
    since: str
    left: str
    action: str
    who: str = ""
    silence: str = ""


@dataclass(frozen=True, slots=True)
class PageView:
    """Everything on the page.

    `at` is the local time; `troubles` is what ails Duskbell itself; with `has_words` somebody answers with a
    word of their own. `phrases` are the page's own words.
    """

    site: str
    at: str
    alarms: tuple[AlarmView, ...]
    troubles: tuple[str, ...]
    people: tuple[str, ...]
    has_words: bool = False
    phrases: Phrases = ENGLISH


_NUMBER: Final = re.compile(r"(?:\+|(?<![0-9.,:])0)[0-9]{5,13}([0-9]{2})(?![0-9])")
"""A telephone number, of the country (ITU-T E.164: up to fifteen digits) or with a leading 0; its last two are kept."""


def veil(view: PageView) -> PageView:
    """Return the page for somebody who has not signed in: of a telephone number only the last two digits are told."""
    alarms = tuple(replace(alarm, detail=_veil_text(alarm.detail)) for alarm in view.alarms)
    return replace(view, alarms=alarms, troubles=tuple(map(_veil_text, view.troubles)))


def _veil_text(text: str) -> str:
    return _NUMBER.sub(r"a number ending in \1", text)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of an answer; `wrong` says that the code stands for nothing."""

    taken: bool
    wrong: bool
    text: str


class Host(Protocol):
    """The daemon, as the page sees it. Called by many threads."""

    def view(self) -> PageView:
        """Return what is to be shown now."""
        ...

    def answer(self, code: str, person: str) -> Verdict:
        """Give a person's answer to the house and wait, a bounded time, for what became of it."""
        ...

    def word_files(self) -> Mapping[str, Path]:
        """Return the file of each person who has a word of their own."""
        ...

    def guessed(self, client: str) -> None:
        """Tell the house that somebody guesses codes, from which address."""
        ...
