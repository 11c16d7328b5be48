"""Conductivity brought to 25 C.

Linear compensation, `k25 = kt / (1 + 0.02 (t - 25))`: the common rule of 2 % per kelvin (common practice; ISO
7888:1985 itself tabulates a non-linear factor for natural water). It errs by about 0.1 % per kelvin away from
25 C, so it is refused below 5 and above 35 C.

Fish water is never judged by the nutrient line's conductivity: two loops, two sets of limits.
"""

from __future__ import annotations

from typing import Final

from controller.core.ranges import Range

CONDUCTIVITY_MS_CM: Final = Range("conductivity", 0.0, 100.0, "mS/cm")
TEMPERATURE_C: Final = Range("water temperature", 5.0, 35.0, "C")

PER_C: Final = 0.02
SOURCE: Final = "linear compensation, 2 % per kelvin (common practice)"


def find_at_25_c_ms_cm(*, conductivity_ms_cm: float, temperature_c: float) -> float:
    """Compute the conductivity that the water would have at 25 C [mS/cm].

    Parameters
    ----------
    conductivity_ms_cm
        Conductivity as measured, not yet compensated [mS/cm], 0 to 100.
    temperature_c
        Water temperature [C], 5 to 35.

    Raises
    ------
    OutOfRange
        For a number outside the ranges above.
    """
    return CONDUCTIVITY_MS_CM.check(conductivity_ms_cm) / _factor(temperature_c)


def find_at_ms_cm(*, conductivity_25_c_ms_cm: float, temperature_c: float) -> float:
    """Compute the conductivity at a temperature from that at 25 C [mS/cm]: the inverse."""
    return CONDUCTIVITY_MS_CM.check(conductivity_25_c_ms_cm) * _factor(temperature_c)


def _factor(temperature_c: float) -> float:
    return 1.0 + PER_C * (TEMPERATURE_C.check(temperature_c) - 25.0)
