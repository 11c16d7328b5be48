"""What a curtain's rules see: smoothed light, temperatures, sun, and how long each has been so.

The light is reckoned to the outside, above the cover, whatever the place of the sensor. A sensor under the
curtain sees the curtain's own shadow, which would be a feedback loop; its reading is divided by what cover
and curtain let through, and where the curtain's position is unknown it cannot be used at all.
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from controller.core.curtain.balance import Balance
from controller.core.curtain.light_day import NO_LIGHT, LightDay
from controller.core.curtain.marks import NO_MARKS, Marks
from controller.core.curtain.self_knowledge import NO_WATCH, Watch
from controller.core.plan.curtain import Curtain
from controller.core.plan.sensor import Mounted
from controller.core.signals.sense import Sense
from controller.core.units import MINUTE_MS, HouseMs
from controller.core.vocabulary import Trust


class View(NamedTuple):
    """What the rules of one curtain see at one instant, and since when the light has been above or below.

    `light_w_m2` is smoothed and outside; None when neither sensor nor almanac can tell. `light_is_reckoned`
    says that the almanac stood in for the sensor, `light_factor` by what a shifted sensor's reading is multiplied.
    The `*_since_ms` are house times, None while not so.
    `shading` and `holding` are the memories of the rules (hysteresis). Before `settled_ms` the delays of the
    rules have not had their time since the first look, so that not wanting it drawn says nothing yet. `balance` is
    the memory of a curtain whose site has its economics in the settings, `marks` those of the rules against weather,
    heat, cold and moisture, `day` the light at its canopy today,
    `watch` what is being learnt of the light sensors.
    """

    light_w_m2: float | None = None
    light_at_ms: HouseMs = 0
    light_is_reckoned: bool = False
    light_factor: float = 1.0
    inside_c: float | None = None
    outside_c: float | None = None
    sun_deg: float | None = None
    sun_earlier_deg: float | None = None
    above_since_ms: HouseMs | None = None
    below_since_ms: HouseMs | None = None
    night_since_ms: HouseMs | None = None
    dark_since_ms: HouseMs | None = None
    bright_since_ms: HouseMs | None = None
    shading: bool = False
    holding_night: bool = False
    holding_dark: bool = False
    settled_ms: HouseMs = 0
    balance: Balance | None = None
    marks: Marks = NO_MARKS
    day: LightDay = NO_LIGHT
    watch: Watch = NO_WATCH


BLANK: Final = View()
"""Nothing seen yet."""


def reckon_outside_light(
    value_w_m2: float, *, mounted: Mounted, curtain: Curtain, drawn_percent: float | None
) -> float | None:
    """Reckon the light above the cover from a sensor's reading [W/m2]; None if the position is needed and unknown.

    outside = reading / (cover transmission x (1 - c (1 - curtain transmission))), c the drawn share; both
    factors are linear in area, as in Vanthoor 2011 (thesis, Wageningen, ch. 8) for shade screens.
    """
    if mounted is Mounted.OUTSIDE:
        return value_w_m2
    through = curtain.cover_transmission
    if mounted is Mounted.BELOW_CURTAIN:
        if drawn_percent is None:
            return None
        through *= 1.0 - drawn_percent / 100.0 * (1.0 - curtain.transmission)
    return value_w_m2 / through


def smooth(*, previous: float | None, value: float, elapsed_ms: int, time_constant_min: float) -> float:
    """Smooth a reading by a first-order low pass: y += (1 - exp(-dt / tau)) (x - y)."""
    if previous is None or time_constant_min <= 0.0:
        return value
    share = 1.0 - math.exp(-elapsed_ms / (time_constant_min * MINUTE_MS))
    return previous + share * (value - previous)


def trusted(sense: Sense | None) -> float | None:
    """Return the sensor's value if it may be used for a decision, else None."""
    if sense is None or sense.trust is not Trust.GOOD:
        return None
    return sense.value


def since(so: bool, since_ms: HouseMs | None, now_ms: HouseMs) -> HouseMs | None:  # noqa: FBT001 - "so" is the fact
    """Carry on, begin or end the memory of since when something has been so."""
    if not so:
        return None
    return now_ms if since_ms is None else since_ms
