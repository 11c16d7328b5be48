"""A motor board's report to what it says about its curtain.

The report is JSON: `{"drawn_percent": 43.2, "moving": true, "limit": "none", "selector": "remote",
"command": "1042-0"}`. `moving` must be there. A board without position feedback, end switches or selector
leaves their keys out; what is there must be valid. Keys that are not known here are left alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final, TypeVar

from controller.core.vocabulary import Limit, Selector
from controller.wire.command import COMMAND
from controller.wire.document import read_document
from controller.wire.number import to_number
from controller.wire.refusal import Refused, Unreadable

OVERTRAVEL_PERCENT: Final = 1.0
"""How far past an end a position may be reported and still count as that end. [%] Encoders drift a little."""

_Word = TypeVar("_Word", bound=Enum)
_LIMITS: Final = {limit.value: limit for limit in Limit}
_SELECTORS: Final = {selector.value: selector for selector in Selector}


@dataclass(frozen=True, slots=True)
class BoardReport:
    """What a motor board says. `drawn_percent` is 0 open to 100 drawn [%], None when the board cannot tell.

    `command_id` is the command it last took, None when it names none.
    """

    drawn_percent: float | None
    moving: bool
    limit: Limit
    selector: Selector
    command_id: str | None


def read_report(payload: bytes) -> BoardReport | Refused:
    """Read a motor board's report. Never raises, whatever the bytes."""
    try:
        document = _take_object(read_document(payload))
        return BoardReport(
            drawn_percent=_take_position(document.get("drawn_percent")),
            moving=_take_moving(document.get("moving")),
            limit=_take_word(document.get("limit", "none"), _LIMITS, "limit"),
            selector=_take_word(document.get("selector", "remote"), _SELECTORS, "selector"),
            command_id=_take_command(document.get("command")),
        )
    except Unreadable as unreadable:
        return Refused(unreadable.reason)


def _take_object(document: object) -> dict[str, object]:
    if isinstance(document, dict):
        return document
    raise Unreadable("the report is not a JSON object")


def _take_position(position: object) -> float | None:
    if position is None:
        return None
    drawn_percent = to_number(position, "drawn_percent")
    if not -OVERTRAVEL_PERCENT <= drawn_percent <= 100.0 + OVERTRAVEL_PERCENT:
        raise Unreadable("drawn_percent is not within 0 to 100")
    return min(max(drawn_percent, 0.0), 100.0)


def _take_moving(moving: object) -> bool:
    if isinstance(moving, bool):
        return moving
    raise Unreadable("moving is missing, or neither true nor false")


def _take_word(word: object, words: dict[str, _Word], what: str) -> _Word:
    meaning = words.get(word) if isinstance(word, str) else None
    if meaning is None:
        raise Unreadable(f"{what} is none of {', '.join(words)}")
    return meaning


def _take_command(command: object) -> str | None:
    if command is None:
        return None
    if isinstance(command, str) and COMMAND.fullmatch(command) is not None:
        return command
    raise Unreadable("command is not a command's name")
