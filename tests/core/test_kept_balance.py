"""A balance over a restart: the account of moves, the clouds and the day's light are kept, and cost few writes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import House, make_curtain, make_plan

from controller.core.curtain.balance import EMPTY, Balance, keep
from controller.core.curtain.sky_memory import NOTHING_SEEN, mean_index, remember_sky
from controller.core.plan.economics import Economics
from controller.core.remember import pack, unpack

WORDS = {"roof_light": 300.0, "house_air": 15.0, "outside_air": 25.0}


def make_house() -> House:
    """Make a house with prices, its curtain open, under a sun that stands."""
    curtain = make_curtain(light_ceiling=None, hold_heat=None, economics=Economics())
    return House(make_plan(curtain=(curtain,), alarm=())).sky(40.0, 800.0).report(0.0)


def speak(house: House, minutes: int) -> int:
    """Let the sensors speak for some minutes; how often the durable half has changed."""
    writes = 0
    for minute in range(minutes):
        before = house.state.durable
        house.read(**WORDS | {"roof_light": 300.0 + minute % 3})
        house.wait(1.0)
        writes += house.state.durable is not before
    return writes


def test_a_restart_forgets_neither_the_account_nor_the_clouds() -> None:
    """Two hours of cloud, a restart: the index to expect and the day's light are those of an hour ago or better."""
    house = make_house()
    speak(house, 130)
    before = house.state.views["roof"].balance
    assert before is not None
    house.restart(away_min=5.0).sky(40.0, 800.0).report(0.0)
    speak(house, 5)
    after = house.state.views["roof"].balance
    assert after is not None
    assert mean_index(after.sky) == pytest.approx(300 / 800, abs=0.05)
    assert after.sky.seen_min >= before.sky.seen_min - 65
    assert after.day_mol >= before.day_mol / 2
    assert after.regrets == (0.0,) * len(after.regrets) or max(after.regrets) < 1e-3


def test_keeping_it_costs_a_write_an_hour() -> None:
    """Four hours of light are at most nine writes: one an hour for the day's light, one for the balance."""
    house = make_house()
    speak(house, 5)
    assert speak(house, 240) <= 9


@given(st.lists(st.floats(0.0, 1500.0), max_size=40), st.floats(-200.0, 350.0))
def test_what_is_kept_is_small_and_comes_back(lights: list[float], credit: float) -> None:
    """Any memory of clouds takes less than two kilobytes and survives its own form."""
    sky = NOTHING_SEEN
    for light in lights:
        sky = remember_sky(sky, light, 800.0, 1.0)
    kept = keep(EMPTY._replace(sky=sky, credit=credit, day_mol=3.21, light_sum=900.0, light_count=2))
    durable = unpack(pack(make_house().state.durable))
    again = unpack(pack(type(durable)(balances={"roof": kept}))).balances["roof"]
    assert isinstance(again, Balance)
    assert again == kept
    assert again.light_count == 0
    assert len(pack(type(durable)(balances={"roof": kept}))) - len(pack(durable)) < 2000
