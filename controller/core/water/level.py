"""What a falling level means: litres, a leak's rate, and how often the water goes round.

Geometry alone: a millimetre on a square metre is a litre. The two marks for a leak are our choice: more than
three times the site's usual loss, or more than 1 % of the water in an hour.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Final

from controller.core.ranges import Range

FALL_MM: Final = Range("fall of level", -5_000.0, 5_000.0, "mm")
SURFACE_M2: Final = Range("water surface", 0.01, 100_000.0, "m2")
TIME_H: Final = Range("time", 1.0 / 3600.0, 10_000.0, "h")
VOLUME_L: Final = Range("water volume", 1.0, 10_000_000.0, "L")
FLOW_L_MIN: Final = Range("flow", 1e-3, 1_000_000.0, "L/min")
LOAD_G_D: Final = Range("load", 0.0, 1_000_000.0, "g/d")
USUAL_L_H: Final = Range("usual loss", 0.0, 1_000_000.0, "L/h")

LEAK_TIMES_USUAL: Final = 3.0
LEAK_PERCENT_H: Final = 1.0

SOURCE: Final = "geometry: 1 mm on 1 m2 is 1 L"


class Loss(Enum):
    """What a loss of water looks like."""

    NONE = "no loss"
    USUAL = "evaporation, plants and draining"
    LEAK = "leak"


@dataclass(frozen=True, slots=True)
class WaterLoss:
    """Water lost over a while.

    Attributes
    ----------
    litres
        Loss [L]; negative when the level rose.
    rate_l_min
        Loss per minute [L/min].
    """

    litres: float
    rate_l_min: float


def find_loss(*, fall_mm: float, surface_m2: float, time_h: float) -> WaterLoss:
    """Compute the water lost from a fall of level.

    Parameters
    ----------
    fall_mm
        Fall of the level, positive downwards [mm], -5000 to 5000.
    surface_m2
        Water surface that fell [m2], above 0.
    time_h
        How long it took [h], a second or more.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    litres = FALL_MM.check(fall_mm) * SURFACE_M2.check(surface_m2)
    return WaterLoss(litres, litres / (TIME_H.check(time_h) * 60.0))


def find_loss_percent_h(loss: WaterLoss, *, volume_l: float) -> float:
    """Compute the share of the water lost in an hour [%/h]."""
    return 100.0 * loss.rate_l_min * 60.0 / VOLUME_L.check(volume_l)


def judge_loss(loss: WaterLoss, *, volume_l: float, usual_l_h: float | None) -> Loss:
    """Tell a leak from what the house uses anyway.

    Parameters
    ----------
    loss
        From `find_loss`.
    volume_l
        Water in the loop [L], 1 or more.
    usual_l_h
        The site's usual loss at this time of day [L/h]; None while it is not known yet.
    """
    usual = None if usual_l_h is None else USUAL_L_H.check(usual_l_h)
    if find_loss_percent_h(loss, volume_l=volume_l) > LEAK_PERCENT_H:
        return Loss.LEAK
    if loss.litres <= 0.0:
        return Loss.NONE
    if usual is not None and loss.rate_l_min * 60.0 > LEAK_TIMES_USUAL * usual:
        return Loss.LEAK
    return Loss.USUAL


def find_turnover_min(*, volume_l: float, flow_l_min: float) -> float:
    """Compute the time in which the flow moves the whole volume once [min].

    Parameters
    ----------
    volume_l
        Water in the tank or the loop [L], 1 or more.
    flow_l_min
        Flow through it [L/min], above 0.
    """
    return VOLUME_L.check(volume_l) / FLOW_L_MIN.check(flow_l_min)


def find_pickup_mg_l(*, load_g_d: float, flow_l_min: float) -> float:
    """Compute by how much a load raises a concentration on one pass through the tanks [mg/L]."""
    return LOAD_G_D.check(load_g_d) * 1e3 / (FLOW_L_MIN.check(flow_l_min) * 1440.0)
