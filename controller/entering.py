"""Entering a test kit's value: from what a person typed to the event, and what they are told."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from controller.core.enter import EntryRefused, check_entry
from controller.core.roll import Roll
from controller.core.state import State
from controller.core.units import Basis, allowed_units, find_conversion
from controller.core.vocabulary import Trust, ValueEntered
from controller.core.water.kit import find_basis, name_unit

BASES: Final = tuple(basis.value for basis in Basis if basis.value)
"""The words for what a value is weighed as."""


def make_entry(roll: Roll, request: dict[str, object]) -> ValueEntered:
    """Make the event of a request: `sensor`, `value`, `unit` (else the sensor's), `basis`, `correct`, `person`.

    Raises
    ------
    EntryRefused
        For a value that is no number, and a unit or basis that is not known.
    KeyError
        For a request that lacks something.
    """
    name, person = str(request["sensor"]).strip(), str(request["person"]).strip()
    if not person:
        raise EntryRefused("an entry needs a name")
    try:
        value = float(str(request["value"]))
    except ValueError:
        raise EntryRefused(f"{str(request['value'])[:40]!r} is no number") from None
    word = str(request.get("basis") or "")
    basis = find_basis(word)
    if basis is None:
        raise EntryRefused(f"{word[:20]!r} is no basis; known are {', '.join(BASES)}")
    sensor = roll.sensors.get(name)
    if sensor is not None:
        unit = str(request.get("unit") or sensor.unit)
        conversion = find_conversion(sensor.quantity, unit)
        if conversion is None:
            allowed = ", ".join(allowed_units(sensor.quantity))
            raise EntryRefused(f"{unit[:20]!r} is no unit of {sensor.quantity.value}; allowed are {allowed}")
        value = conversion.apply(value)
    return ValueEntered(name, value, person, basis, bool(request.get("correct")))


def enter_value(
    look: Callable[[], State], request: dict[str, object], put: Callable[[ValueEntered], bool]
) -> dict[str, object]:
    """Enter a value into the running daemon and say what became of it.

    Parameters
    ----------
    look
        Gives the daemon's state as it is now.
    request
        What the person typed.
    put
        Gives the event to the deciding thread; True when it has been remembered.
    """
    state = look()
    try:
        event = make_entry(state.roll, request)
        checked = check_entry(state.roll.sensors, state.roll.specs, state.durable.entered, event)
    except EntryRefused as refusal:
        return {"ok": False, "text": f"refused: {refusal}"}
    if not put(event):
        return {"ok": False, "text": "the daemon did not answer in time; look at duskbell status"}
    done = "corrected to" if event.corrects else "is"
    text = f"{event.sensor} {done} {checked.kept:.4g} {name_unit(checked.sensor.quantity)}"
    return {"ok": True, "text": "; ".join([text, *_tell_derived(look(), event.sensor)])}


def _tell_derived(state: State, name: str) -> list[str]:
    """Say what the entered value makes of the readings that hang on it."""
    told = []
    for recipes in state.roll.recipes.values():
        for recipe in recipes:
            sense = state.senses.get(recipe.name)
            if name not in recipe.inputs or sense is None:
                continue
            if sense.trust is Trust.GOOD and sense.value is not None:
                told.append(f"{recipe.name} is {sense.value:.3g} {name_unit(recipe.quantity)}")
            else:
                told.append(f"{recipe.name} is {sense.trust.value}: {sense.why}")
    return told
