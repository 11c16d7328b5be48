"""How long there is: for each matter of a body of water the minutes until harm, and what says so.

Two answers, whichever is sooner. The physical worst case counts only while air, flow or heat is lost or nobody
knows of it: fish breathe, carbon dioxide stays, ammonia is not taken up, water cools. The measured trend counts
only where it is certain (`controller.core.water.course`). Where a reading cannot be trusted there is no number,
and it is said why.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from typing import Final

from controller.core.plan.water import Water
from controller.core.ranges import OutOfRange
from controller.core.signals.sense import UNHEARD, Sense
from controller.core.units import KEPT_UNIT, Quantity
from controller.core.vocabulary import Trust
from controller.core.water import ammonia, carbonate, cooling, feed, horizon
from controller.core.water.course import find_course
from controller.core.water.derive import is_awaited
from controller.core.water.probe import with_doubt
from controller.core.water.trace import EMPTY, Trace

FARTHEST_MIN: Final = 48 * 60.0
"""Beyond two days a horizon is no help, and no trend holds that long. [min]"""

NOTHING_LEADS_THERE: Final = f"nothing leads there within {FARTHEST_MIN / 60:.0f} h"
"""Why there are no minutes while all is well."""

SURE: Final = 3.0
"""Standard errors of the slope that are shown as bounds. Two would do for a line whose beginning is known; here the
place of the bend and the noise are read from the course too. With three the true time lies within in nine of ten
falls of five minutes (computed in the tests)."""


class Matter(Enum):
    """What can do harm; the value is the quantity that shows it."""

    OXYGEN = Quantity.OXYGEN
    TEMPERATURE = Quantity.TEMPERATURE
    LEVEL = Quantity.LEVEL
    PH = Quantity.PH
    AMMONIA = Quantity.UNIONISED_AMMONIA


@dataclass(frozen=True, slots=True)
class _Course:
    """How the course of a matter is read: least noise [kept unit], shortest movement [points], lag [min]."""

    noise_floor: float
    shortest: int
    lag_min: float = 0.0


COURSES: Final[dict[Matter, _Course]] = {
    Matter.OXYGEN: _Course(0.02, 5, 1.0),
    Matter.LEVEL: _Course(0.1, 5),
    Matter.TEMPERATURE: _Course(0.05, 40),
    Matter.PH: _Course(0.015, 40),
    Matter.AMMONIA: _Course(0.001, 40),
}
"""Our choice: the resolution of usual probes, and a minute of lag for oxygen. Slow matters must have moved for
longer than a person pours or changes water, half an hour (common practice, no source): what a pour does ends with
it, and only a movement that goes on beyond it leads anywhere. Computed over 48 pours of up to half an hour that end
short of harm: with 20 points 34 of them showed an hour or less, with 34 points 4, with 40 none. What they wait for is
told at once where its cause is watched: without air, flow or heat the worst case does not wait for a trend."""

assert set(COURSES) == set(Matter), "every matter has its course"


@dataclass(frozen=True, slots=True)
class Harm:
    """Where harm begins for one sensor, from the alarm list [kept unit]; None where no entry says."""

    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Scene:
    """What an outlook is judged from: readings, their courses, doubts about probes, and the limits."""

    senses: Mapping[str, Sense]
    traces: Mapping[str, Trace]
    doubts: Mapping[str, str]
    harms: Mapping[str, Harm]

    def look_at(self, name: str) -> Sense:
        """Return what is known of a sensor, doubtful where its neighbours contradict it."""
        return with_doubt(name, self.senses.get(name, UNHEARD), self.doubts)

    def read(self, name: str) -> float | None:
        """Return the value of a sensor that can be trusted, else None."""
        sense = self.look_at(name)
        return sense.value if sense.trust is Trust.GOOD else None


@dataclass(frozen=True, slots=True)
class Outlook:
    """The time left for one matter of one body of water.

    Attributes
    ----------
    water, matter, sensor
        What it is about, and the reading that shows it.
    limit
        Value at which harm begins [kept unit].
    minutes
        Minutes until then, 0 when it has begun; None when no harm is in sight or nobody can tell [min].
    basis
        What says so; None without minutes.
    because
        What is lost, such as "no air", or how the reading moves; or why nobody can tell.
    known
        False when the reading cannot be trusted, so that None means "unknown" and not "no harm".
    soonest_minutes, latest_minutes
        Bounds of a trend, that hold nine times in ten [min]; None for a worst case, which has no spread.
    """

    water: str
    matter: Matter
    sensor: str
    limit: float
    minutes: float | None
    basis: horizon.Basis | None
    because: str
    known: bool = True
    soonest_minutes: float | None = None
    latest_minutes: float | None = None

    @property
    def least_minutes(self) -> float | None:
        """The time that can be counted on: the sooner bound of a trend, else the minutes themselves [min]."""
        return self.minutes if self.soonest_minutes is None else self.soonest_minutes

    def write_left(self) -> str:
        """Write the time left, from the soonest to the latest where they differ; empty without minutes."""
        if self.minutes is None:
            return ""
        if self.soonest_minutes is None:
            return write_minutes(self.minutes)
        return write_span(self.soonest_minutes, self.latest_minutes)

    def describe(self) -> str:
        """Say it in one clause."""
        unit = KEPT_UNIT[self.matter.value]
        where = f"pH {self.limit:g}"
        if self.matter is not Matter.PH:
            where = f"{self.matter.value.value} {self.limit:g} {unit}"
        if not self.known:
            return f"unknown until {where}: {self.because}"
        if self.minutes is None:
            return f"no harm in sight ({where})"
        if self.minutes <= 0.0:
            return f"harm now: {where} is passed"
        return f"{self.write_left()} until {where} ({self.because})"


def write_minutes(minutes: float) -> str:
    """Write a time left as people say it, rounded down: nobody is promised more than there is."""
    if minutes < 120.0:
        return f"{max(int(minutes + 0.01), 1)} min"
    return f"{int(minutes / 60.0)} h"


def write_span(soonest: float, latest: float | None) -> str:
    """Write a time left that is known within bounds: "18 to 27 min"; without a latest it is "18 min or more"."""
    first = write_minutes(soonest)
    if latest is None or latest > FARTHEST_MIN:
        return f"{first} or more"
    last = write_minutes(latest)
    if first == last:
        return first
    return f"{first.removesuffix(' min') if last.endswith(' min') else first} to {last}"


def find_loss(water: Water, scene: Scene, *, without_air: bool = False) -> str:
    """Say what of air and flow is lost or unknown, the worst first; empty when both are there or not watched.

    `without_air` asks of the flow alone.
    """
    unknown = ""
    for name in () if without_air else water.air:
        sense = scene.look_at(name)
        if is_awaited(sense):
            continue
        if sense.trust is not Trust.GOOD or sense.value is None:
            unknown = unknown or "air unknown"
        elif sense.value < 0.5:
            return "no air"
    if water.flow:
        sense = scene.look_at(water.flow)
        if sense.trust is Trust.GOOD and sense.value is not None:
            if sense.value < water.least_flow_l_min:
                return "no flow"
        elif not is_awaited(sense):
            unknown = unknown or "flow unknown"
    return unknown


def foresee(water: Water, scene: Scene) -> tuple[Outlook, ...]:
    """Judge every matter of a body of water for which the alarm list says where harm begins."""
    return tuple(outlook for matter in Matter for outlook in _foresee_matter(water, matter, scene))


def find_sensor(water: Water, matter: Matter) -> str:
    """Name the reading that shows a matter; empty when the water has none."""
    match matter:
        case Matter.OXYGEN:
            return water.oxygen
        case Matter.TEMPERATURE:
            return water.temperature
        case Matter.LEVEL:
            return water.level
        case Matter.PH:
            return water.ph
        case Matter.AMMONIA:
            whole = water.total_ammonia and water.ph and water.temperature
            return f"{water.name} {Quantity.UNIONISED_AMMONIA.value}" if whole else ""


def _foresee_matter(water: Water, matter: Matter, scene: Scene) -> Iterator[Outlook]:
    sensor = find_sensor(water, matter)
    harm = scene.harms.get(sensor)
    if not sensor or harm is None:
        return
    course = COURSES[matter]
    trend = None
    if scene.read(sensor) is not None:
        trend = find_course(
            scene.traces.get(sensor, EMPTY),
            noise_floor=course.noise_floor,
            shortest=course.shortest,
            lag_min=course.lag_min,
        )
    found = [
        _foresee_end(water, matter, sensor, scene, trend, limit=limit, falling=falling)
        for limit, falling in ((harm.low, True), (harm.high, False))
        if limit is not None
    ]
    # Of the two ends the sooner counts; with no harm in sight the low end speaks for both.
    yield min(found, key=lambda outlook: float("inf") if outlook.minutes is None else outlook.minutes)


def _foresee_end(
    water: Water,
    matter: Matter,
    sensor: str,
    scene: Scene,
    trend: horizon.Trend | None,
    *,
    limit: float,
    falling: bool,
) -> Outlook:
    sense = scene.look_at(sensor)
    value = sense.value
    if sense.trust is not Trust.GOOD or value is None:
        why = f"{sensor} is {sense.trust.value}" + (f", {sense.why}" if sense.why else "")
        silent = sense.trust is Trust.STALE or sense.last is None
        if silent and value is not None and ((value <= limit) if falling else (value >= limit)):
            # What it says now is nothing; when it was last believed harm had begun.
            return Outlook(
                water.name, matter, sensor, limit, 0.0, horizon.Basis.TREND, f"passed before {why}"
            )
        return Outlook(water.name, matter, sensor, limit, None, None, why, known=False)
    if (value <= limit) if falling else (value >= limit):
        return Outlook(water.name, matter, sensor, limit, 0.0, horizon.Basis.TREND, "passed")
    worst, because = _find_worst_case(water, matter, scene, value=value, limit=limit, falling=falling)
    if trend is not None and ((trend.value <= limit) if falling else (trend.value >= limit)):
        # The reading itself has not passed it: the line is judged from where the reading is.
        trend = replace(trend, value=value)
    chosen = horizon.choose_sooner(worst_case_minutes=worst, trend=trend, limit=limit, falling=falling)
    if chosen is None or chosen.minutes > FARTHEST_MIN:
        return Outlook(water.name, matter, sensor, limit, None, None, NOTHING_LEADS_THERE)
    soonest = latest = None
    if chosen.basis is horizon.Basis.TREND and trend is not None:
        because = f"by its trend, {trend.slope_per_h:+.2g} {KEPT_UNIT[matter.value]} an hour"
        spread = SURE * trend.error_per_h
        bounds = replace(trend, low_per_h=trend.slope_per_h - spread, high_per_h=trend.slope_per_h + spread)
        left = horizon.find_time_left(bounds, limit=limit, falling=falling)
        soonest, latest = left.soonest_minutes, left.latest_minutes
    return Outlook(
        water.name,
        matter,
        sensor,
        limit,
        chosen.minutes,
        chosen.basis,
        because,
        soonest_minutes=soonest,
        latest_minutes=latest,
    )


def _find_worst_case(
    water: Water, matter: Matter, scene: Scene, *, value: float, limit: float, falling: bool
) -> tuple[float | None, str]:
    """Return the minutes of the physical worst case and what is lost; None while nothing is, or unknown."""
    if matter is Matter.TEMPERATURE:
        lost = _find_heat_loss(water, scene)
    else:
        # Without air the filter works on for a while; without flow it is cut off, with air or without.
        lost = find_loss(water, scene, without_air=matter is Matter.AMMONIA)
    reckon = _WORST_CASES.get((matter, falling))
    if not lost or reckon is None:
        return None, ""
    try:
        return reckon(water, scene, value, limit), lost
    except OutOfRange:
        return None, ""


def _find_heat_loss(water: Water, scene: Scene) -> str:
    if not water.heater:
        return ""
    sense = scene.look_at(water.heater)
    if is_awaited(sense):
        return ""
    if sense.trust is not Trust.GOOD or sense.value is None:
        return "heater unknown"
    return "no heater" if sense.value < 0.5 else ""


def _use_oxygen(water: Water) -> horizon.Draw | None:
    if water.fish_kg is None or water.volume_l is None:
        return None
    return horizon.Draw(1e3 * water.fish_kg / water.volume_l, water.demand_mg_kg_h)


def _suffocate(water: Water, scene: Scene, value: float, limit: float) -> float | None:
    """Minutes in which the fish breathe the oxygen down to the limit."""
    del scene
    draw = _use_oxygen(water)
    return None if draw is None else horizon.find_minutes(draw, oxygen_mg_l=value, limit_mg_l=limit)


def _acidify(water: Water, scene: Scene, value: float, limit: float) -> float | None:
    """Minutes in which what the fish breathe out brings the pH down, while none of it leaves."""
    draw, alkalinity = _use_oxygen(water), scene.read(water.alkalinity)
    temperature = scene.read(water.temperature)
    if draw is None or alkalinity is None or temperature is None:
        return None
    now, then = (
        carbonate.find_co2_mg_l(ph=ph, alkalinity_mg_l=alkalinity, temperature_c=temperature)
        for ph in (value, limit)
    )
    made = horizon.find_use_mg_l_h(draw) * feed.CARBON_DIOXIDE_G_G
    return 60.0 * (then - now) / made if made > 0.0 else None


def _poison(water: Water, scene: Scene, value: float, limit: float) -> float | None:
    """Minutes in which the ammonia of the feed reaches the limit, while the filter takes none."""
    del value
    total, ph = scene.read(water.total_ammonia), scene.read(water.ph)
    temperature = scene.read(water.temperature)
    if total is None or ph is None or temperature is None or water.feed_g_d is None or not water.volume_l:
        return None
    most = ammonia.find_total_mg_l(unionised_mg_l=limit, ph=ph, temperature_c=temperature)
    made = feed.find_ammonia_g_d(feed_kg_d=water.feed_g_d / 1e3, protein_percent=water.protein_percent)
    rise_mg_l_min = made * 1e3 / water.volume_l / 1440.0
    return max(most - total, 0.0) / rise_mg_l_min if rise_mg_l_min > 0.0 else None


def _cool(water: Water, scene: Scene, value: float, limit: float) -> float | None:
    """Minutes in which unheated water cools to the limit."""
    around = scene.read(water.surroundings)
    if around is None or water.heat_loss_w_k is None or water.volume_l is None:
        return None
    hours = cooling.find_hours(
        start_c=value,
        ambient_c=around,
        target_c=limit,
        volume_l=water.volume_l,
        loss_w_k=water.heat_loss_w_k,
    )
    return None if hours is None else 60.0 * hours


_WORST_CASES: Final[dict[tuple[Matter, bool], Callable[[Water, Scene, float, float], float | None]]] = {
    (Matter.OXYGEN, True): _suffocate,
    (Matter.PH, True): _acidify,
    (Matter.AMMONIA, False): _poison,
    (Matter.TEMPERATURE, True): _cool,
}
"""What happens to a matter when its support is lost: by matter, and whether it falls. A level has no such law."""
