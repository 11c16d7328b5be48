"""JSON, strictly: one document of bounded size and depth, and pointers into it.

Sources: JSON, RFC 8259; pointers, RFC 6901; times of day, RFC 3339 (the internet's profile of ISO 8601).
The standard library's reader also takes NaN, Infinity, 1e999 and the last of two equal keys; the hooks below
refuse them.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from json import JSONDecodeError, JSONDecoder, dumps
from math import isfinite
from typing import Final, NoReturn

from jsonpointer import JsonPointer, JsonPointerException

from controller.wire.number import to_number
from controller.wire.refusal import Unreadable

BYTES_MAX: Final = 4096
"""Longest payload read. [bytes] A reading is some hundred bytes; more is a mistake or an attack."""

DEPTH_MAX: Final = 16
"""Deepest nesting read. Boards nest two or three levels; the reader's own stack bears some hundred."""

MILLISECONDS_FROM: Final = 1e11
"""A Unix time from here on is in milliseconds: as seconds it would lie past the year 5138."""

_UTC_MS_MAX: Final = 253_402_300_799_999  # 9999-12-31T23:59:59.999Z, the last that ISO text can write
_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND: Final = timedelta(milliseconds=1)

# The quote at the end is optional so that an open string is taken to the end
# at once; otherwise each quote in it would start a search of its own.
_STRING: Final = re.compile(rb'"(?:[^"\\]++|\\.)*+"?', re.DOTALL)
_SURROGATE: Final = re.compile(rb"\\u[dD][89a-fA-F]")
_INSTANT: Final = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,9})?)?"
    r"(?:[Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_MISSING: Final = object()


def read_document(payload: bytes, *, lower_exponent: bool = False) -> object:
    """Read one JSON document in UTF-8; with `lower_exponent`, refuse an exponent written with a capital E.

    Raises
    ------
    Unreadable
        When it is too long, too deep, not UTF-8, not JSON, has a key twice in one object, a number that is
        not finite, or half of a surrogate pair.
    """
    check_size(payload)
    if payload.count(b"[") + payload.count(b"{") > DEPTH_MAX:
        _check_depth(payload)
    try:
        document: object = (_LOWER if lower_exponent else _ANY).decode(payload.decode())
    except UnicodeDecodeError:
        raise Unreadable("the payload is not UTF-8 text") from None
    except JSONDecodeError as error:
        raise Unreadable(f"the payload is not JSON (at character {error.pos})") from None
    if b"\\u" in payload and _SURROGATE.search(payload) is not None:
        _check_surrogates(document)
    return document


def check_size(payload: bytes) -> None:
    """Refuse a payload that is too long to look at.

    Raises
    ------
    Unreadable
        When it is longer than `BYTES_MAX`.
    """
    if len(payload) > BYTES_MAX:
        raise Unreadable(f"the payload is longer than {BYTES_MAX} bytes")


def find_value(document: object, pointer: str, what: str) -> object:
    """Find what an RFC 6901 pointer points at; `what` names it in a refusal.

    Raises
    ------
    Unreadable
        When the pointer is malformed or points at nothing.
    """
    compiled = _compile_pointer(pointer)
    if compiled is None:
        raise Unreadable(f"the pointer to {what} is not a JSON pointer")
    # Besides nothing at all, "-" may be found: the place after the last element,
    # to write to; there is nothing to read.
    found: object = compiled.resolve(document, _MISSING)
    if not isinstance(found, _JSON):
        raise Unreadable(f"the document has no {what} at {pointer}")
    return found


def find_pointer_fault(pointer: str) -> str | None:
    """Say what is wrong with an RFC 6901 pointer, or None."""
    if _compile_pointer(pointer) is not None:
        return None
    if not pointer.startswith("/"):
        return "a JSON pointer starts with / (or is empty, for the whole document)"
    return "in a JSON pointer ~ is written ~0 and / is written ~1"


def to_instant_ms(value: object) -> int:
    """Take a source's own time, Unix number or ISO 8601 text with an offset, as UTC [ms since 1970].

    A number below 1e11 is in seconds, from there on in milliseconds.

    Raises
    ------
    Unreadable
        When it is neither, has no offset from UTC, or lies before 1970 or past the year 9999.
    """
    if isinstance(value, str):
        return _read_instant_ms(value)
    number = to_number(value, "the time")
    return check_instant_ms(number if number >= MILLISECONDS_FROM else number * 1000)


def check_instant_ms(instant_ms: float) -> int:
    """Round a finite UTC instant [ms since 1970] to whole milliseconds, if it lies in 1970 to 9999.

    Raises
    ------
    Unreadable
        When it does not.
    """
    if not 0 <= instant_ms <= _UTC_MS_MAX:
        raise Unreadable("the time lies before 1970 or past the year 9999")
    return round(instant_ms)


def _read_instant_ms(text: str) -> int:
    if _INSTANT.fullmatch(text) is None:
        raise Unreadable("the time is not ISO 8601 with an offset from UTC, such as 2026-03-01T06:30:00Z")
    try:
        instant = datetime.fromisoformat(text.upper())
    except ValueError:
        raise Unreadable("the time is no date and hour of the calendar") from None
    return check_instant_ms((instant - _EPOCH) // _MILLISECOND)


def _check_depth(payload: bytes) -> None:
    depth = 0
    for byte in _STRING.sub(b"", payload):
        if byte in b"[{":
            depth += 1
            if depth > DEPTH_MAX:
                raise Unreadable(f"the document is nested deeper than {DEPTH_MAX}")
        elif byte in b"]}":
            depth -= 1


def _check_surrogates(document: object) -> None:
    try:
        dumps(document, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        raise Unreadable("the document holds half of a surrogate pair") from None


def _take_pairs(pairs: list[tuple[str, object]]) -> dict[str, object]:
    taken = dict(pairs)
    if len(taken) != len(pairs):
        raise Unreadable("the document has a key twice in one object")
    return taken


def _take_float(text: str) -> float:
    value = float(text)
    if not isfinite(value):
        raise Unreadable("the document holds a number that is too large")
    return value


def _take_lower_float(text: str) -> float:
    if "E" in text:
        raise Unreadable("the document holds an exponent with a capital E")
    return _take_float(text)


def _refuse_constant(_: str) -> NoReturn:
    raise Unreadable("the document holds NaN or Infinity")


@lru_cache(maxsize=1024)
def _compile_pointer(pointer: str) -> JsonPointer | None:
    try:
        return JsonPointer(pointer)
    except JsonPointerException:
        return None


_JSON: Final = (str, int, float, list, dict, type(None))
_ANY: Final = JSONDecoder(
    object_pairs_hook=_take_pairs, parse_float=_take_float, parse_constant=_refuse_constant
)
_LOWER: Final = JSONDecoder(
    object_pairs_hook=_take_pairs, parse_float=_take_lower_float, parse_constant=_refuse_constant
)
