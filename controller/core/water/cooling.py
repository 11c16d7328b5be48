"""How fast a tank cools when its heater stops, and what heating it takes.

Newton's law of cooling for a well-mixed tank: `T = Ta + (T0 - Ta) exp(-t / tau)` with `tau = heat held /
loss`. The loss in watts per kelvin is the site's own: fit it from a night's log. Water is taken at 25 C:
997.05 kg/m3 and 4181 J/kg/K (IAPWS-95, from memory).
"""

from __future__ import annotations

from math import exp, log
from typing import Final

from controller.core.ranges import Range

VOLUME_L: Final = Range("water volume", 1.0, 10_000_000.0, "L")
LOSS_W_K: Final = Range("heat loss", 0.01, 1_000_000.0, "W/K")
WATER_C: Final = Range("water temperature", 0.0, 50.0, "C")
AMBIENT_C: Final = Range("surrounding temperature", -50.0, 50.0, "C")
TIME_H: Final = Range("time", 0.0, 10_000.0, "h")
HEATER_W: Final = Range("heater", 0.0, 10_000_000.0, "W")
RATE_C_H: Final = Range("heating rate", 0.0, 20.0, "C/h")

HEAT_J_L_K: Final = 0.99705 * 4181.0
"""Heat held by a litre of water per kelvin [J/L/K]."""

SOURCE: Final = "Newton's law of cooling, well-mixed tank"


def find_time_constant_h(*, volume_l: float, loss_w_k: float) -> float:
    """Compute the time in which the distance to the surroundings falls to 37 % [h].

    Parameters
    ----------
    volume_l
        Water in the tank [L], 1 or more.
    loss_w_k
        Heat lost per kelvin of difference, surface and evaporation included [W/K], above 0.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    return VOLUME_L.check(volume_l) * HEAT_J_L_K / LOSS_W_K.check(loss_w_k) / 3600.0


def find_temperature_c(
    *, start_c: float, ambient_c: float, volume_l: float, loss_w_k: float, time_h: float
) -> float:
    """Compute the water's temperature some time after the heater stopped [C].

    Raises
    ------
    OutOfRange
        For a number outside its range.
    """
    start, ambient = WATER_C.check(start_c), AMBIENT_C.check(ambient_c)
    turns = TIME_H.check(time_h) / find_time_constant_h(volume_l=volume_l, loss_w_k=loss_w_k)
    return ambient + (start - ambient) * exp(-turns)


def find_balance_c(*, ambient_c: float, loss_w_k: float, heater_w: float = 0.0) -> float:
    """Compute the temperature at which water loses what its heater gives [C]: the surroundings' without one."""
    return AMBIENT_C.check(ambient_c) + HEATER_W.check(heater_w) / LOSS_W_K.check(loss_w_k)


def find_hours(
    *,
    start_c: float,
    ambient_c: float,
    target_c: float,
    volume_l: float,
    loss_w_k: float,
    heater_w: float = 0.0,
) -> float | None:
    """Compute the time in which water reaches a temperature, unheated or with a heater that stays on [h].

    Parameters
    ----------
    start_c, target_c
        Water temperature now and asked for [C], 0 to 50.
    ambient_c
        Temperature of the surroundings [C], -50 to 50.
    volume_l, loss_w_k
        As for `find_time_constant_h`.
    heater_w
        Heating that is on all the while [W], 0 to 10^7.

    Returns
    -------
    hours
        0 when it is there already; None when surroundings and heater never bring it there.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    start, target = WATER_C.check(start_c), WATER_C.check(target_c)
    balance = find_balance_c(ambient_c=ambient_c, loss_w_k=loss_w_k, heater_w=heater_w)
    tau = find_time_constant_h(volume_l=volume_l, loss_w_k=loss_w_k)
    if start == target:
        return 0.0
    gone, left = start - balance, target - balance
    # Reached only when the target lies between the start and the balance.
    if gone * left <= 0.0 or abs(left) >= abs(gone):
        return None
    return tau * log(gone / left)


def find_first_rate_c_h(
    *, start_c: float, ambient_c: float, volume_l: float, loss_w_k: float, heater_w: float = 0.0
) -> float:
    """Compute how fast the temperature changes at first [C/h]; negative when cooling."""
    balance_c = find_balance_c(ambient_c=ambient_c, loss_w_k=loss_w_k, heater_w=heater_w)
    difference = balance_c - WATER_C.check(start_c)
    return difference / find_time_constant_h(volume_l=volume_l, loss_w_k=loss_w_k)


def find_holding_w(*, hold_c: float, ambient_c: float, loss_w_k: float) -> float:
    """Compute the heating that holds a temperature [W]; negative when it takes cooling."""
    return LOSS_W_K.check(loss_w_k) * (WATER_C.check(hold_c) - AMBIENT_C.check(ambient_c))


def find_warming_w(*, volume_l: float, rate_c_h: float) -> float:
    """Compute the heating that warms water at a rate, losses apart [W]."""
    return VOLUME_L.check(volume_l) * HEAT_J_L_K * RATE_C_H.check(rate_c_h) / 3600.0
