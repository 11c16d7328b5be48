"""The range of every number a formula may be fed, and the refusal of everything outside it.

A formula is used only inside the range its source gives. Outside it, and for anything that is not a finite
number, the answer is `OutOfRange` and never a guess.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Final

# 85.0 C: power-on value of a common one-wire digital thermometer before its first conversion (Maxim
# Integrated, DS18B20 data sheet, table 1, from memory). -127 C: what widespread driver code reports when that
# probe does not answer (common practice, no source).
RAILS_C: Final[dict[float, str]] = {
    85.0: "what a digital probe says before its first conversion, not a temperature",
    -127.0: "what a driver says when the probe does not answer, not a temperature",
}


RAIL_NEAR_C: Final = 0.05
"""A rail that came by another unit or was rounded on its way is still one. [C]"""


def name_rail(value_c: float) -> str:
    """Say what a temperature that is a rail of common probes means [C]; empty for any other."""
    return next((why for rail, why in RAILS_C.items() if abs(value_c - rail) <= RAIL_NEAR_C), "")


class OutOfRange(ValueError):  # noqa: N818 - it is read aloud in messages, and it is no error of the program
    """A number outside the range in which a formula holds.

    Attributes
    ----------
    quantity
        Name of the number, as a person says it.
    value
        The number that was refused. [unit]
    low, high
        Ends of the allowed range. [unit]
    unit
        Unit of the three numbers.
    """

    def __init__(self, allowed: Range, value: float, why: str = "") -> None:
        self.quantity = allowed.quantity
        self.value = value
        self.low = allowed.low
        self.high = allowed.high
        self.unit = allowed.unit
        unit = f" {allowed.unit}" if allowed.unit else ""
        text = f"{self.quantity} {value:g}{unit} is outside {self.low:g} to {self.high:g}{unit}"
        super().__init__(f"{text} ({why})" if why else text)


@dataclass(frozen=True, slots=True)
class Range:
    """The closed range in which a quantity is accepted, both ends included.

    Attributes
    ----------
    quantity
        Name of the number, as a person says it.
    low, high
        Ends of the range. [unit]
    unit
        Unit of the ends; empty for a number without one.
    """

    quantity: str
    low: float
    high: float
    unit: str

    def check(self, value: float) -> float:
        """Hand back `value` [unit], or raise `OutOfRange` when it is not a finite number in the range."""
        if isfinite(value) and self.low <= value <= self.high:
            return float(value)
        raise self.refuse(value)

    def refuse(self, value: float, why: str = "") -> OutOfRange:
        """Make the refusal of `value` [unit]; `why` defaults to the name of a probe's rail value."""
        return OutOfRange(self, value, why or (name_rail(value) if self.unit == "C" else ""))

    def narrow(self, *, low: float | None = None, high: float | None = None) -> Range:
        """Make the same range with nearer ends [unit]; an end further out changes nothing."""
        return Range(
            self.quantity,
            self.low if low is None else max(self.low, low),
            self.high if high is None else min(self.high, high),
            self.unit,
        )
