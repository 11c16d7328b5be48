"""Text messages as seven bits a character, both ways. The alphabet itself is `core/alarms/septets.py`.

Basic table and extension table of 3GPP TS 23.038, sections 6.2.1 and 6.2.1.1.
"""

from __future__ import annotations

from controller.core.alarms.septets import BASIC, ESCAPE, EXTENSION, SEPTETS, UNKNOWN, count_septets, to_gsm7

__all__ = [
    "BASIC", "ESCAPE", "EXTENSION", "UNKNOWN", "count_septets", "cut_septets", "from_septets", "to_gsm7", "to_septets",
]  # fmt: skip


def to_septets(text: str) -> tuple[int, ...]:
    """Encode a text, one number of 0 to 127 a septet; a character of the extension table is two.

    Raises
    ------
    ValueError
        A character is not in the alphabet; `to_gsm7` replaces such characters.
    """
    septets: list[int] = []
    for character in text:
        values = SEPTETS.get(character)
        if values is None:
            raise ValueError(f"{character!r} is not in the alphabet of text messages")
        septets += values
    return tuple(septets)


def from_septets(septets: tuple[int, ...]) -> str:
    """Decode septets. Never raises: an escape with no meaning is a space, as TS 23.038 asks."""
    characters: list[str] = []
    escaped = False
    for septet in septets:
        if escaped:
            # TS 23.038 6.2.1.1: an unknown code of the extension table shows as in the basic table, and a
            # second escape as a space.
            escaped = False
            characters.append(EXTENSION.get(septet, " " if septet == ESCAPE else BASIC[septet]))
        elif septet == ESCAPE:
            escaped = True
        else:
            characters.append(BASIC[septet])
    return "".join(characters)


def cut_septets(text: str, septets_max: int) -> tuple[str, str]:
    """Cut a text of the alphabet so that its first piece has at most so many septets; never inside a character."""
    room = septets_max
    for place, character in enumerate(text):
        room -= len(SEPTETS[character])
        if room < 0:
            return text[:place], text[place:]
    return text, ""
