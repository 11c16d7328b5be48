"""Two lines side by side: the paired difference and how sure it is."""

from __future__ import annotations

import math

import pytest
import scipy.stats
from waters import draw_noise, good, run_course, spoilt

from controller.core.plan.water import Loop, Water
from controller.core.vocabulary import Trust
from controller.core.water.mirror import compare, find_interval, find_student_t, pair
from controller.core.water.trace import Trace

FISH = Water(name="A", ph="A pH", conductivity="A ec", temperature="A t")
MIRROR = Water(name="B", loop=Loop.NUTRIENT, ph="B pH", conductivity="B ec", temperature="B t")


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 8, 15, 30, 120])
def test_students_point_is_the_tables(freedom: int) -> None:
    """Within 0.5 % of SciPy's quantile at the 97.5 % point."""
    assert find_student_t(freedom=freedom) == pytest.approx(scipy.stats.t.ppf(0.975, freedom), rel=0.005)


def test_between_table_rows_it_errs_wide() -> None:
    """For one and a half degrees of freedom the wider row is taken."""
    assert find_student_t(freedom=1.5) >= scipy.stats.t.ppf(0.975, 1.5)


def test_pairs_are_of_the_same_minute() -> None:
    """Readings farther apart than a minute are no pair."""
    assert pair([(0.0, 1.0), (5.0, 2.0), (10.0, 3.0)], [(0.5, 0.0), (7.5, 0.0), (10.0, 1.0)]) == (1.0, 2.0)


def test_what_moves_both_drops_out() -> None:
    """A swing of 2 that both lines share leaves a difference of 0.5 without spread."""

    def swing(at: float) -> float:
        return 6.0 + math.sin(at / 10.0)

    traces = {
        "A pH": run_course(lambda at: swing(at) + 0.5, minutes=60),
        "B pH": run_course(swing, minutes=60),
    }
    (found,) = compare(FISH, MIRROR, {"A pH": good(6.5), "B pH": good(6.0)}, traces)[:1]

    assert found.difference == pytest.approx(0.5)
    assert found.plus_minus == pytest.approx(0.0, abs=1e-9)
    assert "pH: +0.5" in found.describe()


def test_the_interval_holds_the_true_difference_as_often_as_it_says() -> None:
    """Of 400 comparisons of independent noise the 95 % interval holds the truth in 92 to 99 %."""
    held = 0
    for seed in range(400):
        draw = draw_noise(seed)
        mean, half = find_interval([draw.gauss(0.3, 0.1) for _ in range(30)])
        held += abs(mean - 0.3) <= half

    assert 0.92 * 400 <= held <= 0.99 * 400


def test_readings_that_hang_together_widen_the_interval() -> None:
    """A slow wander counts for fewer pairs than as many independent ones of the same spread."""
    draw = draw_noise(1)
    slow = [0.1 * math.sin(index / 5.0) for index in range(30)]
    fast = slow.copy()
    draw.shuffle(fast)

    assert find_interval(slow)[1] > 1.5 * find_interval(fast)[1]


def test_too_few_pairs_and_doubtful_probes_are_no_comparison() -> None:
    """It is said why there is none."""
    traces: dict[str, Trace] = {
        "A pH": run_course(lambda _: 6.5, minutes=3),
        "B pH": run_course(lambda _: 6.0, minutes=3),
    }
    few = compare(FISH, MIRROR, {"A pH": good(6.5), "B pH": good(6.0)}, traces)[0]
    unsure = compare(FISH, MIRROR, {"A pH": good(6.5), "B pH": spoilt(Trust.STALE)}, traces)[0]

    assert "only" in few.why
    assert unsure.why == "B pH cannot be trusted"
    assert few.difference is unsure.difference is None


def test_only_what_both_measure_is_compared() -> None:
    """Lines without thermometers are compared in pH and conductivity alone."""
    bare = FISH.model_copy(update={"temperature": ""})

    assert len(compare(bare, MIRROR, {}, {})) == 2
