"""The alphabet of text messages: which characters it has and what they cost.

Basic table and extension table of 3GPP TS 23.038, sections 6.2.1 and 6.2.1.1. What the alphabet does not have
is written with what it has, for one sign outside it would halve the room of the whole message.
"""

# ruff: noqa: RUF001 - the signs that look like others are what this module replaces

from __future__ import annotations

import unicodedata
from typing import Final

ONE_MESSAGE: Final = 160
"""Septets of one text message: 140 octets (3GPP TS 23.040, 9.2.3.24)."""

ESCAPE: Final = 0x1B
"""Says that the next septet is of the extension table."""

BASIC: Final = (
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞ\x1bÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
"""The character of each septet, 0 to 127."""

EXTENSION: Final = {
    0x0A: "\f", 0x14: "^", 0x28: "{", 0x29: "}", 0x2F: "\\", 0x3C: "[", 0x3D: "~", 0x3E: "]", 0x40: "|", 0x65: "€",
}  # fmt: skip
"""The character of a septet after an escape."""

assert len(BASIC) == 128, "a septet has 128 values"

SEPTETS: Final[dict[str, tuple[int, ...]]] = {
    character: (value,) for value, character in enumerate(BASIC) if value != ESCAPE
} | {character: (ESCAPE, value) for value, character in EXTENSION.items()}
"""What each character is sent as."""

# How people write these when they have no such key. The degree sign goes: "21 C" is read right by everybody.
_WRITTEN: Final = {
    "°": "", "µ": "u", "μ": "u", "≥": ">=", "≤": "<=", "≠": "not ", "≈": "about ", "±": "+-", "×": "x", "·": ".",
    "–": "-", "—": "-", "‑": "-", "−": "-", "’": "'", "‘": "'", "‚": ",", "“": '"', "”": '"', "„": '"', "«": '"',
    "»": '"', "…": "...", "•": "-", "→": "->", "←": "<-", "`": "'", "´": "'", "\t": " ", "\u00a0": " ", "\u202f": " ",
    "ç": "c", "þ": "th", "Þ": "Th", "ð": "d", "Ð": "D", "đ": "d", "ł": "l", "Ł": "L", "ı": "i", "œ": "oe", "Œ": "Oe",
}  # fmt: skip

UNKNOWN: Final = "?"
"""Stands for a character that cannot be written otherwise."""


def to_gsm7(text: str) -> str:
    """Write a text with the characters of the alphabet alone. Never raises; what has no likeness is a "?"."""
    return "".join(_write(character) for character in text)


def _write(character: str) -> str:
    """Write one character: as it is, as people write it, by its base letters, or not at all."""
    if character in SEPTETS:
        return character
    if character in _WRITTEN:
        return _WRITTEN[character]
    parts = unicodedata.normalize("NFKD", character)
    if parts == character:
        unseen = unicodedata.category(character) in {"Mn", "Cf", "Cc"}
        return "" if unseen else UNKNOWN
    return "".join(_write(part) for part in parts)


def find_unwritable(text: str) -> str:
    """Find the signs of a text that would arrive as question marks, each once and in order; empty if none would."""
    lost = (
        character
        for character in dict.fromkeys(text)
        if UNKNOWN in _write(character) and UNKNOWN not in unicodedata.normalize("NFKD", character)
    )
    return "".join(lost)


def count_septets(text: str) -> int:
    """Count the septets of a text as it would be sent, with `to_gsm7` applied. 160 fill one message."""
    return sum(len(SEPTETS[character]) for character in to_gsm7(text))


def cut_message(text: str) -> str:
    """Cut a text to what one message holds, with dots where something is left out."""
    if count_septets(text) <= ONE_MESSAGE:
        return text
    while count_septets(text) > ONE_MESSAGE - 3:
        text = text[:-1]
    return f"{text.rstrip()}..."
