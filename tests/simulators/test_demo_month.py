"""The demo site is at peace with its own settings: a healthy month leaves nothing standing."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from controller.core.alarms.lifecycle import Phase
from controller.core.plan.alarm import Response
from controller.core.plan.plan import Plan
from controller.core.vocabulary import AnswerGiven, Event
from controller.settings.load import read_settings
from simulators.chance import stream
from simulators.clockwork import Clockwork
from simulators.rounds import KIT_ERROR, plan_rounds, use_kits
from simulators.site import SETTINGS, START, build
from simulators.witness import Witness
from simulators.world import MEAL_SHARE, MEALS_MIN, STOCK_KG


def read_plan() -> Plan:
    """Read the settings of the demo site."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan)
    return plan


def list_standing(run: Clockwork) -> list[str]:
    """List the alarms that are anything but normal."""
    return [
        name for name, alarm in run.engine.state.durable.alarms.items() if alarm.phase is not Phase.NORMAL
    ]


@pytest.mark.slow
@pytest.mark.parametrize(("month", "days"), [(1, 6), (6, 31)])
def test_a_healthy_month_leaves_no_alarm_standing(month: int, days: int) -> None:
    """In a midwinter week and in June nobody is called, and after the keeper's last morning nothing is open."""
    plan = read_plan()
    witness = Witness()
    run = build(
        plan,
        days=days + 1,
        seed=1,
        start=datetime(2026, month, 1, tzinfo=UTC),
        watch=lambda _: (witness,),
    )
    tally = run.run(days * 1440 + 12 * 60)
    notes = {entry.name for entry in run.entries if entry.response is Response.NOTE}

    # The daily word that all is well and the weekly test call are no calls.
    calls = [call.text for call in witness.calls if "EMERGENCY" in call.text or "DUSKBELL TODAY" in call.text]
    assert calls == []
    assert set(tally.alarms) <= notes
    assert "Raft pH high" not in tally.alarms
    assert list_standing(run) == []


def test_the_fish_of_the_world_are_those_of_the_settings() -> None:
    """Weight and daily feed of the two tanks agree with `[[water]]` to a tenth."""
    tanks = [water for water in read_plan().water if water.fish_kg]

    assert len(tanks) == len(STOCK_KG)
    assert sum(water.fish_kg or 0.0 for water in tanks) == pytest.approx(sum(STOCK_KG), rel=0.1)
    fed_g_d = sum(STOCK_KG) * 1000.0 * MEAL_SHARE * len(MEALS_MIN)
    assert sum(water.feed_g_d or 0.0 for water in tanks) == pytest.approx(fed_g_d, rel=0.1)


def test_the_water_takes_the_oxygen_that_the_settings_expect() -> None:
    """Over a fed day the first tank's water uses what its settings say, to a quarter: `demand_mg_kg_h` is all of it."""
    run = build(read_plan(), days=2, seed=1, start=START)
    world = run.world
    for minute in range(2880):
        world.advance(run.start_utc_ms + (minute + 1) * 60_000, minute % 1440)
        if minute == 1439:
            before = [tank.respired_mol for tank in world.tanks]
    water = run.plan.water[0]
    # Respiratory quotient 1: as many moles of oxygen as of carbon; nitrification comes on top, so this is a floor.
    used_mg_kg_h = (world.tanks[0].respired_mol - before[0]) * 31_998.0 / 24.0 / (water.fish_kg or 1.0)

    assert water.demand_mg_kg_h == pytest.approx(used_mg_kg_h, rel=0.25)


def test_the_keeper_tests_every_third_morning() -> None:
    """Four values of the kits at half past eight, about true; the next ones three days later."""
    run = build(read_plan(), days=5, seed=3, start=START)
    run.instruments = ()
    run.run(8 * 60 + 31)
    first = {name: entry.utc_ms for name, entry in run.engine.state.durable.entered.items()}
    run.run(3 * 1440)
    again = {name: entry.utc_ms for name, entry in run.engine.state.durable.entered.items()}

    assert len(first) == 4
    assert all(again[name] - first[name] == 3 * 86_400_000 for name in first)


def test_a_kit_is_right_on_the_whole() -> None:
    """Forty readings of one water have the mean of the truth and the scatter of a colour card."""
    run = build(read_plan(), days=1, seed=3, start=START)
    dice = stream(3, "many")
    read = [next(iter(use_kits(run, dice))).value for _ in range(400)]
    true = run.world.tanks[0].tan_mg_l

    assert sum(read) / len(read) == pytest.approx(true, rel=0.03)
    assert max(read) > true * (1 + KIT_ERROR)


def test_a_keeper_who_is_away_looks_at_nothing() -> None:
    """No test and no answer to a note comes from somebody who is not there."""
    run = build(read_plan(), days=2, seed=3, start=START)
    run.world.keeper_comes = False
    seen: list[Event] = []
    turn = run.turn
    run.turn = lambda event: (seen.append(event), turn(event))[1]  # type: ignore[method-assign]
    plan_rounds(run)
    run.run(1440)

    assert not any(isinstance(event, AnswerGiven) and event.way == "page" for event in seen)
    assert run.engine.state.durable.entered == {}
