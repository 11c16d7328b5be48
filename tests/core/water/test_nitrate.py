"""Nitrate against balances worked by hand and an integrated one."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.ranges import OutOfRange
from controller.core.water import nitrate

MG_L = st.floats(0, 1000)


def test_gains_and_losses_balance() -> None:
    """20 g/d made, 15 taken, 0.1 m3/d of water with 2 mg/L: 52 mg/L by hand."""
    found = nitrate.find_steady_mg_l(made_g_d=20.0, taken_up_g_d=15.0, exchange_m3_d=0.1, inflow_mg_l=2.0)

    assert found == pytest.approx(52.0)


def test_one_change_of_water_reaches_a_target() -> None:
    """From 200 to 150 with water of 5 mg/L takes 25.6 % (50 over 195)."""
    found = nitrate.find_exchange_percent(now_mg_l=200.0, wanted_mg_l=150.0, fresh_mg_l=5.0)

    assert found == pytest.approx(25.64, abs=0.01)


def test_a_flow_through_halves_in_seventy_percent_of_a_volume() -> None:
    """Ln 2 of the volume must pass."""
    assert nitrate.find_half_life_d(exchange_m3_d=1.0, volume_m3=1.0) == pytest.approx(0.6931, abs=1e-4)


def test_the_way_to_the_steady_value_is_the_integrated_balance() -> None:
    """A day in 86 400 Euler steps of the plain balance ends where the formula says."""
    value = 200.0
    for _ in range(86_400):
        value += (52.0 - value) * 0.5 / 2.0 / 86_400
    found = nitrate.find_nitrate_mg_l(
        start_mg_l=200.0, steady_mg_l=52.0, exchange_m3_d=0.5, volume_m3=2.0, time_d=1.0
    )

    assert found == pytest.approx(value, abs=1e-3)


@given(MG_L, MG_L, MG_L)
def test_a_change_of_water_mixes_to_the_wanted_value(now: float, wanted: float, fresh: float) -> None:
    """Mixing the share back gives the wanted nitrate, or the wish was out of reach."""
    try:
        share = nitrate.find_exchange_percent(now_mg_l=now, wanted_mg_l=wanted, fresh_mg_l=fresh) / 100.0
    except OutOfRange:
        assert not min(now, fresh) <= wanted <= max(now, fresh)
        return

    assert now * (1 - share) + fresh * share == pytest.approx(wanted, abs=1e-6)


@given(MG_L, MG_L, st.floats(0, 1000), st.floats(0, 1000))
def test_nitrate_walks_towards_its_steady_value(
    start: float, steady: float, one: float, other: float
) -> None:
    """More time never means further from the steady value."""
    early, late = sorted((one, other))

    def distance(time_d: float) -> float:
        found = nitrate.find_nitrate_mg_l(
            start_mg_l=start, steady_mg_l=steady, exchange_m3_d=0.1, volume_m3=10.0, time_d=time_d
        )
        return abs(found - steady)

    assert distance(late) <= distance(early) + 1e-9


@pytest.mark.parametrize("taken_up_g_d", [21.0, -1.0, inf])
def test_plants_cannot_take_what_is_not_there(taken_up_g_d: float) -> None:
    """An uptake above what comes in has no steady state, and a negative one no meaning."""
    with pytest.raises(OutOfRange, match="nitrogen taken up"):
        nitrate.find_steady_mg_l(made_g_d=20.0, taken_up_g_d=taken_up_g_d, exchange_m3_d=0.1)
