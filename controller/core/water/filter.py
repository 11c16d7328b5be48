"""The nitrifying filter: load against capacity, and the ammonia at which it settles.

Removal by Monod per area of media, `r = r_max S / (K + S)`, so a load `r = P / A` settles at `S = K r /
(r_max - r)`. At `r >= r_max` there is no such S: the filter is overloaded and ammonia goes on rising. Just
below, S is a number that no water with fish ever has, and the formula no longer holds: beyond 200 mg/L
(`AMMONIA_MG_L`) the filter counts as overloaded as well.

Warmth: 4.275 % per kelvin about 20 C where ammonia is the limit (Zhu & Chen 2002, Aquacultural Engineering
26:221-237; sensitivity at 20 C), used over the 14 to 34 C in which nitrifiers work (Somerville et al. 2014,
FAO Technical Paper 589). The rule of 10 % for suspended growth overstates a film.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from controller.core.ranges import Range

LOAD_G_D: Final = Range("ammonia load", 0.0, 1_000_000.0, "g/d")
AREA_M2: Final = Range("filter area", 0.01, 10_000_000.0, "m2")
RATE_G_M2_D: Final = Range("highest removal", 0.01, 5.0, "g/m2/d")
HALF_MG_L: Final = Range("half-saturation", 0.01, 20.0, "mg/L")
AMMONIA_MG_L: Final = Range("total ammonia", 0.0, 200.0, "mg/L")
TEMPERATURE_C: Final = Range("water temperature", 14.0, 34.0, "C")

WARMTH_PER_C: Final = 1.04275
SOURCE: Final = "Monod removal per area of media, steady state"


@dataclass(frozen=True, slots=True)
class Media:
    """What the filter can do.

    Attributes
    ----------
    area_m2
        Wetted area of the media [m2], above 0.
    highest_g_m2_d
        Highest removal of ammonia nitrogen [g/m2/d], 0.01 to 5; warm water 0.2 to 1.0 (from memory).
    half_mg_l
        Total ammonia at which half of that is removed [mg/L], 0.01 to 20.
    """

    area_m2: float
    highest_g_m2_d: float
    half_mg_l: float


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a load leaves the filter.

    Attributes
    ----------
    load_percent
        Load over capacity [%]; 100 and more is overload, and so is what would settle beyond 200 mg/L.
    steady_mg_l
        Total ammonia nitrogen at which it settles [mg/L]; None when overloaded.
    """

    load_percent: float
    steady_mg_l: float | None

    @property
    def overloaded(self) -> bool:
        """True when no ammonia up to 200 mg/L lets the filter keep up."""
        return self.steady_mg_l is None


def find_capacity_g_d(media: Media) -> float:
    """Compute the most ammonia nitrogen that the filter can remove [g/d].

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """
    HALF_MG_L.check(media.half_mg_l)
    return AREA_M2.check(media.area_m2) * RATE_G_M2_D.check(media.highest_g_m2_d)


def find_removal_g_d(media: Media, *, ammonia_mg_l: float) -> float:
    """Compute the ammonia nitrogen removed at a concentration [g/d]."""
    ammonia = AMMONIA_MG_L.check(ammonia_mg_l)
    return find_capacity_g_d(media) * ammonia / (HALF_MG_L.check(media.half_mg_l) + ammonia)


def judge_load(media: Media, *, load_g_d: float) -> Standing:
    """Compute where a daily load of ammonia nitrogen [g/d] leaves the filter.

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """
    load, capacity = LOAD_G_D.check(load_g_d), find_capacity_g_d(media)
    percent = 100.0 * load / capacity
    if load >= capacity:
        return Standing(percent, None)
    steady_mg_l = media.half_mg_l * load / (capacity - load)
    return Standing(percent, steady_mg_l if steady_mg_l <= AMMONIA_MG_L.high else None)


def adjust_rate_g_m2_d(*, rate_g_m2_d: float, from_c: float, to_c: float) -> float:
    """Carry a removal rate from one temperature to another [g/m2/d].

    Parameters
    ----------
    rate_g_m2_d
        Highest removal at `from_c` [g/m2/d], 0.01 to 5.
    from_c, to_c
        Water temperatures [C], 14 to 34.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    step = TEMPERATURE_C.check(to_c) - TEMPERATURE_C.check(from_c)
    return float(RATE_G_M2_D.check(rate_g_m2_d) * WARMTH_PER_C**step)
