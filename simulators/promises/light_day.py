"""The true light at a canopy today, and the most that can still come."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

from controller.core.plan.curtain import Curtain
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS
from simulators.promises.spell import Sure
from simulators.sun import clear_minutes_w_m2

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

MOL_PER_W_MIN: Final = 2.0565 * 60e-6
"""Light of a minute at 1 W/m2: 0.45 x 4.57 (Thimijan and Heins 1983, HortScience 18:818-822). [mol/m2]"""

ROOM: Final = 1.1
"""Room for the error of the sensor and of the share that is let through. [1]"""

OVER_CLEAR: Final = 1.1
"""An hour's mean is at most so much of a clear sky. [1]"""


def find_high_mol_m2(curtain: Curtain) -> float:
    """Find the most light at the canopy that the settings want of a day [mol/m2]; no end if they say none."""
    for zone in curtain.zone:
        if zone.name == curtain.ruling_zone or len(curtain.zone) == 1:
            return zone.high_mol_m2 / zone.light_share
    return math.inf if curtain.light_sum is None else curtain.light_sum.high_mol_m2


class LightDay:
    """The day of one curtain's canopy, by the clock on the wall."""

    def __init__(self, curtain: Curtain) -> None:
        self._through = curtain.cover_transmission
        self._day = -1
        self.mol_m2 = 0.0
        self._still: tuple[float, ...] = ()

    def pass_minute(self, run: Clockwork, high_mol_m2: float) -> Sure:
        """Let a minute pass; tell whether the day brings more than `high_mol_m2` if nothing shades [mol/m2]."""
        stamp = run.clocks.stamp(run.now_utc_ms)
        day, into = divmod(stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS, DAY_MS)
        if day != self._day:
            self._day, self.mol_m2 = day, 0.0
            self._still = self._reckon(run, run.now_utc_ms - into)
        self.mol_m2 += run.world.house.photons_umol_m2_s * 60e-6
        if self.mol_m2 > ROOM * high_mol_m2:
            return True
        still = self._still[min(into // HOUR_MS, len(self._still) - 1)]
        return False if ROOM * (self.mol_m2 + still) < high_mol_m2 else None

    def _reckon(self, run: Clockwork, midnight_ms: int) -> tuple[float, ...]:
        """Reckon what a clear sky brings from each hour of the day to its end [mol/m2]."""
        site = run.plan.site
        still = [0.0]
        for hour in reversed(range(25)):
            light, _ = clear_minutes_w_m2(
                midnight_ms + hour * HOUR_MS, latitude_deg=site.latitude_deg, longitude_deg=site.longitude_deg
            )
            still.append(still[-1] + sum(light) * OVER_CLEAR * self._through * MOL_PER_W_MIN)
        return tuple(reversed(still))
