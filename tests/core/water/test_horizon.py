"""Minutes until harm: the balance against integration, the trend against scipy."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from controller.core.ranges import OutOfRange
from controller.core.water import horizon
from controller.core.water.horizon import Basis, Draw, Horizon, Sample, Trend


@pytest.mark.parametrize(
    ("fish_kg_m3", "demand", "minutes"),
    [
        (5, 150, 240),
        (5, 300, 120),
        (5, 450, 80),
        (10, 300, 60),
        (20, 150, 60),
        (20, 300, 30),
        (20, 450, 20),
        (30, 300, 20),
        (60, 150, 20),
        (60, 300, 10),
    ],
)
def test_minutes_follow_biomass_and_demand(fish_kg_m3: float, demand: float, minutes: float) -> None:
    """From 6 to 3 mg/L without aeration: 60 x 3 / (biomass x demand), by hand."""
    found = horizon.find_minutes(Draw(fish_kg_m3, demand), oxygen_mg_l=6.0, limit_mg_l=3.0)

    assert found == pytest.approx(minutes)


def test_the_surface_gives_time() -> None:
    """Use of 2 mg/L/h with 0.2 1/h and 7.828 mg/L: 137 min in place of 90 (worked out apart from here)."""
    found = horizon.find_minutes(
        Draw(10.0, 200.0, exchange_per_h=0.2, saturation_mg_l=7.828), oxygen_mg_l=6.0, limit_mg_l=3.0
    )

    assert found == pytest.approx(137.0, abs=0.5)


def test_few_fish_never_empty_the_water() -> None:
    """Use of 0.4 mg/L/h is met by the surface before the limit."""
    draw = Draw(2.0, 200.0, exchange_per_h=0.2, saturation_mg_l=7.828)

    assert horizon.find_minutes(draw, oxygen_mg_l=6.0, limit_mg_l=3.0) is None


def test_no_time_is_left_at_the_limit() -> None:
    """At or below the limit the answer is 0, not a negative time."""
    assert horizon.find_minutes(Draw(20.0, 300.0), oxygen_mg_l=3.0, limit_mg_l=3.0) == 0.0


@given(
    st.floats(1, 80),
    st.floats(100, 400),
    st.floats(0, 2),
    st.floats(0, 5),
    st.floats(4, 9),
    st.floats(1, 3.9),
)
def test_the_formula_is_the_integrated_balance(
    fish: float, demand: float, water: float, k: float, start: float, limit: float
) -> None:
    """Running the balance in small steps for the minutes found ends at the limit."""
    draw = Draw(fish, demand, water, k, 8.0)
    minutes = horizon.find_minutes(draw, oxygen_mg_l=start, limit_mg_l=limit)
    if minutes is None or minutes > 2_000.0:
        return
    value, steps = start, 4_000
    for _ in range(steps):
        half = value + minutes / 60 / steps / 2 * (k * (8.0 - value) - horizon.find_use_mg_l_h(draw))
        value += minutes / 60 / steps * (k * (8.0 - half) - horizon.find_use_mg_l_h(draw))

    assert value == pytest.approx(limit, abs=2e-3)


@given(st.floats(1, 100), st.floats(1, 100), st.floats(0, 5))
def test_more_fish_never_means_more_time(one: float, other: float, k: float) -> None:
    """Time left falls with biomass."""
    few, many = sorted((one, other))

    def minutes(fish: float) -> float:
        found = horizon.find_minutes(Draw(fish, 300.0, 0.0, k, 8.0), oxygen_mg_l=6.0, limit_mg_l=3.0)
        return float("inf") if found is None else found

    assert minutes(many) <= minutes(few) * (1 + 1e-9)


@given(st.floats(0, 1e-6))
def test_hardly_any_exchange_is_no_exchange(k: float) -> None:
    """The formula runs into the straight line as the exchange goes to nothing."""
    found = horizon.find_minutes(Draw(20.0, 300.0, 0.0, k, 8.0), oxygen_mg_l=6.0, limit_mg_l=3.0)

    assert found == pytest.approx(30.0, rel=1e-4)


@pytest.mark.parametrize("seed", range(20))
def test_scipy_agrees_on_slope_and_interval(seed: int) -> None:
    """scipy.stats.theilslopes on noisy readings with a spike: same slope, same interval, same line."""
    chance = Random(seed)  # noqa: S311 - a seed per case, no secret
    count = chance.randint(3, 60)
    minutes = [i * 2.0 + chance.random() for i in range(count)]
    values = [6.0 - 0.01 * m + chance.gauss(0, 0.1) for m in minutes]
    values[count // 2] += 5.0
    outside = theilslopes(values, [m / 60.0 for m in minutes], 0.95)
    trend = horizon.fit_trend([Sample(m, v) for m, v in zip(minutes, values, strict=True)])

    assert (trend.slope_per_h, trend.low_per_h, trend.high_per_h) == (
        pytest.approx(float(outside.slope)),
        pytest.approx(float(outside.low_slope)),
        pytest.approx(float(outside.high_slope)),
    )
    assert trend.value == pytest.approx(float(outside.intercept) + float(outside.slope) * minutes[-1] / 60.0)


def test_a_spike_moves_the_trend_little() -> None:
    """One reading of 15 mg/L among thirty on a falling line changes the slope by less than 5 %."""
    line = [Sample(i * 1.0, 6.0 - 0.02 * i) for i in range(30)]
    spiked = [*line[:15], Sample(15.0, 15.0), *line[16:]]

    assert horizon.fit_trend(spiked).slope_per_h == pytest.approx(-1.2, rel=0.05)


def test_ties_are_counted_as_scipy_counts_them() -> None:
    """Readings rounded to 0.1 repeat; scipy takes repeats off the variance, and so do we."""
    values = [6.0, 6.0, 5.9, 5.9, 5.9, 5.8, 5.8, 5.7, 5.7, 5.7]
    outside = theilslopes(values, [i / 60.0 for i in range(10)], 0.95)
    trend = horizon.fit_trend([Sample(float(i), v) for i, v in enumerate(values)])

    assert (trend.low_per_h, trend.high_per_h) == (
        pytest.approx(float(outside.low_slope)),
        pytest.approx(float(outside.high_slope)),
    )


def test_a_falling_trend_says_when() -> None:
    """From 5.42 mg/L at 1.2 mg/L an hour to 4: 71 minutes."""
    trend = horizon.fit_trend([Sample(i * 1.0, 6.0 - 0.02 * i) for i in range(30)])
    left = horizon.find_time_left(trend, limit=4.0, falling=True)

    assert left.minutes == pytest.approx(71.0)


def test_a_trend_away_from_the_limit_never_gets_there() -> None:
    """Rising oxygen does not reach a low limit."""
    trend = Trend(0.5, 0.4, 0.6, 5.0, 30)

    assert horizon.find_time_left(trend, limit=4.0, falling=True).minutes is None


def test_a_rising_quantity_has_a_high_limit() -> None:
    """Ammonia at 0.5 mg/L rising by 0.1 an hour reaches 1.0 in 300 minutes, soonest in 250, latest in 600."""
    left = horizon.find_time_left(Trend(0.1, 0.05, 0.12, 0.5, 30), limit=1.0, falling=False)

    assert (left.minutes, left.soonest_minutes, left.latest_minutes) == (
        pytest.approx(300.0),
        pytest.approx(250.0),
        pytest.approx(600.0),
    )


def test_an_uncertain_slope_has_no_latest_time() -> None:
    """An interval that holds zero: it may never get there."""
    left = horizon.find_time_left(Trend(-0.1, -0.3, 0.1, 5.0, 30), limit=4.0, falling=True)

    assert (left.soonest_minutes, left.latest_minutes) == (pytest.approx(200.0), None)


def test_the_sooner_of_the_two_is_named() -> None:
    """Whichever answer is sooner comes back with its name."""
    falling = Trend(-6.0, -7.0, -5.0, 5.0, 30)

    assert horizon.choose_sooner(worst_case_minutes=30.0, trend=falling, limit=4.0, falling=True) == Horizon(
        10.0, Basis.TREND
    )
    assert horizon.choose_sooner(worst_case_minutes=5.0, trend=falling, limit=4.0, falling=True) == Horizon(
        5.0, Basis.WORST_CASE
    )


def test_noise_is_no_horizon() -> None:
    """A slope whose interval holds zero does not count; past the limit the readings do."""
    noise = Trend(-6.0, -13.0, 1.0, 5.0, 30)

    assert horizon.choose_sooner(worst_case_minutes=None, trend=noise, limit=4.0, falling=True) is None
    assert horizon.choose_sooner(worst_case_minutes=None, trend=noise, limit=5.5, falling=True) == Horizon(
        0.0, Basis.TREND
    )


def test_nothing_known_is_nothing_said() -> None:
    """Without biomass and without readings there is no horizon."""
    assert horizon.choose_sooner(worst_case_minutes=None, trend=None, limit=4.0, falling=True) is None


@pytest.mark.parametrize(
    "samples",
    [
        [],
        [Sample(0.0, 1.0), Sample(1.0, 1.0)],
        [Sample(5.0, 1.0), Sample(5.0, 2.0), Sample(5.0, 3.0)],
        [Sample(0.0, 1.0), Sample(1.0, float("nan")), Sample(2.0, 1.0)],
        [Sample(float(i), 1.0) for i in range(257)],
    ],
)
def test_too_few_too_many_or_broken_readings_are_refused(samples: list[Sample]) -> None:
    """A trend needs 3 to 256 numbers at different times."""
    with pytest.raises(OutOfRange):
        horizon.fit_trend(samples)


@given(st.lists(st.tuples(st.floats(0, 1e4), st.floats(-100, 100)), min_size=3, max_size=20))
def test_the_slope_lies_in_its_interval(points: list[tuple[float, float]]) -> None:
    """The median slope is never outside its own confidence interval, in whatever order readings come."""
    samples = [Sample(at, value) for at, value in points]
    try:
        trend = horizon.fit_trend(samples)
    except OutOfRange:
        assert all(a.at_min == b.at_min for a, b in pairwise(samples))
        return

    assert trend.low_per_h <= trend.slope_per_h <= trend.high_per_h
    assert trend == horizon.fit_trend(list(reversed(samples))) or len({s.at_min for s in samples}) < len(
        samples
    )


@pytest.mark.parametrize(
    "draw", [Draw(-1.0, 300.0), Draw(20.0, 0.0), Draw(20.0, 300.0, -1.0), Draw(201.0, 300.0)]
)
def test_impossible_fish_are_refused(draw: Draw) -> None:
    """Negative fish, or fish that do not breathe, are mistakes."""
    with pytest.raises(OutOfRange):
        horizon.find_minutes(draw, oxygen_mg_l=6.0, limit_mg_l=3.0)
