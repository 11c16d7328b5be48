"""Which rule has its way: the first in this order that does not abstain."""

from __future__ import annotations

from typing import Final

from controller.core.curtain.climate import wish_cool, wish_warm
from controller.core.curtain.drive import Drive, Phase
from controller.core.curtain.gap import wish_gap
from controller.core.curtain.hold import Hold
from controller.core.curtain.light_sum import wish_band
from controller.core.curtain.stages import open_in_steps
from controller.core.curtain.view import View
from controller.core.curtain.weather import Standing, wish_weather
from controller.core.curtain.wishes import Rule, Wish, wish_balance, wish_dark, wish_night, wish_shade
from controller.core.plan.curtain import Curtain
from controller.core.units import MINUTE_MS, HouseMs

PRECEDENCE: Final[tuple[tuple[Rule, str], ...]] = (
    (Rule.LOCKED_OUT, "The switch at the motor stands on local or off: nobody but the hand there moves it."),
    (Rule.FAULT, "The motor has jammed, overrun or contradicted itself: it stays until a person has looked."),
    (
        Rule.STORM_AND_SNOW,
        "A person or a sensor says so: open for snow, drawn for heat in a storm unless the site wants otherwise.",
    ),
    (Rule.MANUAL_HOLD, "A named person wants it so until a stated time."),
    (Rule.TOO_HOT, "The air under it is too hot: shade in the light, open in the dark."),
    (Rule.TOO_COLD, "The air under it is too cold and it is colder outside: drawn."),
    (Rule.HUMIDITY_GAP, "Drawn for heat and the air is moist: a narrow gap for a time."),
    (
        Rule.BALANCE,
        "The site's economics are set: what costs least by light, heat and moves, in place of the next four.",
    ),
    (Rule.LIGHT_CEILING, "Too much light: drawn for shade."),
    (Rule.LIGHT_SUM, "The day would bring more light than the crop wants: drawn in its brightest hours."),
    (Rule.HOLD_HEAT_NIGHT, "Night and heat is wanted: drawn to hold it."),
    (Rule.HOLD_HEAT_DARK, "So little light that it does not pay for the heat: drawn to hold it."),
    (Rule.NOTHING_KNOWN, "Neither light nor sun is known: it stays where it is, and people are told."),
    (Rule.SETTLING, "It has just begun to look: it stays until the delays of the rules have had their time."),
    (Rule.OPEN, "Nothing asks for it to be drawn."),
)
"""The order of the rules, first match wins, with what each means. The documentation prints this table."""

BY_ZONE: Final = frozenset({Rule.BALANCE, Rule.LIGHT_SUM, Rule.OPEN})
"""The rules that answer for the day's light; only their reasons name zones that are worse off."""

assert tuple(rule for rule, _ in PRECEDENCE) == tuple(Rule), "the order of precedence names every rule once"


def choose(
    curtain: Curtain,
    view: View,
    drive: Drive,
    hold: Hold | None,
    now: HouseMs,
    standing: Standing | None = None,
) -> Wish:
    """Choose the wish that counts for `curtain` now; `standing` is what a person said of the weather.

    Total: some rule always answers.
    """
    wish = find_wish(curtain, view, drive, hold, now, standing)
    return open_in_steps(curtain.staged_opening, view, drive, wish, now)


def find_wish(
    curtain: Curtain,
    view: View,
    drive: Drive,
    hold: Hold | None,
    now: HouseMs,
    standing: Standing | None = None,
) -> Wish:
    """Find the wish of the first rule that does not abstain, before an opening is cut into steps."""
    if drive.phase is Phase.LOCKED:
        return Wish(Rule.LOCKED_OUT, None, (drive.selector.value,))
    if drive.phase is Phase.FAULTED:
        return Wish(Rule.FAULT, None, (drive.trouble,))
    weather = wish_weather(curtain, view.marks, standing, now)
    if weather is not None:
        return weather
    if hold is not None and now < hold.until_ms:
        left_min = (hold.until_ms - now) / MINUTE_MS
        return Wish(Rule.MANUAL_HOLD, hold.drawn_percent, (hold.person, left_min), urgent=True)
    extreme = wish_cool(curtain.too_hot, view) or wish_warm(curtain.too_cold, view)
    if extreme is not None:
        return extreme
    comfort = choose_comfort(curtain, view, now)
    return wish_gap(curtain.humidity_gap, curtain, view, drive, comfort, now) or comfort


def choose_comfort(curtain: Curtain, view: View, now: HouseMs) -> Wish:
    """Choose among the rules of comfort, as if there were no moisture."""
    wish = _choose_comfort(curtain, view, now)
    clash = view.marks.clash
    if clash is not None and wish.rule in BY_ZONE:
        wish = wish._replace(clash=clash)
    return wish if view.light_factor == 1.0 else wish._replace(light_factor=view.light_factor)


def _choose_comfort(curtain: Curtain, view: View, now: HouseMs) -> Wish:
    if curtain.economics is not None:
        return _choose_by_balance(curtain, view, now)
    wish = (
        wish_shade(curtain.light_ceiling, view, now)
        or wish_band(curtain, view)
        or wish_night(curtain.hold_heat, view)
        or wish_dark(curtain.hold_heat, view)
    )
    if wish is not None:
        return wish
    if view.light_w_m2 is None and view.sun_deg is None:
        return Wish(Rule.NOTHING_KNOWN, None)
    if now < view.settled_ms:
        return Wish(Rule.SETTLING, None, ((view.settled_ms - now) / MINUTE_MS,))
    return Wish(Rule.OPEN, 0.0, (view.light_w_m2, view.sun_deg))


def _choose_by_balance(curtain: Curtain, view: View, now: HouseMs) -> Wish:
    """Choose where the site's economics decide, once the sensors have had their time to speak."""
    if now < view.settled_ms:
        return Wish(Rule.SETTLING, None, ((view.settled_ms - now) / MINUTE_MS,))
    return wish_balance(curtain, view) or Wish(Rule.NOTHING_KNOWN, None)
