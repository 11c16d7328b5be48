"""What the page shows, as plain values: no code of an alarm is among them, for whoever has it may answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

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
