"""Numbers, strictly: plain ASCII text, or what a JSON or CBOR reader calls a number.

`float` alone is too kind for a sensor's text: it takes `nan`, `inf`, `1_0`, digits of other scripts, blanks
and a trailing newline.
"""

from __future__ import annotations

import re
from math import isfinite
from typing import Final

from controller.wire.refusal import Unreadable

NUMBER: Final = re.compile(rb"-?\d{1,12}(?:\.\d{1,12})?(?:[eE][+-]?\d{1,3})?")
"""A plain number. On bytes, `\\d` is an ASCII digit. Twelve digits hold any reading and any Unix time."""


def read_number(payload: bytes) -> float:
    """Read a payload that is one plain ASCII number and nothing else.

    Raises
    ------
    Unreadable
        When it is anything else, or too large for a double.
    """
    if NUMBER.fullmatch(payload) is None:
        raise Unreadable("the payload is not a plain number")
    value = float(payload)
    if not isfinite(value):
        raise Unreadable("the number is too large")
    return value


def to_number(value: object, what: str) -> float:
    """Take `value`, read from JSON or CBOR and called `what` in a refusal, as a finite number.

    Raises
    ------
    Unreadable
        When it is no number (a boolean is none), not finite, or too large for a double.
    """
    if type(value) is float:
        number = value
    elif type(value) is int:
        try:
            number = float(value)
        except OverflowError:
            raise Unreadable(f"{what} is too large") from None
    elif isinstance(value, bool):
        raise Unreadable(f"{what} is true or false where a number belongs")
    else:
        raise Unreadable(f"{what} is not a number")
    if not isfinite(number):
        raise Unreadable(f"{what} is not a finite number")
    return number
