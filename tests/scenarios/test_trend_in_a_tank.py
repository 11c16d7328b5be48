"""The trend of oxygen in a simulated tank whose air fails, with a probe as noisy and slow as usual ones."""

from __future__ import annotations

import statistics

import pytest

from controller.core.water.course import find_course
from controller.core.water.outlook import COURSES, Matter
from controller.core.water.trace import EMPTY, follow
from simulators.basin import Basin, Stock
from simulators.biofilter import Nitrifiers
from simulators.sensors import Sensor
from simulators.tank import Tank

LIMIT_MG_L = 3.0


def make_tank() -> Tank:
    """Make 4 m3 with 20 kg/m3 of fish that take 300 mg/kg/h, and nothing else that takes or gives oxygen."""
    tank = Tank(
        basin=Basin(surface_per_h=0.0),
        stock=Stock(breath_mg_kg_h=300.0, breath_q10=1.0),
        fish_kg=80.0,
        aeration_per_h=0.0,
        filter=Nitrifiers.mature(0.001),
    )
    tank.set_water(oxygen_mg_l=6.0, tan_mg_l=0.01, nitrite_mg_l=0.01, nitrate_mg_l=30.0)
    return tank


def fall(seed: int, interval_s: int) -> tuple[dict[int, float], float]:
    """Let the air fail after three hours; return what the trend says at each minute, and when harm comes [min]."""
    tank, trace = make_tank(), EMPTY
    probe = Sensor(seed=seed, name="oxygen", noise=0.03, lag_s=60.0, step=0.01)
    course = COURSES[Matter.OXYGEN]
    said: dict[int, float] = {}
    second = 0
    while tank.oxygen_mg_l > LIMIT_MG_L:
        second += interval_s
        assert second < 300 * 60, "harm comes"
        since_s = second - 180 * 60
        if since_s > 0:
            tank.advance(interval_s, air_c=22.0)
        value = probe.advance(interval_s, tank.oxygen_mg_l)
        assert value is not None
        trace = follow(trace, at_ms=second * 1000, value=value)
        if since_s > 0 and since_s % 60 == 0:
            trend = find_course(
                trace, noise_floor=course.noise_floor, shortest=course.shortest, lag_min=course.lag_min
            )
            if trend is not None and trend.certain and trend.slope_per_h < 0.0:
                said[since_s // 60] = 60.0 * (trend.value - LIMIT_MG_L) / -trend.slope_per_h
    return said, since_s / 60.0


@pytest.mark.parametrize("interval_s", [30, 60])
def test_five_to_ten_minutes_after_the_air_failed_the_trend_agrees(interval_s: int) -> None:
    """6 mg/L fall to 3 in 30 minutes: of 40 probes at most 8 say 20 % too long, and the median is within 20 %."""
    falls = [fall(seed, interval_s) for seed in range(40)]
    assert all(harm == pytest.approx(30.0, abs=1.0) for _, harm in falls)
    for minute in range(5, 11):
        shares = [said[minute] / (harm - minute) for said, harm in falls if minute in said]

        assert len(shares) >= 32
        assert sum(share > 1.2 for share in shares) <= 8
        assert statistics.median(shares) == pytest.approx(1.0, abs=0.2)
