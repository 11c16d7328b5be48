"""Storm and snow: what a person or a sensor says of the weather, and where the curtain goes for it.

Snow opens, so that the house can melt it, before it begins if somebody says so in time (Bartok, extension
bulletins on greenhouses in storms); wind raises the loss of heat through the cover, so that a storm draws unless
the site wants otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from controller.core.curtain.latch import follow
from controller.core.curtain.marks import Marks
from controller.core.curtain.wishes import Rule, Wish
from controller.core.plan.curtain import Curtain, StormAndSnow
from controller.core.units import MINUTE_MS, HouseMs
from controller.core.vocabulary import Weather

LONGEST_H: Final = 96.0
"""What a person says of the weather ends by itself within four days, so that it is no trap in spring. [h]"""

DEFAULT: Final = StormAndSnow()
"""What holds for a curtain without a table of its own when a person says storm or snow."""


@dataclass(frozen=True, slots=True)
class Standing:
    """What `person` said of the weather, until `until_ms`. `NONE` says: whatever the sensors say."""

    weather: Weather
    until_ms: HouseMs
    person: str


def remember_weather(
    rule: StormAndSnow, marks: Marks, *, wind_m_s: float | None, snows: bool | None, now: HouseMs
) -> Marks:
    """Bring the memory of wind and snow up to date; a sensor that is lost counts as over, after its delay."""
    begin_ms, end_ms = rule.begin_after_min * MINUTE_MS, rule.end_after_min * MINUTE_MS
    storms = follow(
        marks.storms,
        begins=wind_m_s is not None and wind_m_s > rule.storm_above_m_s,
        ends=wind_m_s is None or wind_m_s < rule.calm_below_m_s,
        now=now,
        begin_ms=begin_ms,
        end_ms=end_ms,
    )
    snow = follow(
        marks.snows, begins=snows is True, ends=snows is not True, now=now, begin_ms=begin_ms, end_ms=end_ms
    )
    if storms is marks.storms and snow is marks.snows and wind_m_s == marks.wind_m_s:
        return marks
    return marks._replace(storms=storms, snows=snow, wind_m_s=wind_m_s)


def wish_weather(curtain: Curtain, marks: Marks, standing: Standing | None, now: HouseMs) -> Wish | None:
    """Wish for open in snow and for the site's choice in a storm; what a person says counts before the sensors."""
    rule = curtain.storm_and_snow or DEFAULT
    if standing is not None and now < standing.until_ms:
        left_h = (standing.until_ms - now) / (60 * MINUTE_MS)
        if standing.weather is Weather.NONE:
            return None
        return _go(rule, standing.weather, (standing.person, left_h, None, None))
    if marks.snows.on:
        return _go(rule, Weather.SNOW, ("", None, None, None))
    if marks.storms.on:
        return _go(rule, Weather.STORM, ("", None, marks.wind_m_s, rule.calm_below_m_s))
    return None


def _go(rule: StormAndSnow, weather: Weather, numbers: tuple[float | str | None, ...]) -> Wish:
    """Wish for the place of this weather."""
    percent = 0.0 if weather is Weather.SNOW else rule.storm_drawn_percent
    return Wish(Rule.STORM_AND_SNOW, percent, (weather.value, *numbers), urgent=True)
