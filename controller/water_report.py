"""How the waters stand, for the status: time left, likely causes, mirrors, and what people entered."""

from __future__ import annotations

from typing import Any

from controller.core.enter import find_age_ms
from controller.core.foresee import compare_mirrors, diagnose_waters, foresee_waters, see_state
from controller.core.plan.sensor import Sensor
from controller.core.state import Entry, State
from controller.core.units import DAY_MS, KEPT_UNIT, Basis
from controller.core.vocabulary import Stamp
from controller.core.water.kit import name_unit


def describe_waters(state: State, stamp: Stamp) -> dict[str, Any]:
    """Describe the waters as a document with stable keys."""
    sight = see_state(state)
    return {
        "horizons": [
            {
                "water": outlook.water,
                "matter": outlook.matter.value.value,
                "limit": outlook.limit,
                "unit": name_unit(outlook.matter.value),
                "minutes": _round(outlook.minutes),
                "soonest_minutes": _round(outlook.soonest_minutes),
                "latest_minutes": _round(outlook.latest_minutes),
                "basis": None if outlook.basis is None else outlook.basis.value,
                "because": outlook.because,
                "known": outlook.known,
                "text": outlook.describe(),
            }
            for outlook in foresee_waters(sight)
        ],
        "likely": [
            {"water": finding.water, "likely": finding.likely, "because": finding.because}
            for finding in diagnose_waters(sight)
        ],
        "mirrors": [
            {
                "water": each.water,
                "mirror": each.mirror,
                "quantity": each.quantity.value,
                "difference": each.difference,
                "plus_minus": each.plus_minus,
                "pairs": each.pairs,
                "text": each.describe(),
            }
            for each in compare_mirrors(sight)
        ],
        "entered": [
            {
                "sensor": name,
                "value": entry.value,
                "given": entry.given,
                "basis": entry.basis.value,
                "text": _write_entry(entry, state.roll.sensors.get(name)),
                "person": entry.person,
                "utc_ms": entry.utc_ms,
                "age_days": round(find_age_ms(entry, stamp) / DAY_MS, 2),
            }
            for name, entry in state.durable.entered.items()
        ],
    }


def _write_entry(entry: Entry, sensor: Sensor | None) -> str:
    """Write an entered value as it is kept and, where that is another number, as it was typed."""
    if sensor is None:
        return f"{entry.value:.4g}"
    kept = f"{entry.value:.4g} {name_unit(sensor.quantity)}"
    if entry.basis in {Basis.ITSELF, Basis.NITROGEN}:
        return kept
    return f"{kept} (entered as {entry.given:g} {KEPT_UNIT[sensor.quantity]} {entry.basis.value})"


def _round(minutes: float | None) -> float | None:
    """Round to a tenth of a minute."""
    return None if minutes is None else round(minutes, 1)


def write_waters(document: dict[str, Any]) -> list[str]:
    """Write the document as lines for people: what is in sight first, then what is likely, then the mirrors."""
    lines = [
        f"Time left, {horizon['water']}: {horizon['text']}"
        for horizon in document["horizons"]
        if horizon["minutes"] is not None or not horizon["known"]
    ]
    if document["horizons"] and not lines:
        lines.append("Time left: no harm in sight in any water.")
    lines.extend(
        f"Likely, {each['water']}: {each['likely']} ({each['because']})" for each in document["likely"]
    )
    lines.extend(
        f"Mirror, {each['water']} less {each['mirror']}: {each['text']}" for each in document["mirrors"]
    )
    lines.extend(
        f"Entered, {each['sensor']}: {each['text']} by {each['person']}, {each['age_days']:.1f} days ago"
        for each in document["entered"]
    )
    return lines
