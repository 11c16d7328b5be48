"""The humidity gap: a narrow opening for a time, to let moisture out while the curtain is drawn for heat.

For heat only drawn, this gap and open make sense: a curtain 95 % drawn has lost a third of its saving, one with a
gap of 2 % an eighth (Vanthoor 2011, thesis, Wageningen, ch. 8, solved).
"""

from __future__ import annotations

from typing import Final

from controller.core.air import find_dew_point_c
from controller.core.curtain.drive import Drive, Phase, local_day
from controller.core.curtain.latch import follow
from controller.core.curtain.marks import Marks
from controller.core.curtain.view import View
from controller.core.curtain.wishes import Rule, Wish
from controller.core.plan.curtain import Curtain, HumidityGap
from controller.core.ranges import OutOfRange
from controller.core.units import MINUTE_MS, UMOL_PER_JOULE_GLOBAL, HouseMs
from controller.core.vocabulary import Stamp

DRIER_PERCENT: Final = 3.0
"""Moist is over when the humidity is this far below its limit (our choice). [%]"""

DRIER_MARGIN_C: Final = 0.5
"""And the margin to the dew point this far above its own (our choice). [C]"""

NEARLY_DRAWN_PERCENT: Final = 96.0
"""From here on a curtain stands in a gap and not elsewhere. [%]"""


def find_margin_c(
    *, inside_c: float | None, humidity_percent: float | None, surface_c: float | None
) -> float | None:
    """Compute how far the surface, or without one the air itself, is above the dew point [C]; None if unknown."""
    if inside_c is None or humidity_percent is None:
        return None
    try:
        dew_c = find_dew_point_c(temperature_c=inside_c, humidity_percent=humidity_percent)
    except OutOfRange:
        return None
    return (inside_c if surface_c is None else surface_c) - dew_c


def remember_moisture(
    rule: HumidityGap,
    marks: Marks,
    *,
    inside_c: float | None,
    humidity_percent: float | None,
    surface_c: float | None,
    now: HouseMs,
) -> Marks:
    """Bring the memory of moist air up to date. Humidity that cannot be read is no reason for a gap."""
    margin_c = find_margin_c(inside_c=inside_c, humidity_percent=humidity_percent, surface_c=surface_c)
    moist = humidity_percent is not None and (
        humidity_percent > rule.above_percent or (margin_c is not None and margin_c < rule.dew_margin_below_c)
    )
    dry = humidity_percent is None or (
        humidity_percent < rule.above_percent - DRIER_PERCENT
        and (margin_c is None or margin_c > rule.dew_margin_below_c + DRIER_MARGIN_C)
    )
    delay_ms = rule.delay_min * MINUTE_MS
    humid = follow(marks.humid, begins=moist, ends=dry, now=now, begin_ms=delay_ms, end_ms=delay_ms)
    return marks._replace(humid=humid, humidity_percent=humidity_percent, dew_margin_c=margin_c)


def holds_heat(curtain: Curtain, view: View, drive: Drive, base: Wish | None) -> bool:
    """Whether the rules of comfort keep the curtain drawn for heat, and not for shade."""
    if base is None:
        return False
    if base.rule in {Rule.HOLD_HEAT_NIGHT, Rule.HOLD_HEAT_DARK}:
        return True
    if base.rule is not Rule.BALANCE or curtain.economics is None or view.light_w_m2 is None:
        return False
    drawn = drive.drawn_percent is not None and drive.drawn_percent >= NEARLY_DRAWN_PERCENT
    canopy = view.light_w_m2 * UMOL_PER_JOULE_GLOBAL * curtain.cover_transmission
    return (
        drawn and base.drawn_percent in {None, 100.0} and canopy < curtain.economics.light_ceiling_umol_m2_s
    )


def remember_gap(curtain: Curtain, view: View, drive: Drive, base: Wish | None, stamp: Stamp) -> View:
    """Begin a gap if the air is moist, the curtain is truly drawn for heat, and the last gap is long enough ago."""
    rule, marks = curtain.humidity_gap, view.marks
    if rule is None or not marks.humid.on or drive.phase is not Phase.IDLE:
        return view
    if drive.drawn_percent is None or drive.drawn_percent < 99.0:
        return view
    now, day = stamp.house_ms, local_day(stamp)
    rests_ms = (rule.open_min + rule.pause_min) * MINUTE_MS
    if marks.gap_ms is not None and now - marks.gap_ms < rests_ms:
        return view
    gaps = marks.gaps if marks.gap_day == day else 0
    if gaps >= rule.most_per_day or not holds_heat(curtain, view, drive, base):
        return view
    return view._replace(marks=marks._replace(gap_ms=now, gap_day=day, gaps=gaps + 1))


def wish_gap(
    rule: HumidityGap | None, curtain: Curtain, view: View, drive: Drive, base: Wish | None, now: HouseMs
) -> Wish | None:
    """Wish for the gap while its time runs, and for drawn when it has run out."""
    marks = view.marks
    if rule is None or marks.gap_ms is None or not holds_heat(curtain, view, drive, base):
        return None
    passed_ms = now - marks.gap_ms
    left_min = rule.open_min - passed_ms / MINUTE_MS
    numbers = (
        marks.humidity_percent,
        rule.above_percent,
        marks.dew_margin_c,
        rule.dew_margin_below_c,
        rule.gap_percent,
        left_min,
    )
    if left_min > 0.0:
        return Wish(
            Rule.HUMIDITY_GAP,
            100.0 - rule.gap_percent,
            numbers,
            own_pace=True,
            least_percent=rule.gap_percent / 2,
        )
    stands_in_gap = drive.drawn_percent is not None and NEARLY_DRAWN_PERCENT <= drive.drawn_percent < 99.0
    if stands_in_gap and passed_ms < (rule.open_min + rule.pause_min) * MINUTE_MS:
        return Wish(Rule.HUMIDITY_GAP, 100.0, numbers, own_pace=True, follows=True)
    return None
