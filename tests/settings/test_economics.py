"""A table of economics that cannot be meant is refused in words, and one that can be is a rule of its own."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from controller.core.plan.economics import Economics
from controller.core.plan.plan import Plan
from controller.settings.cautions import find_cautions
from controller.settings.load import load_settings

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")
RULES = GOOD[GOOD.index("[curtain.light_ceiling]") : GOOD.index("[[alarm]]")]


def write(keys: str, *, sensor: str = "") -> str:
    """Put a table of economics in place of the good house's plain rules, and a key into its light sensor."""
    text = GOOD.replace(RULES, f"[curtain.economics]\n{keys}\n\n")
    return text.replace('mounted = "outside"', f'mounted = "outside"\n{sensor}', 1)


def test_an_empty_table_takes_every_default() -> None:
    """The header alone turns the balance on, without a caution that the curtain has no rule."""
    plan = load_settings(write(""), file_name="house.toml")

    assert isinstance(plan, Plan)
    assert plan.curtain[0].economics == Economics()
    assert not [each for each in find_cautions(plan) if "no rule" in each.text]


def test_the_defaults_are_prices_of_one_currency() -> None:
    """A kilogram of tomato at 1.00 from 42 MJ inside (common practice, no source): 86.4 mol, 0.0116 each."""
    assert Economics().light_worth_per_mol == pytest.approx(1.0 / (42.0 * 2.0565), rel=0.01)


@pytest.mark.parametrize(
    ("keys", "sensor", "words"),
    [
        ("open_u_w_m2_k = 4\ndrawn_u_w_m2_k = 5", "", "at most `open_u_w_m2_k` 4 [W/m2/K]"),
        (
            "day_light_low_mol_m2 = 20\nday_light_high_mol_m2 = 17",
            "",
            "at most `day_light_high_mol_m2` 17 [mol/m2/d]",
        ),
        ("light_ceiling_umol_m2_s = 700", "sensor_ceiling = 500", "ends at 668 [umol/m2/s] at the canopy"),
        ("move_cost = 0", "", "move_cost"),
    ],
)
def test_what_cannot_be_meant_is_refused(keys: str, sensor: str, words: str) -> None:
    """Turned-round pairs, a sensor that cannot show the ceiling (500 W/m2 x 2.0565 x 0.65), and free moves."""
    text = write(keys, sensor=sensor)
    tomllib.loads(text)
    problems = load_settings(text, file_name="house.toml")

    assert not isinstance(problems, Plan)
    assert any(words in str(problem) for problem in problems)
