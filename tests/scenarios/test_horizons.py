"""The time left, in whole simulated houses: silent on healthy days, right when the air fails.

`make horizons` looks at twenty houses over thirty days; here are two over three.
"""

from __future__ import annotations

import pytest

from controller.core.foresee import foresee_waters, see_state
from controller.core.plan.plan import Plan
from controller.core.units import Quantity
from controller.core.water.horizon import Basis
from controller.core.water.outlook import Outlook
from controller.settings.load import read_settings
from simulators.bench.horizons import BOUND_MIN, START, live
from simulators.clockwork import Clockwork
from simulators.site import SETTINGS, build

AGREES_WITHIN = 0.20


def read_plan() -> Plan:
    """Read the settings of the demo site."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan)
    return plan


def look_at_oxygen(run: Clockwork) -> Outlook:
    """Read the outlook of the first tank's oxygen."""
    state = run.engine.state
    sight = see_state(state)
    return next(each for each in foresee_waters(sight) if each.matter.value is Quantity.OXYGEN)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [101, 102])
def test_on_healthy_days_nobody_is_shown_less_than_an_hour(seed: int) -> None:
    """Clouds, meals, rounds, noisy probes and test kits, and not one horizon below an hour."""
    quiet = live(read_plan(), seed=seed, days=3, every_min=5)

    assert quiet.looks > 500
    assert quiet.least_min >= BOUND_MIN, quiet.worst
    assert "carbon dioxide is building up: aeration lost, no call for base" not in quiet.likely


@pytest.mark.slow
def test_when_the_air_fails_the_minutes_are_told_at_once_and_the_trend_agrees() -> None:
    """Without air the worst case speaks with the next word of the switch; ten minutes on the trend holds.

    An hour after a meal the water breathes more than the settings say, so the trend becomes the sooner of the
    two; it is within 20 % of the time that the water really takes.
    """
    run = build(read_plan(), days=3, seed=5, start=START)
    run.run(1440 + 13 * 60)
    before = look_at_oxygen(run)
    run.world.plant.air_pump = False
    run.pass_minute()
    run.pass_minute()
    at_once = look_at_oxygen(run)
    by_trend: list[tuple[int, float]] = []
    minute = 2
    while run.world.tanks[0].oxygen_mg_l > at_once.limit:
        run.pass_minute()
        minute += 1
        outlook = look_at_oxygen(run)
        if 10 <= minute <= 40 and outlook.basis is Basis.TREND and outlook.minutes is not None:
            by_trend.append((minute, outlook.minutes))
        assert minute < 400

    assert before.minutes is None
    assert at_once.minutes is not None
    assert (at_once.basis, at_once.because) == (Basis.WORST_CASE, "no air")
    assert by_trend
    errors = sorted(abs(left / (minute - at) - 1.0) for at, left in by_trend)
    assert errors[len(errors) // 2] <= AGREES_WITHIN
