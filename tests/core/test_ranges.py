"""Ranges: what is accepted, what is refused, and how the refusal reads."""

from __future__ import annotations

from math import inf, isfinite, nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.ranges import OutOfRange, Range

WARMTH = Range("water temperature", 0.0, 40.0, "C")


def test_both_ends_belong_to_the_range() -> None:
    """The ends themselves are accepted."""
    assert (WARMTH.check(0.0), WARMTH.check(40)) == (0.0, 40.0)


@pytest.mark.parametrize("value", [nan, inf, -inf, -0.001, 40.001])
def test_everything_else_is_refused_by_name(value: float) -> None:
    """A refusal carries the quantity, the value, the range and the unit."""
    with pytest.raises(OutOfRange) as refusal:
        WARMTH.check(value)

    assert (
        refusal.value.quantity,
        refusal.value.low,
        refusal.value.high,
        refusal.value.unit,
    ) == ("water temperature", 0.0, 40.0, "C")
    assert str(refusal.value).startswith(f"water temperature {value:g} C is outside 0 to 40 C")


@pytest.mark.parametrize(
    ("value", "words"), [(85.0, "before its first conversion"), (-127.0, "does not answer")]
)
def test_a_probes_rail_value_is_called_what_it_is(value: float, words: str) -> None:
    """85.0 C (DS18B20 data sheet, from memory) and -127 C (common practice, no source) are named as rails."""
    with pytest.raises(OutOfRange, match=words):
        WARMTH.check(value)


def test_a_rail_is_a_rail_of_temperature_only() -> None:
    """85 % of humidity past some limit is not mistaken for a probe's rail."""
    with pytest.raises(OutOfRange) as refusal:
        Range("humidity", 0.0, 50.0, "%").check(85.0)

    assert str(refusal.value) == "humidity 85 % is outside 0 to 50 %"


def test_a_refusal_is_a_value_error() -> None:
    """A caller that only knows the standard library catches it too."""
    assert issubclass(OutOfRange, ValueError)


@given(st.floats(), st.floats(-10, 60), st.floats(-10, 60))
def test_narrowing_never_widens(value: float, low: float, high: float) -> None:
    """What a narrowed range accepts the wide one accepts as well."""
    try:
        WARMTH.narrow(low=low, high=high).check(value)
    except OutOfRange:
        return

    assert isfinite(WARMTH.check(value))
