"""Occurrences of alarms as the record tells them: raised, called for, answered, over."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from controller.core.alarms.lifecycle import Trigger
from controller.core.alarms.wording import write_head
from controller.core.plan.alarm import Response
from controller.core.plan.phrases import Phrases
from controller.core.units import UtcMs
from controller.core.vocabulary import Ledger
from controller.edges.journal_schema import NoteLine

_CODE: Final = re.compile(r"\[(\d{4})\]$")


@dataclass(slots=True)
class Occurrence:
    """One alarm from its raising to its end, as the record tells it. Times in UTC, in milliseconds."""

    alarm: str
    code: str
    raised_ms: UtcMs
    over_ms: UtcMs | None = None
    answered_ms: UtcMs | None = None
    calls_ms: list[UtcMs] = field(default_factory=list)
    raises: int = 1
    lapses: int = 0


def gather_occurrences(notes: Sequence[NoteLine], phrases: Phrases) -> list[Occurrence]:
    """Put the notes of each occurrence together; what began before the first note is left out."""
    found: list[Occurrence] = []
    latest: dict[str, Occurrence] = {}
    for line in notes:
        if line.ledger is Ledger.ALARM:
            code = _CODE.search(line.text)
            if code is not None:
                _follow_alarm(line, code[1], found, latest)
        elif line.ledger is Ledger.CALL and line.subject in latest:
            one = latest[line.subject]
            if line.rule == "answered":
                one.answered_ms = line.utc_ms if one.answered_ms is None else one.answered_ms
            elif line.rule == "queued" and is_call(line.text, phrases):
                one.calls_ms.append(line.utc_ms)
    return found


def _follow_alarm(line: NoteLine, code: str, found: list[Occurrence], latest: dict[str, Occurrence]) -> None:
    """Follow one alarm through one note."""
    one = latest.get(line.subject)
    if line.text.startswith((f"{Trigger.RAISE.value}:", f"{Trigger.RELEASE_ACTIVE.value}:")):
        if one is not None and one.code == code:
            one.raises, one.over_ms = one.raises + 1, None
            return
        latest[line.subject] = Occurrence(line.subject, code, line.utc_ms)
        found.append(latest[line.subject])
    elif one is None or one.code != code:
        return
    elif line.text.startswith((f"{Trigger.RETURN.value}:", f"{Trigger.RETURN_LATCHED.value}:")):
        one.over_ms = line.utc_ms
    elif line.text.startswith(f"{Trigger.SOUND_AGAIN.value}:"):
        one.lapses += 1


def is_call(text: str, phrases: Phrases) -> bool:
    """Tell whether a queued message asked somebody to act, and did not only tell them something."""
    _, _, words = text.partition(": ")
    return words.startswith((write_head(Response.EMERGENCY, phrases), write_head(Response.TODAY, phrases)))
