"""The day's light at one curtain's canopy: what has come, and what is to come until midnight.

The sum so far is the light outside times what the cover and the curtain at its position let through. What is to
come is the almanac's clear sky times the clearness of the last hours of light.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final, NamedTuple

from controller.core.plan.curtain import Curtain
from controller.core.sky.almanac import Almanac, clear_sky_w_m2
from controller.core.units import DAY_MS, MINUTE_MS, UMOL_PER_JOULE_GLOBAL, HouseMs, UtcMs
from controller.core.vocabulary import Stamp

GAP_MOST_MS: Final = 10 * MINUTE_MS
"""Light is taken to have stood still in a pause of readings for no longer than this. [ms]"""

CLEARNESS_FADES_MIN: Final = 180.0
"""How fast the clearness of past hours fades; only hours of light count (our choice). [min]"""

CLEAR_LEAST_W_M2: Final = 20.0
"""A lower sun tells nothing of clouds. [W/m2]"""

USUAL_CLEARNESS: Final = 0.6
"""Before any light has been seen (our choice). [1]"""

STEP_MIN: Final = 10
"""How finely the rest of the day is reckoned, and how often. [min]"""


class LightDay(NamedTuple):
    """The light of one local day at the canopy of one curtain.

    `mol` is the sum so far [mol/m2], `lit_ms` the time with a sun that gave light, `seen_ms` how much of that a
    trusted sensor saw. `light_sum` and `clear_sum` are the faded sums whose quotient is the clearness; they go on
    from day to day. `at_ms` is the last time it was brought up to date.
    """

    local_day: int | None = None
    mol: float = 0.0
    lit_ms: int = 0
    seen_ms: int = 0
    light_sum: float = 0.0
    clear_sum: float = 0.0
    at_ms: HouseMs | None = None

    @property
    def clearness(self) -> float:
        """The share of a clear sky that the last hours of light had [1]."""
        return min(self.light_sum / self.clear_sum, 1.2) if self.clear_sum > 0.0 else USUAL_CLEARNESS

    @property
    def coverage_percent(self) -> float | None:
        """How much of the day's light a trusted sensor saw [%]; None before there was any."""
        return 100.0 * self.seen_ms / self.lit_ms if self.lit_ms else None


NO_LIGHT: Final = LightDay()


def share_through(curtain: Curtain, drawn_percent: float | None) -> float:
    """Return the share of the light outside that reaches the canopy [1]; an unknown position counts as open."""
    drawn = 0.0 if drawn_percent is None else drawn_percent / 100.0
    return curtain.cover_transmission * (1.0 - drawn * (1.0 - curtain.transmission))


def count_light(
    day: LightDay,
    curtain: Curtain,
    *,
    light_w_m2: float | None,
    is_seen: bool,
    clear_w_m2: float | None,
    drawn_percent: float | None,
    local_day: int,
    now: HouseMs,
) -> LightDay:
    """Add the light since the last time.

    Parameters
    ----------
    day, curtain
        The sum so far, and what lets light through.
    light_w_m2
        Light outside, as seen or as reckoned; None if nobody can tell. [W/m2]
    is_seen
        Whether a trusted sensor saw it.
    clear_w_m2
        A cloudless sky now; None if not known. [W/m2]
    drawn_percent
        Where the curtain stands; None if not known. [%]
    local_day, now
        Number of the local civil day, and house time [ms].
    """
    if day.local_day != local_day:
        day = day._replace(local_day=local_day, mol=0.0, lit_ms=0, seen_ms=0)
    passed_ms = 0 if day.at_ms is None else now - day.at_ms
    counted_ms = min(passed_ms, GAP_MOST_MS)
    if light_w_m2 is None:
        # Whether it was light is seen when light is known again: then the time counts as not seen.
        return day
    if passed_ms <= 0:
        return day._replace(at_ms=now)
    mol = day.mol
    if light_w_m2 > 0.0:
        through = share_through(curtain, drawn_percent)
        mol += light_w_m2 * UMOL_PER_JOULE_GLOBAL * through * counted_ms / 1e9
    lit_ms, seen_ms = day.lit_ms, day.seen_ms
    if light_w_m2 > 1.0 or (clear_w_m2 is not None and clear_w_m2 > 1.0):
        lit_ms += passed_ms
        seen_ms += counted_ms if is_seen and drawn_percent is not None else 0
    light_sum, clear_sum = day.light_sum, day.clear_sum
    if is_seen and clear_w_m2 is not None and clear_w_m2 > CLEAR_LEAST_W_M2:
        keep = math.exp(-counted_ms / (CLEARNESS_FADES_MIN * MINUTE_MS))
        light_sum = keep * light_sum + light_w_m2 * counted_ms
        clear_sum = keep * clear_sum + clear_w_m2 * counted_ms
    return LightDay(local_day, mol, lit_ms, seen_ms, light_sum, clear_sum, now)


def expect_lights(day: LightDay, almanac: Almanac, *, from_utc_ms: UtcMs, to_utc_ms: UtcMs) -> list[float]:
    """Expect the light outside until midnight, one value each ten minutes of it [W/m2]."""
    clearness = day.clearness
    step_ms = STEP_MIN * MINUTE_MS
    steps = max(0, to_utc_ms - from_utc_ms) // step_ms
    clear = (clear_sky_w_m2(almanac, from_utc_ms + step_ms // 2 + at * step_ms) for at in range(steps))
    return [clearness * (value or 0.0) for value in clear]


def sum_lights_mol(lights: Sequence[float], *, through: float) -> float:
    """Sum ten-minute lights [W/m2] at the canopy [mol/m2]."""
    return sum(lights) * UMOL_PER_JOULE_GLOBAL * through * STEP_MIN * 60.0 / 1e6


def next_midnight_ms(stamp: Stamp) -> UtcMs:
    """Return when the local civil day ends [ms]."""
    return stamp.utc_ms + DAY_MS - (stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS) % DAY_MS


def expect_sum_mol(day: LightDay, curtain: Curtain, almanac: Almanac | None, stamp: Stamp) -> float | None:
    """Expect what the day comes to at the canopy if the curtain stays open from now on [mol/m2]; None if unknown."""
    if almanac is None or not stamp.utc_trusted:
        return None
    lights = expect_lights(day, almanac, from_utc_ms=stamp.utc_ms, to_utc_ms=next_midnight_ms(stamp))
    return day.mol + sum_lights_mol(lights, through=curtain.cover_transmission)
