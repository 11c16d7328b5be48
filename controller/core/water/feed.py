"""What a day's feed does to the water: ammonia out, oxygen and alkalinity used, plants fed.

Sources are named at each function. All of them are rules of proportion; none is exact to better than a third,
and measured tilapia oxygen rates in print differ more than two thousandfold, much of it from slips of unit
(Burggren et al. 2019). A site's own figure beats every one here.
"""

from __future__ import annotations

from typing import Final

from controller.core.ranges import Range

FEED_KG_D: Final = Range("feed", 0.0, 10_000.0, "kg/d")
PROTEIN_PERCENT: Final = Range("feed protein", 5.0, 70.0, "%")
FISH_KG: Final = Range("fish", 0.0, 1_000_000.0, "kg")
AREA_M2: Final = Range("growing area", 0.01, 1_000_000.0, "m2")
AMMONIA_G_D: Final = Range("ammonia load", 0.0, 1_000_000.0, "g/d")
DEMAND_MG_KG_H: Final = Range("oxygen demand", 1.0, 2_000.0, "mg/kg/h")
WEIGHT_G: Final = Range("weight of a tilapia", 3.0, 210.0, "g")
WARM_C: Final = Range("water temperature", 24.0, 32.0, "C")

AMMONIA_SHARE: Final = 0.092
"""Total ammonia nitrogen per mass of protein fed [g/g]: 16 % nitrogen, of which 57.5 % comes out as ammonia
(Timmons & Ebeling, Recirculating Aquaculture, from memory)."""
NITROGEN_IN_PROTEIN: Final = 0.16
MEASURED_AMMONIA_SHARE: Final = 0.394
"""Share of feed nitrogen measured as ammonia from red tilapia in a recirculating system [g/g]."""

FISH_OXYGEN_KG_KG: Final = 0.25
SYSTEM_OXYGEN_KG_KG: Final = 0.50
"""Oxygen per feed, fish alone and whole system [kg/kg] (Timmons & Ebeling, from memory)."""

NITRIFICATION_OXYGEN_G_G: Final = 4.57
NITRIFICATION_ALKALINITY_G_G: Final = 7.14
"""Oxygen, and alkalinity as calcium carbonate, per nitrogen nitrified [g/g]: stoichiometry, 2 x 32 / 14 and
2 x 50 / 14, growth of cells left out."""
UPTAKE_ALKALINITY_G_G: Final = 3.57
"""Alkalinity that plants return per nitrate nitrogen taken up [g/g]: stoichiometry, 50 / 14."""
CARBON_DIOXIDE_G_G: Final = 1.375
"""Carbon dioxide breathed out per oxygen used, mole for mole [g/g]: 44.01 / 32.00."""

RAFT_RATIO_LOW_G_M2_D: Final = 60.0
RAFT_RATIO_HIGH_G_M2_D: Final = 100.0
CHANNEL_SHARE: Final = 0.25
"""Daily feed per raft area [g/m2/d], and the share of it that a shallow channel can use (Rakocy 2007, Ten
guidelines for aquaponic systems)."""

SOURCE: Final = "Timmons & Ebeling, Recirculating Aquaculture (from memory): protein x 0.092"


def find_ammonia_g_d(*, feed_kg_d: float, protein_percent: float) -> float:
    """Compute total ammonia nitrogen made from a day's feed [g/d]: the design figure, on the high side.

    Parameters
    ----------
    feed_kg_d
        Feed given in a day [kg/d], 0 to 10000.
    protein_percent
        Crude protein of the feed [%], 5 to 70.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    return FEED_KG_D.check(feed_kg_d) * 1e3 * PROTEIN_PERCENT.check(protein_percent) / 100 * AMMONIA_SHARE


def find_ammonia_low_g_d(*, feed_kg_d: float, protein_percent: float) -> float:
    """Compute the same from the share measured in red tilapia, 39.4 % of feed nitrogen [g/d]."""
    protein_g_d = FEED_KG_D.check(feed_kg_d) * 1e3 * PROTEIN_PERCENT.check(protein_percent) / 100
    return protein_g_d * NITROGEN_IN_PROTEIN * MEASURED_AMMONIA_SHARE


def find_fish_oxygen_g_d(*, feed_kg_d: float) -> float:
    """Compute the oxygen that fish use to turn a day's feed over [g/d]."""
    return FEED_KG_D.check(feed_kg_d) * 1e3 * FISH_OXYGEN_KG_KG


