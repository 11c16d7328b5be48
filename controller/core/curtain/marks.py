"""What the rules against weather, heat, cold and moisture remember of one curtain, and its light of the day."""

from __future__ import annotations

from typing import Final, NamedTuple

from controller.core.curtain.latch import OFF, Latch
from controller.core.curtain.zones import Clash
from controller.core.units import HouseMs


class Staging(NamedTuple):
    """An opening in small steps that is due: from where to where. `difference_c` is how much colder it is outside."""

    from_percent: float
    goal_percent: float
    difference_c: float | None


class Marks(NamedTuple):
    """Memories of one curtain's rules. `gap_ms` is when the last humidity gap began; `gaps` how many on `gap_day`.

    `sum_limit_w_m2` is the light above which shade is wanted for the day's light sum, None for none;
    `sum_expected_mol` what the day would come to at the canopy without shade, `clash` who is worse off by the zone
    that rules; all were reckoned at `sum_at_ms`.
    """

    storms: Latch = OFF
    snows: Latch = OFF
    wind_m_s: float | None = None
    hot: Latch = OFF
    glaring: Latch = OFF
    cold: Latch = OFF
    humid: Latch = OFF
    humidity_percent: float | None = None
    dew_margin_c: float | None = None
    gap_ms: HouseMs | None = None
    gap_day: int = 0
    gaps: int = 0
    staging: Staging | None = None
    beyond: Latch = OFF
    sum_at_ms: HouseMs | None = None
    sum_limit_w_m2: float | None = None
    sum_expected_mol: float | None = None
    clash: Clash | None = None


NO_MARKS: Final = Marks()
"""Nothing remembered."""
