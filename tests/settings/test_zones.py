"""Zones in the settings: what cannot be meant is refused at its line, and what can is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.plan.plan import Plan
from controller.settings.cautions import find_cautions
from controller.settings.difference import differences
from controller.settings.load import load_settings
from controller.settings.summary import write_summary

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")
LETTUCE = '[[curtain.zone]]\nname = "lettuce"\nlow_mol_m2 = 12\nhigh_mol_m2 = 17\n'
TOMATO = '[[curtain.zone]]\nname = "tomato"\nlow_mol_m2 = 20\nhigh_mol_m2 = 30\nlight_share = 0.8\n'
RULE = "[curtain.light_sum]\n"
BOTH = RULE + LETTUCE + TOMATO


def write(tables: str, *, ruler: str = "lettuce") -> str:
    """Put tables below the good house's curtain, and the name of the zone that rules into it."""
    head, tail = GOOD.split("duty_s_per_hour = 900\n")
    key = f'ruling_zone = "{ruler}"\n' if ruler else ""
    place = tail.index("[[alarm]]")
    return f"{head}duty_s_per_hour = 900\n{key}{tail[:place]}{tables}\n{tail[place:]}"


def load(text: str) -> Plan:
    """Load a text that is good."""
    plan = load_settings(text, file_name="house.toml")
    assert isinstance(plan, Plan), "\n".join(map(str, plan))
    return plan


def test_zones_are_told_with_the_one_that_rules() -> None:
    """The check says each zone's band and share and whose wish rules."""
    told = write_summary(load(write(BOTH)))
    assert "day's light for lettuce: 12 to 17 mol/m2, reached by 1 of the light" in told
    assert "day's light for tomato: 20 to 30 mol/m2, reached by 0.8 of the light" in told
    assert "the wish of lettuce rules" in told


def test_one_zone_rules_without_being_named() -> None:
    """Where there is one zone nobody can disagree."""
    assert "the wish of tomato rules" in write_summary(load(write(RULE + TOMATO, ruler="")))


@pytest.mark.parametrize(
    ("tables", "ruler", "at", "words"),
    [
        (BOTH, "", TOMATO[:30], 'whose wish rules, one of "lettuce", "tomato"'),
        (BOTH, "tomatto", 'ruling_zone = "tomatto"', 'did you mean "tomato"?'),
        (RULE, "lettuce", 'ruling_zone = "lettuce"', "it has no table `zone`"),
        (RULE + LETTUCE + TOMATO.replace("= 20", "= 40"), "lettuce", "low_mol_m2 = 40", "below `high_mol_m2` 30"),
        (RULE + LETTUCE + TOMATO.replace("tomato", "Lettuce"), "lettuce", 'name = "Lettuce"', "is used twice"),
        (RULE + LETTUCE + TOMATO.replace("tomato", ""), "lettuce", 'name = ""', "printed characters"),
        (RULE + "high_mol_m2 = 18\n" + LETTUCE + TOMATO, "tomato", "high_mol_m2 = 18", "each with its own"),
        (LETTUCE + TOMATO, "tomato", LETTUCE[:30], "set `light_sum` or `economics`"),
        (BOTH.replace("0.8", "1.5"), "tomato", "light_share = 1.5", "a number above 0 up to 1"),
        (BOTH.replace("= 0.8", '= "most"'), "tomato", 'light_share = "most"', "a number above 0 up to 1"),
        (BOTH.replace("light_share", "light_shard"), "tomato", "light_shard", 'did you mean "light_share"?'),
        (RULE + LETTUCE.replace("low_mol_m2 = 12\n", ""), "", LETTUCE[:30], "`low_mol_m2` is missing"),
        (RULE + LETTUCE.replace("[[", "[").replace("]]", "]"), "", "[curtain.zone]", "[[double brackets]]"),
        (
            "[curtain.economics]\nday_light_low_mol_m2 = 10\n" + LETTUCE + TOMATO,
            "tomato",
            "day_light_low_mol_m2 = 10",
            "each with its own",
        ),
        (
            RULE + "".join(LETTUCE.replace("lettuce", f"bed {bed}") for bed in range(13)),
            "bed 1",
            '[[curtain.zone]]\nname = "bed 12"',
            "at most 12",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_at_its_line(tables: str, ruler: str, at: str, words: str) -> None:
    """One mistake, one problem, on the line where it stands."""
    text = write(tables, ruler=ruler)
    problems = load_settings(text, file_name="house.toml")

    assert not isinstance(problems, Plan)
    (problem,) = problems
    assert text[: text.index(at)].count("\n") + 1 == problem.line, problem
    assert words in problem.text


def test_a_changed_zone_is_told_by_its_name() -> None:
    """A reload says which zone has another band, and which is new."""
    before, after = load(write(BOTH)), load(write(BOTH.replace("= 30", "= 28")))
    assert [str(each) for each in differences(before, after)] == [
        'curtain "main", zone "tomato": high_mol_m2 30 -> 28'
    ]
    fewer = load(write(RULE + LETTUCE))
    assert [str(each) for each in differences(fewer, before)] == ['curtain "main", zone "tomato" added']


def test_a_ruler_without_effect_is_pointed_out() -> None:
    """With economics whose light keeps all its worth, no band of a zone changes a move."""
    text = write("[curtain.economics]\n" + LETTUCE + TOMATO)
    assert any("no zone's band changes a move" in each.text for each in find_cautions(load(text)))
    quiet = text.replace("[curtain.economics]", "[curtain.economics]\nbeyond_band_worth = 0.3")
    assert not any("zone" in each.text for each in find_cautions(load(quiet)))