def find_system_oxygen_g_d(*, feed_kg_d: float) -> float:
    """Compute the oxygen that fish, filter and wastes together use for a day's feed [g/d]."""
    return FEED_KG_D.check(feed_kg_d) * 1e3 * SYSTEM_OXYGEN_KG_KG


def find_fish_oxygen_g_h(*, fish_kg: float, demand_mg_kg_h: float) -> float:
    """Compute the oxygen that fish breathe [g/h].

    Parameters
    ----------
    fish_kg
        Fish in the water [kg], 0 or more.
    demand_mg_kg_h
        Oxygen that a kilogram of fish uses [mg/kg/h], 1 to 2000.
    """
    return FISH_KG.check(fish_kg) * DEMAND_MG_KG_H.check(demand_mg_kg_h) * 1e-3


def find_filter_oxygen_g_d(*, ammonia_g_d: float) -> float:
    """Compute the oxygen that the filter uses to nitrify a day's ammonia nitrogen [g/d]."""
    return AMMONIA_G_D.check(ammonia_g_d) * NITRIFICATION_OXYGEN_G_G


def find_alkalinity_use_g_d(*, ammonia_g_d: float, taken_up_g_d: float = 0.0) -> float:
    """Compute the alkalinity lost in a day [g/d as calcium carbonate]; negative when plants return more.

    Parameters
    ----------
    ammonia_g_d
        Ammonia nitrogen nitrified [g/d], 0 or more.
    taken_up_g_d
        Nitrate nitrogen taken up by plants or lost to denitrification [g/d], 0 or more.
    """
    used = AMMONIA_G_D.check(ammonia_g_d) * NITRIFICATION_ALKALINITY_G_G
    return used - AMMONIA_G_D.check(taken_up_g_d) * UPTAKE_ALKALINITY_G_G


def find_feeding_ratio_g_m2_d(*, feed_kg_d: float, area_m2: float) -> float:
    """Compute the day's feed per growing area [g/m2/d]; rafts want 60 to 100, channels a quarter of it."""
    return FEED_KG_D.check(feed_kg_d) * 1e3 / AREA_M2.check(area_m2)


def find_raft_area_m2(*, feed_kg_d: float, ratio_g_m2_d: float) -> float:
    """Compute the raft area that a day's feed can keep [m2]; `ratio_g_m2_d` from 60 to 100 (Rakocy 2007)."""
    ratio = Range("feeding ratio", RAFT_RATIO_LOW_G_M2_D, RAFT_RATIO_HIGH_G_M2_D, "g/m2/d")
    return FEED_KG_D.check(feed_kg_d) * 1e3 / ratio.check(ratio_g_m2_d)


def find_tilapia_demand_mg_kg_h(*, weight_g: float, temperature_c: float) -> float:
    """Compute the oxygen demand of Nile tilapia from their weight and the warmth of the water [mg/kg/h].

    A published fit (Scientific Reports 2021, 11:24130) that turns upwards past a weight of
    `(0.21 T - 2.75) / 0.014`: 224 g at 28 C, 164 g at 24 C. Beyond it the parabola is nonsense (655 mg/kg/h
    for a fish of 500 g), and it is refused.

    Parameters
    ----------
    weight_g
        Weight of one fish [g], 3 to 210 and not past the turn.
    temperature_c
        Water temperature [C], 24 to 32.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    t = WARM_C.check(temperature_c)
    w = WEIGHT_G.narrow(high=(0.21 * t - 2.75) / 0.014).check(weight_g)
    return 2014.45 + 2.75 * w - 165.2 * t + 0.007 * w**2 + 3.93 * t**2 - 0.21 * w * t
