"""The filter against hand-worked balances and its own removal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.ranges import OutOfRange
from controller.core.water import filter as biofilter
from controller.core.water.filter import Media

MEDIA = Media(100.0, 0.6, 1.0)


def test_half_the_capacity_settles_at_the_half_saturation() -> None:
    """30 g/d on 100 m2 of 0.6 g/m2/d with K 1: 1.0 mg/L, by the definition of K."""
    standing = biofilter.judge_load(MEDIA, load_g_d=30.0)

    assert (standing.steady_mg_l, standing.load_percent) == (pytest.approx(1.0), pytest.approx(50.0))


@pytest.mark.parametrize("load_g_d", [60.0, 61.0, 1000.0])
def test_a_load_at_capacity_has_no_steady_state(load_g_d: float) -> None:
    """At and above capacity the filter is overloaded, and no number pretends otherwise."""
    standing = biofilter.judge_load(MEDIA, load_g_d=load_g_d)

    assert (standing.overloaded, standing.steady_mg_l) == (True, None)


@pytest.mark.parametrize(("load_g_d", "overloaded"), [(59.7, False), (59.71, True), (59.9999, True)])
def test_what_no_water_ever_has_is_no_steady_state(load_g_d: float, *, overloaded: bool) -> None:
    """S = K P / (C - P): 59.7 of 60 g/d settles at 199 mg/L, 59.71 beyond 200, which counts as overload."""
    standing = biofilter.judge_load(MEDIA, load_g_d=load_g_d)

    assert standing.overloaded is overloaded
    assert standing.steady_mg_l is None or standing.steady_mg_l == pytest.approx(199.0)


def test_a_cold_film_lets_ammonia_rise_to_2_3() -> None:
    """28 to 20 C at 4.275 % per kelvin (Zhu & Chen 2002): 1.0 becomes 2.3 mg/L; 10 % would overstate it."""
    rate = biofilter.adjust_rate_g_m2_d(rate_g_m2_d=0.6, from_c=28.0, to_c=20.0)
    standing = biofilter.judge_load(Media(100.0, rate, 1.0), load_g_d=30.0)

    assert standing.steady_mg_l == pytest.approx(2.32, abs=0.01)
    assert rate > 0.6 / 1.1**8


@given(st.floats(0, 59.9), st.floats(1, 1000), st.floats(0.1, 2), st.floats(0.1, 5))
def test_the_filter_removes_the_load_at_the_steady_value(
    load_g_d: float, area_m2: float, rate: float, half: float
) -> None:
    """Putting the steady ammonia back into the removal gives the load."""
    media = Media(area_m2, rate, half)
    standing = biofilter.judge_load(media, load_g_d=load_g_d)
    if standing.steady_mg_l is None:
        return

    assert biofilter.find_removal_g_d(media, ammonia_mg_l=standing.steady_mg_l) == pytest.approx(load_g_d)


@given(st.floats(0, 59), st.floats(0, 59))
def test_more_load_never_means_less_ammonia(one: float, other: float) -> None:
    """Steady ammonia rises with load."""
    little, much = sorted((one, other))
    low = biofilter.judge_load(MEDIA, load_g_d=little).steady_mg_l
    high = biofilter.judge_load(MEDIA, load_g_d=much).steady_mg_l

    assert low is not None
    assert high is not None
    assert low <= high


@given(st.floats(14, 34), st.floats(14, 34))
def test_carrying_a_rate_there_and_back_changes_nothing(one: float, other: float) -> None:
    """The warmth factor is its own inverse."""
    there = biofilter.adjust_rate_g_m2_d(rate_g_m2_d=0.6, from_c=one, to_c=other)

    assert biofilter.adjust_rate_g_m2_d(rate_g_m2_d=there, from_c=other, to_c=one) == pytest.approx(0.6)


@pytest.mark.parametrize("to_c", [13.9, 34.1, 85.0, -127.0])
def test_warmth_is_not_carried_beyond_the_nitrifiers(to_c: float) -> None:
    """Outside 14 to 34 C there is no factor (Somerville et al. 2014, FAO 589)."""
    with pytest.raises(OutOfRange, match="water temperature"):
        biofilter.adjust_rate_g_m2_d(rate_g_m2_d=0.6, from_c=20.0, to_c=to_c)
