"""Where the rules of a curtain want it, reckoned from its settings and from the true house.

Nothing of the controller's own reasoning is used: the order is that of the documents, the limits and delays are
those of the settings, and what lies within the error of a sensor is left open. Each rule is a `Spell`; the first
in the order that is not surely off decides, and if that is not sure either, nobody is held to anything.
"""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING, Final, NamedTuple

from controller.core.plan.curtain import Curtain, StormAndSnow
from controller.core.units import HOUR_MS, MINUTE_MS
from controller.core.vocabulary import (
    Event,
    HoldAsked,
    HoldReleased,
    Weather,
    WeatherTold,
)
from simulators.promises.light_day import LightDay, find_high_mol_m2
from simulators.promises.spell import Spell, Sure, Window, both, either, no
from simulators.sun import elevation_deg

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

WARM_C: Final = 0.6
"""Room for noise, lag and steps of an air thermometer. [C]"""

MOIST_PERCENT: Final = 4.0
WIND_M_S: Final = 1.0
LIGHT_SHARE: Final = 1.06
LIGHT_W_M2: Final = 12.0
"""And of the other sensors. [%], [m/s], [1], [W/m2]"""

NO_STORM: Final = StormAndSnow()
"""What the words of a person mean where the settings say nothing of storm and snow."""

SLACK_MIN: Final = 3.0
"""Room for the minutes in which sensors speak. [min]"""

LATE_MIN: Final = 6
"""A thermometer shows the air of these last minutes. [min]"""

DAYLIGHT_W_M2: Final = 60.0
"""With more light than this the sun is up, wherever it is. [W/m2]"""

HOLD_MOST_MIN: Final = 1440.0
WEATHER_MOST_H: Final = 96.0
"""A hold, and what a person said of the weather, end by themselves (README). [min], [h]"""

SUNRISE_MIN: Final = 30.0
"""Room about sunrise, which is refraction, the sun's own width, and a limit between two minutes. [min]"""

NARROW_PERCENT: Final = 2.0
"""Room about the edges of a gap. [%]"""


class Wanted(NamedTuple):
    """What the rules want: which rule, and between which positions the curtain must then stand [%].

    `comfort` says that it waits for dwell and for the day's budget.
    """

    rule: str
    least_percent: float
    most_percent: float
    comfort: bool = True


