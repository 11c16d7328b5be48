"""The rule of the day's light sum: shade for what would be more than the crop wants.

Shade is put where it takes most away in the least time: into the brightest hours, just as many as the excess needs.
A fixed limit of light cannot hold a sum, and light that cannot come is not chased: an open curtain is all there is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from controller.core.curtain.latch import follow
from controller.core.curtain.light_day import (
    CLEAR_LEAST_W_M2,
    STEP_MIN,
    expect_lights,
    next_midnight_ms,
    sum_lights_mol,
)
from controller.core.curtain.marks import Marks
from controller.core.curtain.view import View
from controller.core.curtain.wishes import Rule, Wish
from controller.core.curtain.zones import find_clash, list_bands
from controller.core.plan.curtain import Curtain, LightSum
from controller.core.sky.almanac import Almanac
from controller.core.units import MINUTE_MS, UMOL_PER_JOULE_GLOBAL
from controller.core.vocabulary import Stamp

WORTH_SHADING: Final = 0.02
"""An excess below this share of the band's high end is not worth a move (our choice). [1]"""

STILL_BEYOND: Final = 0.85
"""Shade for the day's sum ends below this share of the light that it is wanted for (our choice). [1]"""


def find_shade_limit_w_m2(lights: Sequence[float], *, excess_mol: float, taken: float) -> float | None:
    """Find the light above which shade takes just the excess away [W/m2]; None if there is none.

    Parameters
    ----------
    lights
        What is to be expected, ten minutes each. [W/m2]
    excess_mol
        What is too much at the canopy. [mol/m2]
    taken
        The share of the light outside that shade takes from the canopy. [1]
    """
    if excess_mol <= 0.0:
        return None
    per_w = UMOL_PER_JOULE_GLOBAL * taken * STEP_MIN * 60.0 / 1e6
    for light in sorted(lights, reverse=True):
        excess_mol -= light * per_w
        if excess_mol <= 0.0:
            return light
    return 0.0


def remember_band(
    rule: LightSum | None, curtain: Curtain, view: View, almanac: Almanac | None, stamp: Stamp
) -> View:
    """Reckon every ten minutes what the day will come to and which light is too much, and remember the shade.

    Without a table of the sun nothing can be expected, and the rule abstains. Where there is no rule, as economics
    decide, it is only foreseen which zone is worse off.
    """
    marks, now = view.marks, stamp.house_ms
    if marks.sum_at_ms is None or now - marks.sum_at_ms >= STEP_MIN * MINUTE_MS:
        marks = _foresee(rule, curtain, view, almanac, stamp)
    if rule is None:
        return view if marks is view.marks else view._replace(marks=marks)
    light, limit = view.light_w_m2, marks.sum_limit_w_m2
    beyond = follow(
        marks.beyond,
        begins=light is not None and limit is not None and light > max(limit, CLEAR_LEAST_W_M2),
        ends=light is None or limit is None or light < STILL_BEYOND * max(limit, CLEAR_LEAST_W_M2),
        now=now,
        begin_ms=rule.draw_delay_min * MINUTE_MS,
        end_ms=rule.open_delay_min * MINUTE_MS,
    )
    if beyond is not marks.beyond:
        marks = marks._replace(beyond=beyond)
    return view if marks is view.marks else view._replace(marks=marks)


def _foresee(
    rule: LightSum | None, curtain: Curtain, view: View, almanac: Almanac | None, stamp: Stamp
) -> Marks:
    """Reckon what the day will come to, the light that is too much for the zone that rules, and who pays for it."""
    marks = view.marks._replace(
        sum_at_ms=stamp.house_ms, sum_limit_w_m2=None, sum_expected_mol=None, clash=None
    )
    if almanac is None or not stamp.utc_trusted:
        return marks
    lights = expect_lights(view.day, almanac, from_utc_ms=stamp.utc_ms, to_utc_ms=next_midnight_ms(stamp))
    expected = ruled = view.day.mol + sum_lights_mol(lights, through=curtain.cover_transmission)
    bands, limit = list_bands(curtain), None
    if rule is not None:
        most_mol = bands[0].canopy_high_mol
        taken = curtain.cover_transmission * rule.drawn_percent / 100.0 * (1.0 - curtain.transmission)
        excess_mol = expected - most_mol
        if marks.beyond.on or excess_mol > WORTH_SHADING * most_mol:
            limit = find_shade_limit_w_m2(lights, excess_mol=excess_mol, taken=taken)
        if limit is not None:
            ruled = max(most_mol, expected - sum_lights_mol(lights, through=taken))
    clash = find_clash(bands, free_mol=expected, ruled_mol=ruled) if len(bands) > 1 else None
    return marks._replace(sum_limit_w_m2=limit, sum_expected_mol=expected, clash=clash)


def wish_band(curtain: Curtain, view: View) -> Wish | None:
    """Wish for shade while the light is among the day's brightest that would be too much."""
    rule, marks = curtain.light_sum, view.marks
    if rule is None or not marks.beyond.on:
        return None
    ruler, expected = list_bands(curtain)[0], marks.sum_expected_mol
    if expected is not None:
        expected *= ruler.light_share
    return Wish(
        Rule.LIGHT_SUM,
        rule.drawn_percent,
        (expected, ruler.high_mol_m2, view.light_w_m2, marks.sum_limit_w_m2, ruler.crop),
    )
