"""Why everything is as it is, in sentences: for `duskbell why` and `duskbell status`."""

from __future__ import annotations

from dataclasses import dataclass

from controller.core.curtain.choice import PRECEDENCE, choose, choose_comfort
from controller.core.curtain.climate import wish_cool, wish_warm
from controller.core.curtain.drive import Drive, Phase, waits_until_ms, wanted_percent
from controller.core.curtain.gap import wish_gap
from controller.core.curtain.light_sum import wish_band
from controller.core.curtain.view import BLANK
from controller.core.curtain.weather import wish_weather
from controller.core.curtain.wishes import Rule, Wish, wish_balance, wish_dark, wish_night, wish_shade
from controller.core.curtain.wording import describe_position, explain
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
class Why:
    """Why one curtain is where it is."""

    curtain: str
    position: str
    rule: str
    reason: str
    waiting: str
    verdicts: tuple[Verdict, ...]


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
        wishes.setdefault(Rule.LIGHT_SUM, wish_band(curtain.light_sum, view))
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
            Why(name, describe_position(drive), chosen.rule.value, explain(chosen), waiting, verdicts)
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
