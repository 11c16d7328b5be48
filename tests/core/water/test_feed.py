"""What feed does to the water, against the trade's published rules and one real farm."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.ranges import OutOfRange
from controller.core.water import feed


def test_a_kilogram_of_common_feed_makes_29_grams() -> None:
    """1 kg/d at 32 % protein: 29.4 g/d by 0.092 (Timmons & Ebeling, from memory)."""
    assert feed.find_ammonia_g_d(feed_kg_d=1.0, protein_percent=32.0) == pytest.approx(29.44, abs=0.01)


def test_the_measured_share_is_a_third_lower() -> None:
    """39.4 % of feed nitrogen, measured in red tilapia, gives 20 g/d for the same feed."""
    assert feed.find_ammonia_low_g_d(feed_kg_d=1.0, protein_percent=32.0) == pytest.approx(20.17, abs=0.01)


def test_the_virgin_islands_farm_is_met() -> None:
    """Rakocy et al. 1997 (ISTA-4): 13.5 kg/d of 32 % feed on 214 m2 is 397 g/d of ammonia and 63 g/m2/d."""
    ammonia_g_d = feed.find_ammonia_g_d(feed_kg_d=13.5, protein_percent=32.0)
    ratio = feed.find_feeding_ratio_g_m2_d(feed_kg_d=13.5, area_m2=214.0)

    assert (ammonia_g_d, ratio) == (pytest.approx(397.0, abs=1.0), pytest.approx(63.1, abs=0.1))


@pytest.mark.parametrize(("feed_kg_d", "ratio", "area_m2"), [(1.0, 60.0, 16.7), (20.0, 100.0, 200.0)])
def test_feed_and_raft_area_go_together(feed_kg_d: float, ratio: float, area_m2: float) -> None:
    """Rakocy 2007, Ten guidelines: 60 to 100 g/m2/d."""
    assert feed.find_raft_area_m2(feed_kg_d=feed_kg_d, ratio_g_m2_d=ratio) == pytest.approx(area_m2, abs=0.05)


def test_nitrification_uses_oxygen_and_alkalinity_by_stoichiometry() -> None:
    """2 mol of O2 and 2 eq of alkalinity per mol of N: 4.569 and 7.146 g/g with molar masses 31.998, 100.087."""
    oxygen = feed.find_filter_oxygen_g_d(ammonia_g_d=1.0)
    alkalinity = feed.find_alkalinity_use_g_d(ammonia_g_d=1.0)

    assert (oxygen, alkalinity) == (
        pytest.approx(2 * 31.998 / 14.0067, rel=2e-3),
        pytest.approx(100.087 / 14.0067, rel=2e-3),
    )


def test_plants_give_half_of_the_alkalinity_back() -> None:
    """Uptake of all nitrate returns one of the two equivalents that nitrification used."""
    assert feed.find_alkalinity_use_g_d(ammonia_g_d=10.0, taken_up_g_d=10.0) == pytest.approx(35.7)


def test_days_until_alkalinity_is_used_up_follow() -> None:
    """10 m3 from 60 to 30 mg/L under 30 g/d nitrified: 300 g over 214 g/d is 1.40 d (by hand)."""
    assert 300.0 / feed.find_alkalinity_use_g_d(ammonia_g_d=30.0) == pytest.approx(1.40, abs=0.005)


def test_oxygen_per_feed_is_a_quarter_and_a_half() -> None:
    """0.25 kg/kg for the fish, 0.5 for the whole loop (Timmons & Ebeling, from memory)."""
    assert (
        feed.find_fish_oxygen_g_d(feed_kg_d=1.0),
        feed.find_system_oxygen_g_d(feed_kg_d=1.0),
    ) == (250.0, 500.0)


def test_fish_breathe_by_mass() -> None:
    """100 kg at 300 mg/kg/h use 30 g/h."""
    assert feed.find_fish_oxygen_g_h(fish_kg=100.0, demand_mg_kg_h=300.0) == pytest.approx(30.0)


@pytest.mark.parametrize(("weight_g", "demand"), [(20.0, 410.0), (100.0, 227.0), (200.0, 124.0)])
def test_the_tilapia_fit_is_met(weight_g: float, demand: float) -> None:
    """Scientific Reports 2021, 11:24130, at 28 C, worked out apart from here."""
    found = feed.find_tilapia_demand_mg_kg_h(weight_g=weight_g, temperature_c=28.0)

    assert found == pytest.approx(demand, abs=0.5)


@pytest.mark.parametrize(
    ("weight_g", "temperature_c"), [(500.0, 28.0), (2.0, 28.0), (200.0, 24.0), (100.0, 23.9), (100.0, 33.0)]
)
def test_the_tilapia_parabola_is_not_followed_past_its_turn(weight_g: float, temperature_c: float) -> None:
    """A fish of 500 g would use 655 mg/kg/h by the parabola; at 24 C it turns at 164 g already."""
    with pytest.raises(OutOfRange):
        feed.find_tilapia_demand_mg_kg_h(weight_g=weight_g, temperature_c=temperature_c)


@given(st.floats(3, 210), st.floats(3, 210), st.floats(24, 32))
def test_a_heavier_tilapia_never_uses_more_per_kilogram(
    one: float, other: float, temperature_c: float
) -> None:
    """Within its range the fit falls with weight and stays positive."""
    light, heavy = sorted((one, other))
    try:
        less = feed.find_tilapia_demand_mg_kg_h(weight_g=heavy, temperature_c=temperature_c)
    except OutOfRange:
        return

    assert 0 < less <= feed.find_tilapia_demand_mg_kg_h(weight_g=light, temperature_c=temperature_c) + 1e-9


@pytest.mark.parametrize(("feed_kg_d", "protein_percent"), [(-1.0, 32.0), (1.0, 80.0), (float("nan"), 32.0)])
def test_impossible_feed_is_refused(feed_kg_d: float, protein_percent: float) -> None:
    """Negative feed and a feed of 80 % protein are mistakes."""
    with pytest.raises(OutOfRange):
        feed.find_ammonia_g_d(feed_kg_d=feed_kg_d, protein_percent=protein_percent)
