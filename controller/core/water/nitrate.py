"""Nitrate: what is made, what plants take, and what an exchange of water removes.

All by the balance of a well-mixed volume. Concentrations are as nitrogen.
"""

from __future__ import annotations

from math import exp, log
from typing import Final

from controller.core.ranges import Range

NITRATE_MG_L: Final = Range("nitrate", 0.0, 5_000.0, "mg/L")
LOAD_G_D: Final = Range("nitrogen made", 0.0, 1_000_000.0, "g/d")
UPTAKE_G_D: Final = Range("nitrogen taken up", 0.0, 1_000_000.0, "g/d")
EXCHANGE_M3_D: Final = Range("water exchange", 1e-4, 100_000.0, "m3/d")
VOLUME_M3: Final = Range("water volume", 0.001, 100_000.0, "m3")
TIME_D: Final = Range("time", 0.0, 36_500.0, "d")

SOURCE: Final = "mass balance of a well-mixed volume"


def find_steady_mg_l(
    *, made_g_d: float, taken_up_g_d: float, exchange_m3_d: float, inflow_mg_l: float = 0.0
) -> float:
    """Compute the nitrate at which gains and losses balance [mg/L].

    Parameters
    ----------
    made_g_d
        Nitrate nitrogen made in a day [g/d], 0 or more.
    taken_up_g_d
        Nitrate nitrogen that plants take in a day [g/d], 0 or more and no more than comes in.
    exchange_m3_d
        Water let out and topped up in a day [m3/d], above 0.
    inflow_mg_l
        Nitrate of the top-up water [mg/L], 0 or more.

    Raises
    ------
    OutOfRange
        For a number outside its range, and for an uptake above what comes in: plants would then run short
        and take less.
    """
    flow = EXCHANGE_M3_D.check(exchange_m3_d)
    gain = LOAD_G_D.check(made_g_d) + flow * NITRATE_MG_L.check(inflow_mg_l)
    taken = UPTAKE_G_D.check(taken_up_g_d)
    if taken > gain:
        raise UPTAKE_G_D.narrow(high=gain).refuse(taken, "plants cannot take more than comes in")
    return (gain - taken) / flow


def find_nitrate_mg_l(
    *, start_mg_l: float, steady_mg_l: float, exchange_m3_d: float, volume_m3: float, time_d: float
) -> float:
    """Compute nitrate on its way from a start to a steady value under a flow-through exchange [mg/L]."""
    start, steady = NITRATE_MG_L.check(start_mg_l), NITRATE_MG_L.check(steady_mg_l)
    turns = EXCHANGE_M3_D.check(exchange_m3_d) * TIME_D.check(time_d) / VOLUME_M3.check(volume_m3)
    return steady + (start - steady) * exp(-turns)


def find_exchange_percent(*, now_mg_l: float, wanted_mg_l: float, fresh_mg_l: float = 0.0) -> float:
    """Compute the share of the water to change in one go [%].

    Parameters
    ----------
    now_mg_l, wanted_mg_l, fresh_mg_l
        Nitrate now, wanted, and of the new water [mg/L]; wanted lies between the other two.

    Raises
    ------
    OutOfRange
        For a number outside its range, and for a wanted value that no exchange reaches.
    """
    now, fresh = NITRATE_MG_L.check(now_mg_l), NITRATE_MG_L.check(fresh_mg_l)
    wanted = NITRATE_MG_L.check(wanted_mg_l)
    reach = Range("wanted nitrate", min(now, fresh), max(now, fresh), "mg/L")
    if now == fresh:
        reach.check(wanted)
        return 0.0
    return 100.0 * (now - reach.check(wanted)) / (now - fresh)


def find_half_life_d(*, exchange_m3_d: float, volume_m3: float) -> float:
    """Compute the time in which a flow-through exchange halves the distance to the steady value [d]."""
    return log(2.0) * VOLUME_M3.check(volume_m3) / EXCHANGE_M3_D.check(exchange_m3_d)
