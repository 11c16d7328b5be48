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
from controller.core.curtain.view import View
from controller.core.curtain.wishes import Rule, Wish
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
    rule: LightSum, curtain: Curtain, view: View, almanac: Almanac | None, stamp: Stamp
) -> View:
    """Reckon every ten minutes what the day will come to and which light is too much, and remember the shade.

    Without a table of the sun nothing can be expected, and the rule abstains.
    """
    marks, now = view.marks, stamp.house_ms
    if marks.sum_at_ms is None or now - marks.sum_at_ms >= STEP_MIN * MINUTE_MS:
        limit, expected = None, None
        if almanac is not None and stamp.utc_trusted:
            lights = expect_lights(
                view.day, almanac, from_utc_ms=stamp.utc_ms, to_utc_ms=next_midnight_ms(stamp)
            )
            expected = view.day.mol + sum_lights_mol(lights, through=curtain.cover_transmission)
            taken = curtain.cover_transmission * rule.drawn_percent / 100.0 * (1.0 - curtain.transmission)
            excess_mol = expected - rule.high_mol_m2
            if marks.beyond.on or excess_mol > WORTH_SHADING * rule.high_mol_m2:
                limit = find_shade_limit_w_m2(lights, excess_mol=excess_mol, taken=taken)
        marks = marks._replace(sum_at_ms=now, sum_limit_w_m2=limit, sum_expected_mol=expected)
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


def wish_band(rule: LightSum | None, view: View) -> Wish | None:
    """Wish for shade while the light is among the day's brightest that would be too much."""
    marks = view.marks
    if rule is None or not marks.beyond.on:
        return None
    return Wish(
        Rule.LIGHT_SUM,
        rule.drawn_percent,
        (marks.sum_expected_mol, rule.high_mol_m2, view.light_w_m2, marks.sum_limit_w_m2, rule.crop),
    )
