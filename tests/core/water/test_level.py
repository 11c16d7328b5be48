"""Level: litres by geometry, leaks by the two marks, turnover by one published farm."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.ranges import OutOfRange
from controller.core.water import level
from controller.core.water.level import Loss


def test_a_millimetre_on_a_square_metre_is_a_litre() -> None:
    """3 mm in a day on 10 m2 is 30 L."""
    assert level.find_loss(fall_mm=3.0, surface_m2=10.0, time_h=24.0).litres == pytest.approx(30.0)


def test_a_millimetre_a_minute_is_a_leak_of_two_litres() -> None:
    """1 mm in a minute on 2 m2 is 2 L/min."""
    loss = level.find_loss(fall_mm=1.0, surface_m2=2.0, time_h=1.0 / 60.0)

    assert loss.rate_l_min == pytest.approx(2.0)


def test_the_virgin_islands_tanks_turn_over_in_47_minutes() -> None:
    """Rakocy et al. 1997 (ISTA-4): 17.6 m3 at 378 L/min; the paper says 0.8 h."""
    assert level.find_turnover_min(volume_l=17_600.0, flow_l_min=378.0) == pytest.approx(46.6, abs=0.05)


def test_component_volumes_are_not_trusted_over_the_total() -> None:
    """The paper's parts add to 93.6 m3 and its total is 91.6: a turnover differs by less than 3 %."""
    parts_l = 1000 * (4 * 4.4 + 2 * 1.8 + 4 * 0.7 + 6 * 11.5 + 0.6)
    by_parts = level.find_turnover_min(volume_l=parts_l, flow_l_min=378.0)
    by_total = level.find_turnover_min(volume_l=91_600.0, flow_l_min=378.0)

    assert by_parts == pytest.approx(93_600.0 / 378.0)
    assert by_parts == pytest.approx(by_total, rel=0.03)


def test_a_pass_through_the_tanks_adds_the_load() -> None:
    """397 g/d at 378 L/min adds 0.73 mg/L (UVI 1997, by hand)."""
    assert level.find_pickup_mg_l(load_g_d=397.0, flow_l_min=378.0) == pytest.approx(0.73, abs=0.005)


@pytest.mark.parametrize(
    ("fall_mm", "usual_l_h", "verdict"),
    [
        (3.0, 1.5, Loss.USUAL),
        (12.0, 1.5, Loss.LEAK),
        (12.0, None, Loss.USUAL),
        (300.0, None, Loss.LEAK),
        (0.0, 1.5, Loss.NONE),
        (-5.0, 1.5, Loss.NONE),
    ],
)
def test_a_leak_is_told_from_evaporation(fall_mm: float, usual_l_h: float | None, verdict: Loss) -> None:
    """Over a day on 10 m2 and 10 m3: three times the usual, or 1 % in an hour, is a leak (our choice)."""
    loss = level.find_loss(fall_mm=fall_mm, surface_m2=10.0, time_h=24.0)

    assert level.judge_loss(loss, volume_l=10_000.0, usual_l_h=usual_l_h) is verdict


@given(st.floats(-100, 100), st.floats(0.1, 100), st.floats(0.01, 100))
def test_rate_times_time_is_the_loss(fall_mm: float, surface_m2: float, time_h: float) -> None:
    """Litres and rate agree."""
    loss = level.find_loss(fall_mm=fall_mm, surface_m2=surface_m2, time_h=time_h)

    assert loss.rate_l_min * time_h * 60.0 == pytest.approx(loss.litres)


def test_no_time_is_no_rate() -> None:
    """A fall in no time has no rate."""
    with pytest.raises(OutOfRange, match="time"):
        level.find_loss(fall_mm=3.0, surface_m2=10.0, time_h=0.0)
