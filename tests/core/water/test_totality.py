"""Every reckoning function, fed anything, answers with a finite number or refuses by name."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from math import isfinite

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core import air, light
from controller.core.ranges import OutOfRange
from controller.core.water import (
    ammonia,
    carbonate,
    conductivity,
    cooling,
    feed,
    level,
    nitrate,
    oxygen,
)

MODULES = (air, ammonia, carbonate, conductivity, cooling, feed, level, light, nitrate, oxygen)

# Anything a float can be, and often enough something near what a tank or a house has.
ANYTHING = st.one_of(
    st.floats(),
    st.floats(-1.0, 100.0),
    st.floats(0.0, 14.0),
    st.sampled_from([0.0, -0.0, 1.0, 85.0, -127.0, 100.0, 1013.25, 5e-324, 1.7976931348623157e308]),
)


def _list_plain_functions() -> list[Callable[..., object]]:
    """List the public functions that take nothing but floats by keyword and give a float or None."""
    found: list[Callable[..., object]] = []
    for module in MODULES:
        for name, function in inspect.getmembers(module, inspect.isfunction):
            signature = inspect.signature(function)
            plain = all(
                parameter.kind is parameter.KEYWORD_ONLY and parameter.annotation == "float"
                for parameter in signature.parameters.values()
            )
            own = function.__module__ == module.__name__ and not name.startswith("_")
            if own and plain and signature.return_annotation in {"float", "float | None"}:
                found.append(function)
    return found


FUNCTIONS = _list_plain_functions()


def test_the_list_is_not_empty_handed() -> None:
    """The sweep below covers the bulk of the functions, by count."""
    assert len(FUNCTIONS) > 40


@pytest.mark.parametrize(
    "function", FUNCTIONS, ids=lambda function: f"{function.__module__}.{function.__name__}"
)
@given(data=st.data())
def test_a_function_answers_or_refuses(function: Callable[..., object], data: st.DataObject) -> None:
    """No other exception, no NaN and no infinity comes out, whatever goes in."""
    given_values = {name: data.draw(ANYTHING, label=name) for name in inspect.signature(function).parameters}
    try:
        answer = function(**given_values)
    except OutOfRange:
        return

    assert answer is None or (isinstance(answer, float) and isfinite(answer))
