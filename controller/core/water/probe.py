"""A probe that hangs in air: its readings are no water, whatever they say, and nothing rests on them.

Its signs (our choice). A conductivity next to nothing. An oxygen reading that jumps within minutes up to what
air gives and stays there: a stocked tank does not do that. A temperature that jumps to that of the air around,
while so much water could not. The jump shows it once and is soon forgotten, so the doubt stands until the probe
shows something else than air for a minute.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from controller.core.plan.water import Water
from controller.core.ranges import OutOfRange
from controller.core.signals.sense import UNHEARD, Sense
from controller.core.vocabulary import Trust
from controller.core.water import oxygen
from controller.core.water.trace import Point, Trace, list_long, list_points

DRY_BELOW_MS_CM: Final = 0.02
"""Rain water has 0.005 to 0.05, fish water and nutrients a tenth and more (common practice, no source); a probe in
air shows 0, or a few thousandths left by a wet cell. [mS/cm]"""

JUMP_PERCENT: Final = 15.0
JUMP_LEAST_MG_L: Final = 0.9
"""15 % of the least that full water holds, 6.4 mg/L at 40 C: a course that moved by less has not jumped."""

JUMP_LEAST_C: Final = 2.0
"""In 500 L a jump of 2 C takes 4 MJ, which no heater or tap brings within five minutes. [C]"""

VOLUME_LEAST_L: Final = 500.0
"""A smaller water may jump: a bucket of make-up water does it. [L]"""

NEAR_AIR_C: Final = 1.5
"""A dry probe in air is this near to the thermometer of the house; a wet one comes near within minutes. [C]"""

JUMP_WITHIN_MIN: Final = 5.0
"""A leap faster than its quantity can move is doubted and not followed, so that a sensor that speaks every two minutes
shows it as a gap of four. For water to get within a twentieth of full in that time, air would have to work at 15 per
hour; good stones reach 5 (common practice, no source). [min]"""

JUMP_OVER_POINTS: Final = 3
"""A jump lies between the last of so many minutes and now."""

JUMP_SEEN_MIN: Final = 15
"""So many points are looked at for a jump."""

AIR_PERCENT: Final = (94.0, 112.0)
"""What a probe shows in air is 100 %; calibration, damp and cold make it a band."""

DRY_PERCENT: Final = (93.0, 107.0)
"""The same for a probe that reckons with the temperature of the air it hangs in: in a cold house it shows far more than
full water holds."""

BREATH_PERCENT: Final = 3.0
"""A probe in air moves less than this with weather and damp; a stocked tank moves more within hours. [%]"""

BACK_POINTS: Final = 2
"""Minutes at the end of a course that must all be water for a doubt to end."""


def with_doubt(name: str, sense: Sense, doubts: Mapping[str, str]) -> Sense:
    """Return what is known of a sensor, doubtful where its neighbours contradict it."""
    why = doubts.get(name)
    if why is None or sense.trust is not Trust.GOOD:
        return sense
    return sense._replace(trust=Trust.DOUBTFUL, why=why)


def list_probes(water: Water) -> tuple[str, ...]:
    """Name the sensors of `water` that can be told to hang in air."""
    named = (water.oxygen, water.conductivity, water.temperature)
    return tuple(dict.fromkeys(name for name in named if name))


def is_striking(trace: Trace, value: float) -> bool:
    """Tell whether a reading is so unlike the minutes before it, or so near nothing, that a look is due.

    `JUMP_LEAST_MG_L` stands for all quantities: it is the least of the jumps.
    """
    if value < DRY_BELOW_MS_CM:
        return True
    low, high = value - JUMP_LEAST_MG_L, value + JUMP_LEAST_MG_L
    for _, before in trace.fine[-JUMP_OVER_POINTS:]:  # noqa: SIM110 - quicker so, and done for every reading
        if not low < before < high:
            return True
    return False


def find_in_air(
    water: Water,
    name: str,
    senses: Mapping[str, Sense],
    trace: Trace,
    *,
    elevation_m: float,
    doubted: bool = False,
    looked: bool = False,
) -> str:
    """Say why a probe of `water` seems to hang in air; empty when it does not.

    Parameters
    ----------
    water, name
        The water and its probe, one of `list_probes`.
    senses
        What is known of all sensors; the probe's own reading is taken from here.
    trace
        The probe's course; while it is doubted, since the doubt began.
    elevation_m
        Height of the site above the sea [m].
    doubted
        Whether it is in doubt already. Then the doubt stands unless the last minutes show water.
    looked
        Whether a person who answered for it has had the time to look. It ends no doubt where the reading is what the
        air of the house gives: who has answered may yet not have been there. A dry conductivity speaks for
        itself.
    """
    value = senses.get(name, UNHEARD).value
    if value is None:
        return ""
    if name == water.conductivity:
        return _find_dry(trace, value, doubted=doubted)
    if name == water.oxygen:
        return _find_airy(
            water, senses, trace, value, elevation_m=elevation_m, doubted=doubted, looked=looked
        )
    return _find_house_warm(water, senses, trace, value, doubted=doubted)


def _find_dry(trace: Trace, value: float, *, doubted: bool) -> str:
    dry = value < DRY_BELOW_MS_CM
    if doubted and not dry:
        dry = not _shows_water(trace, DRY_BELOW_MS_CM, float("inf"), inside=True)
    return f"{value:.3g} mS/cm is no water: is the probe in air?" if dry else ""


def _find_airy(
    water: Water,
    senses: Mapping[str, Sense],
    trace: Trace,
    value: float,
    *,
    elevation_m: float,
    doubted: bool,
    looked: bool,
) -> str:
    why = "it jumped to what air gives and stays there: is the probe in air?"
    temperature = senses.get(water.temperature, UNHEARD)
    wet = _find_band(temperature, AIR_PERCENT, elevation_m=elevation_m)
    if wet is None:
        return why if doubted else ""
    dry = _find_band(senses.get(water.surroundings, UNHEARD), DRY_PERCENT, elevation_m=elevation_m)
    bands = [wet] if dry is None else [wet, dry]
    if doubted:
        beyond_air = all(_shows_water(trace, low, high, inside=False) for low, high in bands)
        unlike_air = dry is not None and _shows_water(trace, *dry, inside=False)
        seen = looked and (dry is None or unlike_air)
        return "" if beyond_air or seen or (unlike_air and _has_breathed(trace, wet)) else why
    points: tuple[Point, ...] = ()
    for low, high in bands:
        if not low <= value <= high:
            continue
        points = points or _end_with(trace, value)
        values = [each for _, each in points]
        least = wet[0] / AIR_PERCENT[0] * JUMP_PERCENT
        if max(values) - min(values) < least:
            return ""  # the usual case, and the quickest
        landed = _find_landing(points, least)
        if landed is not None and all(low <= each <= high for _, each in points[landed:]):
            return why
    return ""


def _find_band(
    sense: Sense, percents: tuple[float, float], *, elevation_m: float
) -> tuple[float, float] | None:
    """Find what a probe in air shows [mg/L] at the temperature of a thermometer; None where nobody knows that."""
    if sense.trust is not Trust.GOOD or sense.value is None:
        return None
    try:
        full = oxygen.find_saturation_mg_l(
            temperature_c=sense.value, pressure_hpa=oxygen.find_pressure_hpa(elevation_m=elevation_m)
        )
    except OutOfRange:
        return None
    low, high = percents
    return full * low / 100.0, full * high / 100.0


def _find_house_warm(
    water: Water, senses: Mapping[str, Sense], trace: Trace, value: float, *, doubted: bool
) -> str:
    why = "it jumped to the temperature of the air around: is the probe in air?"
    around = senses.get(water.surroundings, UNHEARD)
    if water.volume_l is None or water.volume_l < VOLUME_LEAST_L:
        return ""
    if around.trust is not Trust.GOOD or around.value is None:
        return why if doubted else ""
    low, high = around.value - NEAR_AIR_C, around.value + NEAR_AIR_C
    if doubted:
        return "" if _shows_water(trace, low, high, inside=False) else why
    if not low <= value <= high:
        return ""
    points = _end_with(trace, value)
    stays = all(low <= each <= high for _, each in points[-BACK_POINTS:])
    jumped = stays and _find_landing(points, JUMP_LEAST_C, falls=value < points[0][1]) is not None
    return why if jumped else ""


def _end_with(trace: Trace, value: float) -> tuple[Point, ...]:
    """List the end of the course, with the minute that is not over as it is now, not as its mean: it may hold the jump.

    A look is taken with every minute, so a jump is seen as it comes; the quarter of an hour is for what could not
    be judged at once.
    """
    now = (trace.at_sum / trace.taken,) if trace.taken else ()
    return (*trace.fine[-JUMP_SEEN_MIN:], *((at, value) for at in now))


def _find_landing(points: Sequence[Point], least: float, *, falls: bool = False) -> int | None:
    """Find the first point after the latest jump of `least` or more upwards, or with `falls` downwards.

    A jump may take several minutes: of a probe that follows slowly, or of a minute that holds a part of it.
    """
    way = -1.0 if falls else 1.0
    for after in range(len(points) - 1, 0, -1):
        at, value = points[after]
        for then, was in reversed(points[:after]):
            if at - then > JUMP_WITHIN_MIN:
                break
            if way * (value - was) >= least:
                return after
    return None


def _has_breathed(trace: Trace, wet: tuple[float, float]) -> bool:
    """Tell whether oxygen has moved, since the doubt began, as water moves it: meals, nights, fish.

    A probe that was cleaned in its tank leaps as well, to where a well aerated tank always is. In air it would move
    too, with the warmth of the house: so this counts only where it does not show what the house's air gives.
    """
    points = list_long(trace)
    if len(points) < BACK_POINTS + 1:
        return False
    least = wet[0] / AIR_PERCENT[0] * BREATH_PERCENT
    first = points[0][1]
    return all(abs(value - first) >= least for _, value in points[-BACK_POINTS:])


def _shows_water(trace: Trace, low: float, high: float, *, inside: bool) -> bool:
    """Tell whether the last minutes all lie between two values, or all beyond them."""
    last = list_points(trace)[-BACK_POINTS:]
    return len(last) == BACK_POINTS and all((low <= value <= high) is inside for _, value in last)
