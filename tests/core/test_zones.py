"""Zones that disagree: whose wish rules, and who is worse off by how much.

The bands are those of the presets, which name their sources: lettuce 12 to 17, tomato 20 to 30, basil 10 to 20.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import make_curtain

from controller.core.curtain.light_day import NO_LIGHT
from controller.core.curtain.zones import (
    Band,
    Clash,
    Plight,
    find_clash,
    list_bands,
    tell_clash,
    tell_place,
)
from controller.core.guard import tell_sum
from controller.core.plan.curtain import LightSum
from controller.core.plan.zone import Zone
from controller.settings.presets import Want, load_preset

LETTUCE, TOMATO = Band("lettuce", 12.0, 17.0), Band("tomato", 20.0, 30.0)
ZONES = tuple(Zone(name=band.crop, low_mol_m2=band.low_mol_m2, high_mol_m2=band.high_mol_m2)
              for band in (LETTUCE, TOMATO))  # fmt: skip


@pytest.mark.parametrize("band", [LETTUCE, TOMATO], ids=lambda band: band.crop)
def test_the_bands_are_those_of_the_presets(band: Band) -> None:
    """What this module supposes of the crops is what their presets say with a source."""
    preset = load_preset(band.crop).bands[Want.LIGHT_SUM]
    assert (preset.low, preset.high) == (band.low_mol_m2, band.high_mol_m2)


def test_the_zone_that_rules_comes_first_and_one_band_is_a_list_of_one() -> None:
    """Zones take the place of the one band; without either nobody wants anything."""
    curtain = make_curtain(light_sum=LightSum(), zone=ZONES, ruling_zone="tomato")
    assert list_bands(curtain) == (TOMATO, LETTUCE)
    assert list_bands(make_curtain(light_sum=LightSum(), zone=ZONES[:1])) == (LETTUCE,)
    assert list_bands(make_curtain(light_sum=LightSum(crop="basil"))) == (Band("basil", 12.0, 17.0),)
    assert list_bands(make_curtain()) == ()


def test_shade_for_one_leaves_the_other_in_want() -> None:
    """26 would come; shaded to the 17 that lettuce wants, tomato is 3 below its 20."""
    clash = find_clash((LETTUCE, TOMATO), free_mol=26.0, ruled_mol=17.0)
    assert clash == Clash("lettuce", (Plight("tomato", 17.0, -3.0, 3.0),))
    assert tell_clash(clash) == "the wish of lettuce rules: tomato comes to 17.0 mol/m2, 3.0 below its band"


def test_of_a_want_only_what_shade_takes_is_laid_at_its_door() -> None:
    """Where 18 would come in any case, shade to 17 takes 1 of the 3 that tomato lacks."""
    clash = find_clash((LETTUCE, TOMATO), free_mol=18.0, ruled_mol=17.0)
    assert clash == Clash("lettuce", (Plight("tomato", 17.0, -3.0, 1.0),))
    assert tell_clash(clash).endswith("17.0 mol/m2, 3.0 below its band (1.0 of it by the shade)")


def test_light_for_one_is_too_much_for_the_other() -> None:
    """Left open for tomato, the 26 are 9 above the 17 of lettuce."""
    clash = find_clash((TOMATO, LETTUCE), free_mol=26.0, ruled_mol=26.0)
    assert clash == Clash("tomato", (Plight("lettuce", 26.0, 9.0, 9.0),))
    assert tell_clash(clash) == "the wish of tomato rules: lettuce comes to 26.0 mol/m2, 9.0 above its band"


@pytest.mark.parametrize("mol", [4.0, 13.0, 17.3])
def test_light_that_cannot_come_is_no_quarrel(mol: float) -> None:
    """On a dull day tomato is short whoever rules, and a hair above a band is not worth a word."""
    assert find_clash((LETTUCE, TOMATO), free_mol=mol, ruled_mol=mol) is None
    assert find_clash((TOMATO, LETTUCE), free_mol=mol, ruled_mol=mol) is None


def test_a_share_counts_on_both_sides() -> None:
    """Lettuce that half of the light reaches has 13 of 26, and 17 there are 34 at the canopy."""
    shady = LETTUCE._replace(light_share=0.5)
    assert (shady.canopy_low_mol, shady.canopy_high_mol) == (24.0, 34.0)
    assert find_clash((TOMATO, shady), free_mol=26.0, ruled_mol=26.0) is None
    clash = find_clash((TOMATO, shady), free_mol=40.0, ruled_mol=40.0)
    assert clash == Clash("tomato", (Plight("lettuce", 20.0, 3.0, 3.0),))


@given(
    free=st.floats(0.0, 80.0), kept=st.floats(0.0, 1.0), share=st.floats(0.05, 1.0), low=st.floats(1.0, 50.0),
    width=st.floats(0.5, 50.0),
)  # fmt: skip
def test_whoever_is_told_of_lies_beside_the_band(
    free: float, kept: float, share: float, low: float, width: float
) -> None:
    """What is told adds up: the sum less what is too much, or with what is missing, is an end of the band."""
    band = Band("basil", low, low + width, share)
    clash = find_clash((LETTUCE, band), free_mol=free, ruled_mol=kept * free)
    mol, free_there = share * kept * free, share * free
    taken = max(0.0, min(band.low_mol_m2, free_there) - mol)
    if clash is None:
        assert mol <= 1.03 * band.high_mol_m2
        assert taken <= 0.03 * band.low_mol_m2
        return
    (plight,) = clash.plights
    assert plight.mol == pytest.approx(mol)
    end = band.high_mol_m2 if plight.off_mol > 0.0 else band.low_mol_m2
    assert plight.mol - plight.off_mol == pytest.approx(end)
    assert 0.0 < plight.by_rule_mol <= abs(plight.off_mol) * (1.0 + 1e-9)
    assert plight.by_rule_mol == pytest.approx(plight.off_mol if plight.off_mol > 0.0 else taken)


@pytest.mark.parametrize(
    ("mol", "says"),
    [
        (9.0, "3.0 below its band of 12 to 17"),
        (12.0, "in its band of 12 to 17"),
        (17.0, "in its band of 12 to 17"),
        (18.5, "1.5 above its band of 12 to 17"),
    ],
)
def test_how_a_sum_lies_to_a_band_is_said_with_the_distance(mol: float, says: str) -> None:
    """Both ends belong to the band."""
    assert tell_place(LETTUCE, mol) == says


def test_the_record_of_a_day_names_every_zone() -> None:
    """First the light below the curtain, then each zone's own sum and how it lies to its band."""
    curtain = make_curtain(
        light_sum=LightSum(),
        zone=(ZONES[0], ZONES[1].model_copy(update={"light_share": 0.9})),
        ruling_zone="lettuce",
    )
    day = NO_LIGHT._replace(mol=16.0, lit_ms=100, seen_ms=90)
    assert tell_sum(curtain, day) == (
        "16.0 mol/m2 of light at the canopy, 90 % of the daylight seen; lettuce 16.0, in its band of 12 to 17; "
        "tomato 14.4, 5.6 below its band of 20 to 30"
    )
    one = make_curtain(light_sum=LightSum(crop="lettuce"))
    assert tell_sum(one, day).endswith("seen, in the band of lettuce of 12 to 17")
