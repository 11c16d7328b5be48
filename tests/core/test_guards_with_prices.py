"""Moist air, cold mornings and storms where the site's economics decide: the same guards round another comfort."""

from __future__ import annotations

from typing import Any

import pytest
from makers import House, make_curtain, make_plan, make_sensor, moves_while

from controller.core.plan.curtain import HumidityGap, StagedOpening, TooHot
from controller.core.plan.economics import Economics
from controller.core.units import Quantity

NIGHT = {"roof_light": 0.0, "house_air": 15.0, "outside_air": -8.0, "tank_oxygen": 8.0}
PRICES: dict[str, Any] = {"light_ceiling": None, "hold_heat": None, "economics": Economics()}


def at_night(**changes: Any) -> House:  # noqa: ANN401 - any key
    """Make a house that the balance has drawn for a cold night."""
    plan = make_plan()
    curtain = make_curtain(**(PRICES | changes))
    damp = make_sensor("damp", Quantity.HUMIDITY, "%")
    house = House(plan.model_copy(update={"sensor": (*plan.sensor, damp), "curtain": (curtain,)}))
    house.sky(-20.0).report(0.0).until_move(NIGHT, most_min=240.0).obey()
    assert (house.rule, house.drive.drawn_percent) == ("balance of costs", 100.0)
    return house


def test_moist_air_opens_a_gap_in_what_the_balance_has_drawn() -> None:
    """The gap comes and goes in its time, and the balance does not move the curtain between."""
    house = at_night(humidity_gap=HumidityGap(humidity_sensor="damp"))
    assert moves_while(house, 125, NIGHT | {"damp": 95.0}) == [98.0, 100.0, 98.0, 100.0]


def test_what_the_balance_opens_into_the_cold_goes_in_steps_to_its_end() -> None:
    """Half open is the worst of both, so the steps go on while the balance says nothing better; one move is counted."""
    house = at_night(staged_opening=StagedOpening())
    house.wait(30, speaking=NIGHT)
    before = house.drive.moves_total
    house.sky(25.0, 500.0)
    goals = moves_while(house, 100, NIGHT | {"roof_light": 350.0})

    assert goals[:3] == [96.0, 86.0, 76.0]
    assert goals[-1] == 0.0
    assert goals == sorted(goals, reverse=True)
    assert house.drive.moves_total == before + 1


def test_too_hot_goes_before_the_balance() -> None:
    """No price keeps a house drawn that is too hot."""
    house = at_night(too_hot=TooHot())
    assert moves_while(house, 8, NIGHT | {"house_air": 33.0}) == [0.0]
    assert house.rule == "too hot"


def test_the_balance_and_the_days_account_agree_on_the_light() -> None:
    """Two sums of the same light at the same canopy, kept for two purposes, within a hundredth."""
    plan = make_plan(curtain=(make_curtain(**PRICES),))
    house = House(plan).sky(40.0, 600.0).report(0.0)
    for minute in range(240):
        house.read(roof_light=350.0 + 100.0 * (minute % 40 > 20), house_air=20.0, outside_air=15.0)
        house.wait(1.0)
    view = house.state.views["roof"]
    assert view.balance is not None
    assert view.day.mol == pytest.approx(view.balance.day_mol, rel=0.01)
