"""CBOR, strictly: one item of bounded size and depth, without tags, indefinite lengths or surprises.

Source: RFC 8949. A short walk over the headers comes before the library's reader, so that no length prefix is
believed before the bytes are there, and no tag (big integers, fractions, shared references, regular
expressions...) ever reaches code that would act on it.
"""

from __future__ import annotations

from typing import Final

import cbor2

from controller.wire.document import DEPTH_MAX, check_size
from controller.wire.refusal import Unreadable

_UNSIGNED: Final = 0
_NEGATIVE: Final = 1
_BYTES: Final = 2
_TEXT: Final = 3
_ARRAY: Final = 4
_MAP: Final = 5
_TAG: Final = 6

_SIMPLE: Final = frozenset({0xF4, 0xF5, 0xF6, 0xF9, 0xFA, 0xFB})
"""false, true, null, and floats of two, four and eight bytes."""

_KEYS: Final = frozenset({_UNSIGNED, _NEGATIVE, _TEXT})
"""Kinds of item that may be the key of a map."""

_CUT: Final = "the CBOR is cut short"
_ARGUMENT_BYTES: Final = {24: 1, 25: 2, 26: 4, 27: 8}


def read_binary(payload: bytes) -> object:
    """Read one CBOR item.

    Raises
    ------
    Unreadable
        When it is too long, too deep, cut short, followed by more, not well-formed, has a tag, an indefinite
        length, a key twice in one map, or text that is not UTF-8.
    """
    check_size(payload)
    _check_headers(payload)
    try:
        return cbor2.loads(payload, allow_duplicate_keys=False)
    except cbor2.CBORDecodeError:
        raise Unreadable("the CBOR has a key twice in one map, or text that is not UTF-8") from None


def _check_headers(payload: bytes) -> None:
    """Walk over all headers, believing none that promises more than is there."""
    at, size = 0, len(payload)
    # How many items each open container still wants, innermost last; the payload itself wants one.
    wanted, is_map = [1], [False]
    while wanted:
        if wanted[-1] == 0:
            wanted.pop()
            is_map.pop()
            continue
        if at >= size:
            raise Unreadable(_CUT)
        kind = payload[at] >> 5
        if is_map[-1] and wanted[-1] % 2 == 0 and kind not in _KEYS:
            raise Unreadable("the CBOR has a key that is neither a whole number nor text")
        wanted[-1] -= 1
        items, at = _pass_item(payload, at)
        if items:
            if len(wanted) > DEPTH_MAX:
                raise Unreadable(f"the CBOR is nested deeper than {DEPTH_MAX}")
            wanted.append(items)
            is_map.append(kind == _MAP)
    if at != size:
        raise Unreadable("the CBOR is followed by more bytes")


def _pass_item(payload: bytes, at: int) -> tuple[int, int]:
    """Pass the item at `at`, without what it contains: how many items that is, and where they start."""
    kind = payload[at] >> 5
    argument, at = _read_header(payload, at)
    left = len(payload) - at
    items = 0
    if kind in (_BYTES, _TEXT):
        left -= argument
        at += argument
    elif kind in (_ARRAY, _MAP):
        items = argument * (2 if kind == _MAP else 1)
    # Each item takes a byte at least, so a count larger than the rest is a lie;
    # and the rest is negative after a text that promised more than is there.
    if items > left:
        raise Unreadable(_CUT)
    return items, at


def _read_header(payload: bytes, at: int) -> tuple[int, int]:
    """Read the header at `at`: its argument, and where the next thing starts."""
    first = payload[at]
    kind, short = first >> 5, first & 0x1F
    at += 1
    if kind == _TAG:
        raise Unreadable("the CBOR has a tag")
    if kind > _TAG and first not in _SIMPLE:
        raise Unreadable("the CBOR has a simple value that is not true, false, null or a float")
    if short < 24:
        return short, at
    length = _ARGUMENT_BYTES.get(short)
    if length is None:
        raise Unreadable("the CBOR has an indefinite length or a header that is not well-formed")
    return int.from_bytes(payload[at : at + length]), at + length
