"""Reckon a derived reading: a value where every input can be trusted, else the reason why there is none.

A derived reading is never better than its worst input, and as old as its oldest. An input outside a formula's
range makes it doubtful and gives no value.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from controller.core.ranges import OutOfRange
from controller.core.signals.sense import NEVER, UNHEARD, Sense
from controller.core.units import HOUR_MS, HouseMs, Quantity
from controller.core.vocabulary import Trust
from controller.core.water import ammonia, carbonate, feed, horizon, level, oxygen
from controller.core.water import filter as biofilter
from controller.core.water.readings import Recipe
from controller.core.water.trace import Trace

WORSE: Final = {Trust.GOOD: 0, Trust.DOUBTFUL: 1, Trust.STALE: 2, Trust.MISSING: 3}
"""The order of trust, best first."""

FILTER_AT_C: Final = 20.0
"""Temperature at which the settings give the filter's highest removal. [C]"""

FILTER_HALF_MG_L: Final = 1.0
"""Half-saturation of a film; the load against capacity does not hang on it. [mg/L]"""

LOSS_POINTS_LEAST: Final = 4
LOSS_OVER_MIN: Final = 180.0
"""Water lost is read off the last three hours, from half an hour on: evaporation is a few millimetres a day."""

LOSS_AWAITED_MS: Final = HOUR_MS
"""Until then a level that has not been followed for long enough is no missing reading. [ms]"""


def is_awaited(sense: Sense) -> bool:
    """Tell whether a sensor has not spoken since the start and its time to speak has not run out."""
    return sense.trust is Trust.MISSING and sense.stale_ms < NEVER


def derive(recipe: Recipe, senses: Sequence[Sense], *, now: HouseMs) -> Sense:
    """Reckon one derived reading, except the loss of water, which needs a course (`derive_loss`).

    Parameters
    ----------
    recipe
        Which reading.
    senses
        What is known of its inputs, in the recipe's order.
    now
        House time, for a reading without inputs [ms].
    """
    spoilt = _find_spoilt(recipe, senses)
    if spoilt is not None:
        return spoilt
    heard = min([sense.heard_ms for sense in senses], default=now)
    values = [sense.value for sense in senses]
    try:
        value = _compute(recipe, [each for each in values if each is not None])
    except OutOfRange as refusal:
        return _without(Trust.DOUBTFUL, str(refusal), heard)
    return _with(value, heard)


def derive_loss(recipe: Recipe, sense: Sense, trace: Trace) -> Sense:
    """Reckon the loss of water [L/h] from the course of the level, positive when it falls."""
    spoilt = _find_spoilt(recipe, (sense,))
    if spoilt is not None:
        return spoilt
    points = [point for point in trace.coarse if point[0] >= trace.coarse[-1][0] - LOSS_OVER_MIN]
    if len(points) < LOSS_POINTS_LEAST:
        young = _without(
            Trust.MISSING, "the level has not been followed for half an hour yet", sense.heard_ms
        )
        return young._replace(stale_ms=sense.heard_ms + LOSS_AWAITED_MS)
    surface_m2 = recipe.water.surface_m2
    assert surface_m2 is not None, "the recipe exists only with a surface"
    trend = horizon.fit_trend([horizon.Sample(at, value) for at, value in points])
    try:
        # The level is kept in cm, positive upwards; a loss is positive when it falls.
        loss = level.find_loss(fall_mm=-10.0 * trend.slope_per_h, surface_m2=surface_m2, time_h=1.0)
    except OutOfRange as refusal:
        return _without(Trust.DOUBTFUL, str(refusal), sense.heard_ms)
    return _with(loss.litres + 0.0, sense.heard_ms)  # a level that stands still loses 0, not -0


def _find_spoilt(recipe: Recipe, senses: Sequence[Sense]) -> Sense | None:
    for sense in senses:
        if sense.trust is not Trust.GOOD or sense.value is None:
            break
    else:
        return None  # the usual case, and the quickest
    worst, name = Trust.GOOD, ""
    why, heard, awaited = "", 2**62, NEVER
    for each, sense in zip(recipe.inputs, senses, strict=True):
        heard = min(heard, sense.heard_ms)
        if is_awaited(sense):
            awaited = min(awaited, sense.stale_ms)
        trust = Trust.MISSING if sense.value is None and sense.trust is Trust.GOOD else sense.trust
        if WORSE[trust] > WORSE[worst]:
            worst, name, why = trust, each, sense.why
    text = f"{name} is {worst.value}" + (f": {why}" if why else "")
    spoilt = _without(worst, text, heard)
    return spoilt._replace(stale_ms=awaited) if worst is Trust.MISSING else spoilt


def _compute(recipe: Recipe, values: list[float]) -> float:
    water = recipe.water
    match recipe.quantity:
        case Quantity.UNIONISED_AMMONIA:
            total, ph, temperature = values
            return ammonia.find_unionised_mg_l(total_ammonia_mg_l=total, ph=ph, temperature_c=temperature)
        case Quantity.OXYGEN_SATURATION:
            pressure = (
                values[2] if len(values) > 2 else oxygen.find_pressure_hpa(elevation_m=recipe.elevation_m)
            )
            return oxygen.find_percent(oxygen_mg_l=values[0], temperature_c=values[1], pressure_hpa=pressure)
        case Quantity.CARBON_DIOXIDE:
            return carbonate.find_co2_mg_l(ph=values[0], alkalinity_mg_l=values[1], temperature_c=values[2])
        case _:
            assert water.filter_m2 is not None, "the recipe asks for it"
            assert water.feed_g_d is not None, "and for the feed"
            rate = water.filter_most_g_m2_d
            if values:
                rate = biofilter.adjust_rate_g_m2_d(rate_g_m2_d=rate, from_c=FILTER_AT_C, to_c=values[0])
            load = feed.find_ammonia_g_d(
                feed_kg_d=water.feed_g_d / 1e3, protein_percent=water.protein_percent
            )
            media = biofilter.Media(water.filter_m2, rate, FILTER_HALF_MG_L)
            return biofilter.judge_load(media, load_g_d=load).load_percent


def _with(value: float, heard: HouseMs) -> Sense:
    return Sense(value, Trust.GOOD, "", heard, heard, NEVER, 0.0, 0, None, value, 0)


def _without(trust: Trust, why: str, heard: HouseMs) -> Sense:
    return UNHEARD._replace(trust=trust, why=why, heard_ms=heard, stale_ms=NEVER)
