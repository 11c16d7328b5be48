"""The rules: each looks at the view and wishes for a position, or abstains.

A rule knows nothing of the other rules and nothing of the motor; `choice` puts them in order and `drive`
moves the cloth. A wish carries the numbers of its reason; `wording` turns them into a sentence.
"""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple

from controller.core.curtain.view import View, since
from controller.core.curtain.zones import Clash
from controller.core.plan.curtain import Curtain, HoldHeat, LightCeiling
from controller.core.units import MINUTE_MS, UMOL_PER_JOULE_GLOBAL, HouseMs


class Rule(Enum):
    """The rules in words."""

    LOCKED_OUT = "locked out"
    FAULT = "stop on fault"
    STORM_AND_SNOW = "storm or snow"
    MANUAL_HOLD = "manual hold"
    TOO_HOT = "too hot"
    TOO_COLD = "too cold"
    HUMIDITY_GAP = "humidity gap"
    BALANCE = "balance of costs"
    LIGHT_CEILING = "light ceiling"
    LIGHT_SUM = "day's light sum"
    HOLD_HEAT_NIGHT = "hold heat at night"
    HOLD_HEAT_DARK = "hold heat in low light"
    NOTHING_KNOWN = "nothing known"
    SETTLING = "settling in"
    OPEN = "open"


class Wish(NamedTuple):
    """Where a rule wants the curtain; `drawn_percent` None means: stay where it is.

    `numbers` are the figures of the reason, in the order that `wording` expects for the rule. `own_pace` says
    that the rule has weighed the rest between moves itself; `follows` that it is a further part of a move that has
    been counted. Moves shorter than `least_percent` are not made; None leaves that to the settings. `steps` are the
    figures of an opening in steps: difference, its limit, the next position, the wait [C, C, %, min]. `light_factor`
    is by what the light sensor's reading has been multiplied, `clash` which zones are worse off by the one that rules.
    """

    rule: Rule
    drawn_percent: float | None
    numbers: tuple[float | str | None, ...] = ()
    urgent: bool = False
    own_pace: bool = False
    follows: bool = False
    least_percent: float | None = None
    steps: tuple[float | None, float, float, float] | None = None
    light_factor: float = 1.0
    clash: Clash | None = None


def remember_ceiling(rule: LightCeiling, view: View, now: HouseMs) -> View:
    """Bring the light ceiling's memory up to date: draw after a delay above, open after a delay below."""
    light = view.light_w_m2
    if light is None:
        if not view.shading and view.above_since_ms is None and view.below_since_ms is None:
            return view
        return view._replace(shading=False, above_since_ms=None, below_since_ms=None)
    above = since(light > rule.draw_above_w_m2, view.above_since_ms, now)
    below = since(light < rule.open_below_w_m2, view.below_since_ms, now)
    shading = view.shading
    if not shading and above is not None and now - above >= rule.draw_delay_min * MINUTE_MS:
        shading = True
    elif shading and below is not None and now - below >= rule.open_delay_min * MINUTE_MS:
        shading = False
    if above == view.above_since_ms and below == view.below_since_ms and shading is view.shading:
        return view
    return view._replace(shading=shading, above_since_ms=above, below_since_ms=below)


def wish_shade(rule: LightCeiling | None, view: View, now: HouseMs) -> Wish | None:
    """Wish for shade while the light ceiling's memory says so."""
    if rule is None or not view.shading:
        return None
    lasted = 0 if view.above_since_ms is None else now - view.above_since_ms
    limit = rule.draw_above_w_m2 if view.above_since_ms is not None else rule.open_below_w_m2
    return Wish(
        Rule.LIGHT_CEILING,
        rule.drawn_percent,
        (view.light_w_m2, limit, lasted / MINUTE_MS, "reckoned" if view.light_is_reckoned else ""),
    )


def difference_c(rule: HoldHeat, view: View) -> float | None:
    """Return how much warmer it is, or is meant to be, inside than outside [C]; None if nobody can tell.

    An inside that cannot be read is taken to be at `inside_below_c`, the temperature heat is wanted for.
    """
    if view.outside_c is None:
        return None
    inside = rule.inside_below_c if view.inside_c is None else view.inside_c
    return inside - view.outside_c


def wants_heat(rule: HoldHeat, view: View) -> bool:
    """Whether heat is wanted and would be lost fast enough to be worth a move."""
    difference = difference_c(rule, view)
    if difference is None:
        # Nothing is known of the outside: a cold inside alone is reason enough.
        return view.inside_c is not None and view.inside_c < rule.inside_below_c
    if view.inside_c is not None and view.inside_c >= rule.inside_below_c:
        return False
    return difference >= rule.least_difference_c


def opening_light_w_m2(rule: HoldHeat, view: View) -> float:
    """Return the light at which opening gains more than it loses [W/m2].

    Proportional to the inside-outside difference between two clamps. Opening at 50 instead of 5 W/m2 cost
    0.3 % of the light and saved 3.4 % of the heat (Dieleman & Kempkes 2006, Acta Hort. 718).
    """
    difference = difference_c(rule, view)
    wanted = rule.open_most_w_m2 if difference is None else rule.open_per_degree_w_m2 * difference
    return max(rule.open_least_w_m2, min(rule.open_most_w_m2, wanted))