class Rules:
    """The rules of one curtain, followed minute by minute."""

    def __init__(self, curtain: Curtain) -> None:
        self.curtain = curtain
        ceiling = curtain.light_ceiling
        filter_min = 3.0 if ceiling is None else ceiling.filter_min
        self._light = Window(2 + round(5.0 * filter_min))
        self._inside, self._outside, self._humid = Window(LATE_MIN), Window(LATE_MIN), Window(LATE_MIN)
        self._wind = Window(3)
        self._day = LightDay(curtain)
        self._risen_min = 0
        self._told: tuple[Weather, int] = (Weather.NONE, 0)
        self._held: tuple[float, int] = (0.0, 0)
        self.moist = Spell()
        self.storm, self.snow, self.hot, self.glaring, self.cold = (Spell() for _ in range(5))
        self.shade, self.sum, self.night, self.dark = (Spell() for _ in range(4))

        weather = curtain.storm_and_snow or StormAndSnow()
        self._kept = tuple(
            spell
            for spell, rule in (
                (self.storm, weather.wind_sensor),
                (self.snow, weather.snow_sensor),
                (self.hot, curtain.too_hot),
                (self.glaring, curtain.too_hot),
                (self.cold, curtain.too_cold),
                (self.moist, curtain.humidity_gap),
                (self.shade, curtain.light_ceiling),
                (self.sum, curtain.light_sum),
                (self.night, curtain.hold_heat),
                (self.dark, curtain.hold_heat),
            )
            if rule
        )

    def hear(self, event: Event, now: int) -> None:
        """Hear what people say of the weather and of the curtain, at an instant of the house axis [ms]."""
        match event:
            case HoldAsked() if isfinite(event.minutes) and isfinite(event.drawn_percent):
                minutes = min(max(event.minutes, 1.0), HOLD_MOST_MIN)
                percent = min(max(event.drawn_percent, 0.0), 100.0)
                self._held = (percent, now + round(minutes * MINUTE_MS))
            case HoldReleased():
                self._held = (0.0, 0)
            case WeatherTold() if isfinite(event.hours):
                hours = min(event.hours, WEATHER_MOST_H)
                self._told = (event.weather, now + round(hours * HOUR_MS) if hours > 0.0 else 0)
            case _:
                pass

    def keep_words_of(self, other: Rules) -> None:
        """Take over what people have said under the settings before."""
        self._told, self._held = other._told, other._held

    def forget(self) -> None:
        """Know nothing of what sensors have shown: they may have lied, or nobody was there to hear them."""
        for spell in self._kept:
            spell.forget()

    def pass_minute(self, run: Clockwork) -> Wanted | None:
        """Let a minute pass, and tell what the rules want; None if nobody can say."""
        world = run.world
        self._light.take(world.weather.global_w_m2)
        self._inside.take(world.house.air_c)
        self._outside.take(world.weather.outdoor_c)
        self._follow_weather(run)
        self._follow_climate(world.house.humidity_percent)
        if self.curtain.economics is None:
            self._follow_comfort(run)
        return self._decide(run.clocks.house_ms(run.now_utc_ms))

    def _follow_weather(self, run: Clockwork) -> None:
        """Follow wind and snow, where the settings name sensors for them."""
        rule = self.curtain.storm_and_snow
        if rule is None:
            return
        delays = {"begin_min": rule.begin_after_min + SLACK_MIN, "end_min": rule.end_after_min + SLACK_MIN}
        if rule.wind_sensor:
            self._wind.take(run.world.weather.wind_m_s)
            self.storm.pass_minute(
                begins=self._wind.above(rule.storm_above_m_s, margin=WIND_M_S),
                ends=self._wind.below(rule.calm_below_m_s, margin=WIND_M_S),
                **delays,
            )
        if rule.snow_sensor:
            snows = run.world.snows
            self.snow.pass_minute(begins=snows, ends=not snows, **delays)

    def _follow_climate(self, humidity_percent: float) -> None:
        """Follow heat, cold and moisture under the curtain."""
        hot, cold, gap = self.curtain.too_hot, self.curtain.too_cold, self.curtain.humidity_gap
        inside, light = self._inside, self._light
        if hot is not None:
            delay = hot.delay_min + SLACK_MIN
            self.hot.pass_minute(
                begins=inside.above(hot.above_c, margin=WARM_C),
                ends=inside.below(hot.above_c - hot.hysteresis_c, margin=WARM_C),
                begin_min=delay,
                end_min=delay,
            )
            self.glaring.pass_minute(
                begins=self._brighter(hot.shade_above_w_m2),
                # How much less ends it is not in the settings: surely half of it.
                ends=no(self._brighter(0.5 * hot.shade_above_w_m2)),
                begin_min=delay,
                end_min=delay,
            )
            if self.glaring.on is True and self._brighter(hot.shade_above_w_m2) is not True:
                self.glaring.on = None
        if cold is not None:
            delay = cold.delay_min + SLACK_MIN
            colder = self._difference_above(0.0)
            dim = light.below(cold.light_below_w_m2, margin=LIGHT_W_M2, share=LIGHT_SHARE)
            bright = self._brighter(1.5 * cold.light_below_w_m2)
            warm = inside.above(cold.below_c + cold.hysteresis_c, margin=WARM_C)
            self.cold.pass_minute(
                begins=both(both(inside.below(cold.below_c, margin=WARM_C), colder), dim),
                ends=either(warm, either(no(colder), bright if bright is True else (False if dim else None))),
                begin_min=delay,
                end_min=delay,
            )
        if gap is not None:
            self._humid.take(humidity_percent)
            damp = self._humid.above(gap.above_percent, margin=MOIST_PERCENT)
            delay = gap.delay_min + SLACK_MIN
            self.moist.pass_minute(begins=damp, ends=no(damp), begin_min=delay, end_min=delay)

    def _follow_comfort(self, run: Clockwork) -> None:
        """Follow light and heat."""
        ceiling, heat, band, light = (
            self.curtain.light_ceiling, self.curtain.hold_heat, self.curtain.light_sum, self._light,
        )  # fmt: skip
        if ceiling is not None:
            self.shade.pass_minute(
                begins=self._brighter(ceiling.draw_above_w_m2),
                ends=light.below(ceiling.open_below_w_m2, margin=LIGHT_W_M2, share=LIGHT_SHARE),
                begin_min=ceiling.draw_delay_min + SLACK_MIN,
                end_min=ceiling.open_delay_min + SLACK_MIN,
            )
        if band is not None:
            beyond = self._day.pass_minute(run, find_high_mol_m2(self.curtain))
            self.sum.pass_minute(
                begins=both(beyond, self._brighter(150.0)),
                ends=either(no(beyond), no(self._brighter(10.0))),
                begin_min=band.draw_delay_min + 10.0 + SLACK_MIN,
                end_min=band.open_delay_min + 10.0 + SLACK_MIN,
            )
        if heat is None:
            return
        site = run.plan.site
        sun = 90.0
        if light.high < DAYLIGHT_W_M2:
            sun = elevation_deg(
                run.now_utc_ms, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg
            )
        self._risen_min = self._risen_min + 1 if sun > 0.5 else 0
        night = (
            True
            if sun < heat.night_below_deg - 1.0
            else (False if sun > heat.night_below_deg + 1.0 else None)
        )
        wanted = both(
            self._inside.below(heat.inside_below_c, margin=WARM_C),
            self._difference_above(heat.least_difference_c),
        )
        low = light.below(heat.low_light_below_w_m2, margin=LIGHT_W_M2 / 2.0, share=LIGHT_SHARE)
        most, least = self._brighter(heat.open_most_w_m2), self._brighter(heat.open_least_w_m2)
        bright = True if most is True else (False if least is False else None)
        long_up = self._risen_min > heat.latest_after_sunrise_min - SUNRISE_MIN
        may_end: Sure = bright if not long_up or bright is True else None
        delays = {"begin_min": heat.draw_delay_min + SLACK_MIN, "end_min": heat.open_delay_min + SLACK_MIN}
        self.night.pass_minute(begins=both(night, wanted), ends=both(no(night), may_end), **delays)
        self.dark.pass_minute(begins=both(low, wanted), ends=may_end, **delays)

    def _brighter(self, limit_w_m2: float) -> Sure:
        return self._light.above(limit_w_m2, margin=LIGHT_W_M2, share=LIGHT_SHARE)

    def _difference_above(self, limit_c: float) -> Sure:
        """Tell whether it is so much warmer inside."""
        if self._inside.low - self._outside.high > limit_c + 2 * WARM_C:
            return True
        return False if self._inside.high - self._outside.low < limit_c - 2 * WARM_C else None

    def _decide(self, now: int) -> Wanted | None:
        """Go down the order of the rules."""
        weather, told_until = self._told
        storm = self.curtain.storm_and_snow or NO_STORM
        at_storm = storm.storm_drawn_percent
        if now < told_until and weather is not Weather.NONE:
            place = 0.0 if weather is Weather.SNOW else at_storm
            return Wanted(f"{weather.value}, as somebody says", place, place, comfort=False)
        sensed = now >= told_until
        hot, ceiling, band = self.curtain.too_hot, self.curtain.light_ceiling, self.curtain.light_sum
        shade = 0.0 if hot is None else hot.drawn_percent
        glare = self.glaring.on
        held_percent, held_until = self._held
        order: tuple[tuple[Sure, str, float | None, bool], ...] = (
            (self.snow.on if sensed else False, "snow", 0.0, False),
            (self.storm.on if sensed else False, "storm", at_storm, False),
            (now < held_until, "manual hold", held_percent, False),
            (self.hot.on, "too hot", None if glare is None else shade * glare, False),
            (self.cold.on, "too cold", 100.0, False),
            (None if self.curtain.economics is not None else False, "balance of costs", None, True),
            (self.shade.on, "light ceiling", 0.0 if ceiling is None else ceiling.drawn_percent, True),
            (self.sum.on, "day's light sum", 0.0 if band is None else band.drawn_percent, True),
        )
        for on, rule, percent, comfort in order:
            if on is not False:
                return None if on is None or percent is None else Wanted(rule, percent, percent, comfort)
        heat = either(self.night.on, self.dark.on)
        if heat is None:
            return None
        gap = self.curtain.humidity_gap
        if heat:
            least = 100.0 if gap is None else 100.0 - gap.gap_percent - NARROW_PERCENT
            return Wanted("hold heat", least, 100.0)
        return Wanted("open", 0.0, 0.0)
