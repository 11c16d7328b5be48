"""Why everything is as it is, in sentences: for `duskbell why` and `duskbell status`."""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.curtain.choice import PRECEDENCE, choose, choose_comfort
from controller.core.curtain.climate import wish_cool, wish_warm
from controller.core.curtain.drive import Drive, Phase, local_day, waits_until_ms, wanted_percent
from controller.core.curtain.gap import wish_gap
from controller.core.curtain.light_day import NO_LIGHT, LightDay, expect_sum_mol
from controller.core.curtain.light_sum import wish_band
from controller.core.curtain.view import BLANK
from controller.core.curtain.weather import wish_weather
from controller.core.curtain.wishes import Rule, Wish, wish_balance, wish_dark, wish_night, wish_shade
from controller.core.curtain.wording import describe_position, explain
from controller.core.curtain.zones import Band, list_bands, tell_place
from controller.core.plan.curtain import Curtain
from controller.core.sky.almanac import Almanac
from controller.core.state import State
from controller.core.units import MINUTE_MS
from controller.core.vocabulary import Stamp


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one rule says now: its wish as a sentence, or that it abstains. `rules` says it has its way."""

    rule: str
    says: str
    rules: bool


@dataclass(frozen=True, slots=True)
class LightToday:
    """The light at one curtain's canopy today [mol/m2], and what the day comes to if it stays open from now on.

    `expected_mol` is None without a table of the sun; `coverage_percent` None before there was any daylight. Each of
    the `zones`, first the one that rules, has its share of both sums.
    """

    mol: float
    expected_mol: float | None
    coverage_percent: float | None
    clearness: float
    band: tuple[float, float] | None
    crop: str = ""
    zones: tuple[Band, ...] = ()


@dataclass(frozen=True, slots=True)
class Why:
    """Why one curtain is where it is."""

    curtain: str
    position: str
    rule: str
    reason: str
    waiting: str
    verdicts: tuple[Verdict, ...]
    light: LightToday


def look_at_light(curtain: Curtain, day: LightDay, almanac: Almanac | None, stamp: Stamp) -> LightToday:
    """Look at the light of today: so far, to be expected, and the band the crop wants."""
    band, economics = curtain.light_sum, curtain.economics
    wanted = None if band is None else (band.low_mol_m2, band.high_mol_m2)
    if economics is not None:
        wanted = (economics.day_light_low_mol_m2, economics.day_light_high_mol_m2)
    today = day if day.local_day == local_day(stamp) else NO_LIGHT
    expected = expect_sum_mol(
        today._replace(light_sum=day.light_sum, clear_sum=day.clear_sum), curtain, almanac, stamp
    )
    crop = "" if band is None else band.crop
    zones = list_bands(curtain) if curtain.zone else ()
    if zones:
        crop, wanted = zones[0].crop, (zones[0].low_mol_m2, zones[0].high_mol_m2)
    return LightToday(today.mol, expected, today.coverage_percent, day.clearness, wanted, crop, zones)


def tell_light(light: LightToday) -> str:
    """Say what the light of today is, in a sentence."""
    text = f"light at the canopy today {light.mol:.1f} mol/m2"
    if light.expected_mol is not None:
        text += f", {light.expected_mol:.1f} by sunset if it stays open from now on"
    if light.zones:
        text += "".join(f"; {_tell_zone(zone, light)}" for zone in light.zones)
        text += f"; the wish of {light.crop} rules"
    elif light.band is not None:
        crop = f"{light.crop} wants" if light.crop else "wanted"
        text += f", {crop} {light.band[0]:g} to {light.band[1]:g}"
    if light.coverage_percent is not None:
        text += f"; {light.coverage_percent:.0f} % of the daylight seen, {100 * light.clearness:.0f} % of a clear sky"
    return text


def _tell_zone(zone: Band, light: LightToday) -> str:
    """Say what one zone has had, what it comes to, and how that lies to its band."""
    mol = zone.light_share * light.mol
    text = f"{zone.crop} has had {mol:.1f}"
    if light.expected_mol is not None:
        mol = zone.light_share * light.expected_mol
        text += f", comes to {mol:.1f} so"
    return f"{text}, {tell_place(zone, mol)}"


def explain_curtains(state: State, stamp: Stamp) -> tuple[Why, ...]:
    """Explain each curtain: where it is, which rule has its way, and what the others say."""
    answers = []
    now = stamp.house_ms
    for name, curtain in state.roll.curtains.items():
        drive = state.durable.drives.get(name, Drive())
        view = state.views.get(name, BLANK)
        hold = state.durable.holds.get(name)
        standing = state.durable.standing
        chosen = choose(curtain, view, drive, hold, now, standing)
        wishes: dict[Rule, Wish | None] = {chosen.rule: chosen}
        comfort = choose_comfort(curtain, view, now)
        wishes.setdefault(Rule.STORM_AND_SNOW, wish_weather(curtain, view.marks, standing, now))
        wishes.setdefault(Rule.TOO_HOT, wish_cool(curtain.too_hot, view))
        wishes.setdefault(Rule.TOO_COLD, wish_warm(curtain.too_cold, view))
        wishes.setdefault(
            Rule.HUMIDITY_GAP, wish_gap(curtain.humidity_gap, curtain, view, drive, comfort, now)
        )
        wishes.setdefault(Rule.BALANCE, wish_balance(curtain, view))
        wishes.setdefault(Rule.LIGHT_SUM, wish_band(curtain, view))
        wishes.setdefault(Rule.LIGHT_CEILING, wish_shade(curtain.light_ceiling, view, now))
        wishes.setdefault(Rule.HOLD_HEAT_NIGHT, wish_night(curtain.hold_heat, view))
        wishes.setdefault(Rule.HOLD_HEAT_DARK, wish_dark(curtain.hold_heat, view))
        verdicts = tuple(
            Verdict(rule.value, _say(wishes.get(rule)), rule is chosen.rule) for rule, _ in PRECEDENCE
        )
        waiting = ""
        if wanted_percent(curtain, drive, chosen) is not None:
            until = waits_until_ms(curtain, drive, chosen, stamp)
            if until is not None:
                waiting = f"it waits another {(until - now) / MINUTE_MS:.0f} min before the motor may run"
        if drive.phase is Phase.RUNNING:
            waiting = f"the motor runs to {drive.target_percent:.0f} % drawn"
        answers.append(
            Why(
                name,
                describe_position(drive),
                chosen.rule.value,
                explain(chosen),
                waiting,
                verdicts,
                look_at_light(curtain, view.day, state.almanac, stamp),
            )
        )
    return tuple(answers)


def _say(wish: Wish | None) -> str:
    """Write a wish, or that there is none."""
    if wish is None:
        return "abstains"
    where = "stay" if wish.drawn_percent is None else f"{wish.drawn_percent:.0f} % drawn"
    return f"{where}: {explain(wish)}"


def print_precedence() -> str:
    """Write the order of the rules as Markdown, for `why --table` and the documentation."""
    rows = [f"| {place} | {rule.value} | {meaning} |" for place, (rule, meaning) in enumerate(PRECEDENCE, 1)]
    return "\n".join(["| | rule | means |", "|---|---|---|", *rows])
