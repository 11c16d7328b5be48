"""A sensor's payload to a value: plain number, JSON with pointers, or SenML.

Nothing here trusts the sender: any bytes give `Taken` or `Refused`, quickly, and nothing else. Whether the
value can be true is not asked here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Final

from controller.core.plan.sensor import Form
from controller.wire.document import BYTES_MAX, find_value, read_document, to_instant_ms
from controller.wire.number import NUMBER, read_number, to_number
from controller.wire.refusal import Refused, Unreadable
from controller.wire.senml import pick, read_pack, settle_time_ms

__all__ = ["Form", "Refused", "Taken", "read_payload"]

UNIT_CHARACTERS_MAX: Final = 32
"""Longest unit taken; the longest in the table of units has nine characters."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A value that was read: finite, in `unit` as the sender wrote it (None: it wrote none).

    `time_utc_ms` is the sender's own time of the reading, or None when it sent none. [ms since 1970]
    """

    value: float
    unit: str | None
    time_utc_ms: int | None


def read_payload(
    payload: bytes,
    *,
    form: Form,
    pointer: str | None,
    time_pointer: str | None,
    unit_pointer: str | None,
    senml_name: str | None,
    now_utc_ms: int,
    words: Mapping[str, float] | None = None,
) -> Taken | Refused:
    """Read one payload of a sensor. Never raises, whatever the bytes.

    Parameters
    ----------
    payload
        The message's bytes, at most 4096.
    form
        How the payload is written.
    pointer, time_pointer, unit_pointer
        JSON: RFC 6901 pointers to the value (None: the whole document), its time and its unit (None: not
        sent). A pointer that is given must find something.
    senml_name
        SenML: resolved name of the record; None takes the only value of the pack.
    now_utc_ms
        The board's clock, for SenML's relative times. [ms since 1970]
    words
        None for a quantity. For a switch, the words that mean 1 and 0, matched exactly; then the number must
        be 0 or 1, and JSON's and SenML's true and false are 1 and 0.
    """
    if form is Form.NUMBER and words is None:
        # Most messages end here, so this path is short.
        if NUMBER.fullmatch(payload) is not None:
            value = float(payload)
            return Taken(value, None, None) if isfinite(value) else Refused("the number is too large")
        return Refused("the payload is not a plain number")
    try:
        match form:
            case Form.NUMBER:
                return Taken(_read_word(payload, words or {}), None, None)
            case Form.JSON:
                document = read_document(payload)
                return Taken(
                    _take_value(find_value(document, pointer or "", "value"), words),
                    None if unit_pointer is None else _take_unit(find_value(document, unit_pointer, "unit")),
                    None
                    if time_pointer is None
                    else to_instant_ms(find_value(document, time_pointer, "time")),
                )
            case Form.SENML:
                record = pick(read_pack(payload), senml_name, now_utc_ms=now_utc_ms)
                return Taken(
                    _take_value(record.value, words),
                    None if record.unit is None else _take_unit(record.unit),
                    settle_time_ms(record.time_s, now_utc_ms=now_utc_ms),
                )
    except Unreadable as unreadable:
        return Refused(unreadable.reason)


def _read_word(payload: bytes, words: Mapping[str, float]) -> float:
    if len(payload) <= BYTES_MAX and payload.isascii():
        meaning = words.get(payload.decode("ascii"))
        if meaning is not None:
            return to_number(meaning, "the word's meaning")
    try:
        value = read_number(payload)
    except Unreadable:
        raise Unreadable("the payload is neither a word of this switch nor 0 or 1") from None
    return _check_switch(value)


def _take_value(value: object, words: Mapping[str, float] | None) -> float:
    if words is None:
        return to_number(value, "the value")
    if isinstance(value, bool):
        return float(value)
    if isinstance(value, str):
        meaning = words.get(value)
        if meaning is None:
            raise Unreadable("the value is no word of this switch")
        return to_number(meaning, "the word's meaning")
    return _check_switch(to_number(value, "the value"))


def _check_switch(value: float) -> float:
    if value not in (0.0, 1.0):
        raise Unreadable("the value of a switch is neither 0 nor 1")
    return value


def _take_unit(unit: object) -> str:
    if isinstance(unit, str) and 0 < len(unit) <= UNIT_CHARACTERS_MAX and unit.isprintable():
        return unit
    raise Unreadable(f"the unit is not text of 1 to {UNIT_CHARACTERS_MAX} printable characters")