def remember_heat(rule: HoldHeat, view: View, now: HouseMs) -> View:
    """Bring the memories of the two heat rules up to date."""
    light = view.light_w_m2
    heat = wants_heat(rule, view)
    night_now = view.sun_deg is not None and view.sun_deg < rule.night_below_deg
    dark_now = light is not None and light < rule.low_light_below_w_m2
    night = since(night_now and heat, view.night_since_ms, now)
    dark = since(dark_now and heat, view.dark_since_ms, now)
    bright = since(light is not None and light > opening_light_w_m2(rule, view), view.bright_since_ms, now)
    delay = rule.draw_delay_min * MINUTE_MS
    bright_enough = bright is not None and now - bright >= rule.open_delay_min * MINUTE_MS

    holding_night = view.holding_night
    if not holding_night:
        holding_night = night is not None and now - night >= delay
    elif not night_now and (bright_enough or _risen_long_ago(view)):
        holding_night = False

    holding_dark = view.holding_dark
    if not holding_dark:
        holding_dark = dark is not None and now - dark >= delay
    elif bright_enough or (light is None and not night_now):
        holding_dark = False
    if view.holding_night and not holding_night and not dark_now:
        # What the night began ends with it: the longest wait after sunrise holds for this memory too.
        holding_dark = False

    if (
        night == view.night_since_ms
        and dark == view.dark_since_ms
        and bright == view.bright_since_ms
        and holding_night is view.holding_night
        and holding_dark is view.holding_dark
    ):
        return view
    return view._replace(
        night_since_ms=night,
        dark_since_ms=dark,
        bright_since_ms=bright,
        holding_night=holding_night,
        holding_dark=holding_dark,
    )


def _risen_long_ago(view: View) -> bool:
    """Whether the sun was already up the longest wait ago, so that no heat may keep the house dark."""
    return view.sun_earlier_deg is not None and view.sun_earlier_deg > -0.8333


def wish_night(rule: HoldHeat | None, view: View) -> Wish | None:
    """Wish for a drawn curtain while the night holds heat."""
    if rule is None or not view.holding_night:
        return None
    return Wish(
        Rule.HOLD_HEAT_NIGHT,
        100.0,
        (view.sun_deg, view.inside_c, view.outside_c, opening_light_w_m2(rule, view)),
    )


def wish_dark(rule: HoldHeat | None, view: View) -> Wish | None:
    """Wish for a drawn curtain while the day is too dark to pay for its heat."""
    if rule is None or not view.holding_dark:
        return None
    return Wish(
        Rule.HOLD_HEAT_DARK,
        100.0,
        (view.light_w_m2, view.inside_c, view.outside_c, opening_light_w_m2(rule, view)),
    )


def wish_balance(curtain: Curtain, view: View) -> Wish | None:
    """Wish for what the last minute's weighing said, where the settings have the site's economics."""
    economics, balance = curtain.economics, view.balance
    if economics is None or balance is None or balance.verdict.light_w_m2 is None:
        return None
    verdict, light = balance.verdict, balance.verdict.light_w_m2
    canopy = light * UMOL_PER_JOULE_GLOBAL * curtain.cover_transmission
    return Wish(
        Rule.BALANCE,
        verdict.drawn_percent,
        (
            verdict.best_percent,
            verdict.regret,
            verdict.gain,
            light,
            canopy,
            economics.light_ceiling_umol_m2_s,
            view.outside_c,
            economics.open_above_w_m2 if verdict.by_clamp else None,
            "reckoned" if view.light_is_reckoned else "",
            verdict.horizon_min,
            verdict.enough,
            verdict.least_gain,
        ),
        own_pace=True,
    )


def next_change_ms(curtain: Curtain, view: View) -> HouseMs | None:
    """Return when a delay of a rule runs out, if one is running [ms]."""
    ends: list[float] = []
    ceiling, heat = curtain.light_ceiling, curtain.hold_heat
    if ceiling is not None:
        if view.above_since_ms is not None and not view.shading:
            ends.append(view.above_since_ms + ceiling.draw_delay_min * MINUTE_MS)
        if view.below_since_ms is not None and view.shading:
            ends.append(view.below_since_ms + ceiling.open_delay_min * MINUTE_MS)
    if heat is not None:
        delay = heat.draw_delay_min * MINUTE_MS
        if view.night_since_ms is not None and not view.holding_night:
            ends.append(view.night_since_ms + delay)
        if view.dark_since_ms is not None and not view.holding_dark:
            ends.append(view.dark_since_ms + delay)
        if view.bright_since_ms is not None and (view.holding_night or view.holding_dark):
            ends.append(view.bright_since_ms + heat.open_delay_min * MINUTE_MS)
    return int(-(-min(ends) // 1)) if ends else None
