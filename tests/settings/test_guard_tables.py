"""The tables against weather, heat, cold, moisture and too much light in a day: what cannot be meant is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.plan.plan import Plan
from controller.settings.load import load_settings
from controller.settings.summary import write_summary

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")
HEAT = GOOD.index("[[alarm]]")


def write(tables: str) -> str:
    """Put further tables below the good house's curtain."""
    return GOOD[:HEAT] + tables + "\n\n" + GOOD[HEAT:]


def test_every_table_takes_its_defaults_and_is_told() -> None:
    """Headers alone turn the rules on, and the check says in a line each what they do."""
    text = write("\n".join(f"[curtain.{name}]" for name in
                 ("storm_and_snow", "too_hot", "too_cold", "staged_opening", "light_sum")))  # fmt: skip
    plan = load_settings(text, file_name="house.toml")

    assert isinstance(plan, Plan), plan
    told = write_summary(plan)
    for words in ("storm: goes to 100 % drawn", "snow: opens", "too hot: above 30 C", "too cold: draws below 8 C",
                  "opens in steps of 10 %", "day's light: 12 to 17 mol/m2"):  # fmt: skip
        assert words in told


@pytest.mark.parametrize(
    ("tables", "words"),
    [
        ('[curtain.storm_and_snow]\nwind_sensor = "nobody"', "nobody"),
        ("[curtain.storm_and_snow]\ncalm_below_m_s = 20", "a value below `storm_above_m_s` 15"),
        ('[curtain.humidity_gap]\nhumidity_sensor = "nobody"', "nobody"),
        ("[curtain.humidity_gap]", "humidity_sensor"),
        ("[curtain.too_hot]\nabove_c = 11\n[curtain.too_cold]\nbelow_c = 10", "would go to and fro"),
        ("[curtain.light_sum]\nlow_mol_m2 = 18", "a value below `high_mol_m2` 17"),
        ("[curtain.humidity_gap]\ngap_percent = 5", "gap_percent"),
        ("[curtain.too_hot]\nabove_c = 5", "above_c"),
    ],
)
def test_what_cannot_be_meant_is_refused(tables: str, words: str) -> None:
    """A stranger among the sensors, limits turned round, a gap that is none."""
    problems = load_settings(write(tables), file_name="house.toml")

    assert not isinstance(problems, Plan)
    assert any(words in str(problem) for problem in problems), problems


def test_a_chip_that_ends_below_a_limit_is_refused() -> None:
    """A light sensor that saturates at 250 W/m2 would never show the 300 from which shade helps against heat."""
    text = write("[curtain.too_hot]").replace(
        'mounted = "outside"', 'mounted = "outside"\nsensor_ceiling = 250', 1
    )
    problems = load_settings(text, file_name="house.toml")

    assert not isinstance(problems, Plan)
    assert any("shade_above_w_m2" in str(each) and "ends at 250" in str(each) for each in problems)
