"""Too hot and too cold under the curtain: temperature beats light.

Heat under it is met with shade where there is light to shade from, and by opening where there is not. Cold is met
by drawing wherever it is colder outside, unless the sun would warm the house better than the curtain.
"""

from __future__ import annotations

from typing import Final

from controller.core.curtain.latch import follow
from controller.core.curtain.view import View
from controller.core.curtain.wishes import Rule, Wish
from controller.core.plan.curtain import TooCold, TooHot
from controller.core.units import MINUTE_MS, HouseMs

STILL_BRIGHT: Final = 0.8
"""Shade against heat ends below this share of the light that began it (our choice). [1]"""

SURELY_BRIGHT: Final = 1.2
"""And the sun is taken to warm the house from this share of its limit (our choice). [1]"""


def remember_heat_and_light(rule: TooHot, view: View, now: HouseMs) -> View:
    """Bring the memory of too hot up to date. An inside that cannot be read is not too hot."""
    marks, inside_c, light = view.marks, view.inside_c, view.light_w_m2
    delay_ms = rule.delay_min * MINUTE_MS
    hot = follow(
        marks.hot,
        begins=inside_c is not None and inside_c > rule.above_c,
        ends=inside_c is None or inside_c < rule.above_c - rule.hysteresis_c,
        now=now,
        begin_ms=delay_ms,
        end_ms=delay_ms,
    )
    glaring = follow(
        marks.glaring,
        begins=light is not None and light > rule.shade_above_w_m2,
        ends=light is None or light < STILL_BRIGHT * rule.shade_above_w_m2,
        now=now,
        begin_ms=delay_ms,
        end_ms=delay_ms,
    )
    if hot is marks.hot and glaring is marks.glaring:
        return view
    return view._replace(marks=marks._replace(hot=hot, glaring=glaring))


def remember_cold(rule: TooCold, view: View, now: HouseMs) -> View:
    """Bring the memory of too cold up to date. An outside that cannot be read is taken to be colder."""
    marks, inside_c, outside_c = view.marks, view.inside_c, view.outside_c
    light = view.light_w_m2 or 0.0
    colder = inside_c is not None and (outside_c is None or outside_c < inside_c)
    delay_ms = rule.delay_min * MINUTE_MS
    cold = follow(
        marks.cold,
        begins=inside_c is not None and inside_c < rule.below_c and colder and light < rule.light_below_w_m2,
        ends=inside_c is None
        or inside_c > rule.below_c + rule.hysteresis_c
        or not colder
        or light > SURELY_BRIGHT * rule.light_below_w_m2,
        now=now,
        begin_ms=delay_ms,
        end_ms=delay_ms,
    )
    return view if cold is marks.cold else view._replace(marks=marks._replace(cold=cold))


def wish_cool(rule: TooHot | None, view: View) -> Wish | None:
    """Wish for shade against heat in the light, and for open in the dark."""
    if rule is None or not view.marks.hot.on:
        return None
    shade = view.marks.glaring.on
    return Wish(
        Rule.TOO_HOT,
        rule.drawn_percent if shade else 0.0,
        (
            view.inside_c,
            rule.above_c,
            rule.above_c - rule.hysteresis_c,
            view.light_w_m2,
            rule.shade_above_w_m2,
            "shade" if shade else "",
        ),
        urgent=True,
    )


def wish_warm(rule: TooCold | None, view: View) -> Wish | None:
    """Wish for drawn against cold."""
    if rule is None or not view.marks.cold.on:
        return None
    return Wish(
        Rule.TOO_COLD,
        100.0,
        (view.inside_c, rule.below_c, rule.below_c + rule.hysteresis_c, view.outside_c),
        urgent=True,
    )
