"""A probe that hangs in air: its readings are no water, whatever they say, and no horizon rests on them.

Two signs (our choice). A conductivity next to nothing: rain water has ten times as much. An oxygen reading that
jumps within two minutes up to what air gives and stays there: a stocked tank does not do that.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import pairwise
from typing import Final

from controller.core.plan.water import Water
from controller.core.ranges import OutOfRange
from controller.core.signals.sense import UNHEARD, Sense
from controller.core.vocabulary import Trust
from controller.core.water import oxygen
from controller.core.water.trace import EMPTY, Trace, list_points

DRY_BELOW_MS_CM: Final = 0.002
JUMP_PERCENT: Final = 15.0
JUMP_LEAST_MG_L: Final = 0.9
"""15 % of the least that full water holds, 6.4 mg/L at 40 C: a course that moved by less has not jumped."""

JUMP_WITHIN_MIN: Final = 2.5
AIR_PERCENT: Final = (94.0, 112.0)
"""What a probe shows in air is 100 %; calibration, damp and cold make it a band."""


def find_in_air(
    water: Water, senses: Mapping[str, Sense], traces: Mapping[str, Trace], *, elevation_m: float
) -> dict[str, str]:
    """Name the sensors of `water` that seem to hang in air, with the reason."""
    found: dict[str, str] = {}
    sense = senses.get(water.conductivity, UNHEARD)
    if sense.trust is Trust.GOOD and sense.value is not None and sense.value < DRY_BELOW_MS_CM:
        found[water.conductivity] = f"{sense.value:.3g} mS/cm is no water: is the probe in air?"
    if water.oxygen and water.temperature and _has_jumped(water, senses, traces, elevation_m=elevation_m):
        found[water.oxygen] = "it jumped to what air gives and stays there: is the probe in air?"
    return found


def _has_jumped(
    water: Water, senses: Mapping[str, Sense], traces: Mapping[str, Trace], *, elevation_m: float
) -> bool:
    temperature = senses.get(water.temperature, UNHEARD)
    if temperature.trust is not Trust.GOOD or temperature.value is None:
        return False
    trace = traces.get(water.oxygen, EMPTY)
    try:
        full = oxygen.find_saturation_mg_l(
            temperature_c=temperature.value, pressure_hpa=oxygen.find_pressure_hpa(elevation_m=elevation_m)
        )
    except OutOfRange:
        return False
    low, high = (full * percent / 100.0 for percent in AIR_PERCENT)
    if not trace.taken or not low <= trace.value_sum / trace.taken <= high:
        return False  # the usual case, and the quickest
    points = list_points(trace)
    values = [value for _, value in points]
    if len(points) < 2 or max(values) - min(values) < JUMP_LEAST_MG_L:
        return False
    jump = full * JUMP_PERCENT / 100.0
    for index, ((before, was), (after, now)) in enumerate(pairwise(points)):
        if after - before <= JUMP_WITHIN_MIN and now - was >= jump:
            return all(low <= value <= high for _, value in points[index + 1 :])
    return False
