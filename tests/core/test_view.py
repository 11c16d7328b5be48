"""What the rules of a curtain see: light reckoned to the outside, smoothed, and never its own shadow."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import LIGHT, House, make_curtain, make_plan, make_sensor

from controller.core.curtain.light_day import USUAL_CLEARNESS
from controller.core.curtain.view import reckon_outside_light, since, smooth, trusted
from controller.core.plan.curtain import LightCeiling
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Mounted
from controller.core.signals.sense import UNHEARD
from controller.core.units import MINUTE_MS, Quantity
from controller.core.vocabulary import Trust

CURTAIN = make_curtain(transmission=0.6, cover_transmission=0.5)


def below(**changes: object) -> Plan:
    """Make the good house with its light sensor under the curtain."""
    sensors = make_plan().sensor[1:]
    lamp = make_sensor(LIGHT, Quantity.LIGHT, "W/m2", mounted=Mounted.BELOW_CURTAIN)
    curtain = make_curtain(transmission=0.6, cover_transmission=0.5, **changes)
    return make_plan(sensor=(lamp, *sensors), curtain=(curtain,))


@pytest.mark.parametrize(
    ("mounted", "drawn_percent", "outside_w_m2"),
    [
        (Mounted.OUTSIDE, None, 300.0),
        (Mounted.ABOVE_CURTAIN, None, 600.0),
        (Mounted.BELOW_CURTAIN, 0.0, 600.0),
        (Mounted.BELOW_CURTAIN, 100.0, 1000.0),
        (Mounted.BELOW_CURTAIN, 50.0, 750.0),
        (Mounted.BELOW_CURTAIN, None, None),
    ],
)
def test_light_is_reckoned_to_the_outside(
    mounted: Mounted, drawn_percent: float | None, outside_w_m2: float | None
) -> None:
    """300 W/m2 means different skies in different places, and none under a curtain of unknown position."""
    answer = reckon_outside_light(300.0, mounted=mounted, curtain=CURTAIN, drawn_percent=drawn_percent)

    assert (None if outside_w_m2 is None else pytest.approx(outside_w_m2)) == answer


@given(st.floats(0.0, 1500.0), st.floats(0.0, 100.0))
def test_the_curtain_does_not_see_its_own_shadow(outside_w_m2: float, drawn_percent: float) -> None:
    """What a sensor under the curtain reads, reckoned back, is the light there was, wherever the curtain stands."""
    through = 0.5 * (1.0 - drawn_percent / 100.0 * 0.4)
    answer = reckon_outside_light(
        outside_w_m2 * through, mounted=Mounted.BELOW_CURTAIN, curtain=CURTAIN, drawn_percent=drawn_percent
    )

    assert pytest.approx(outside_w_m2) == answer


def test_smoothing_follows_the_step_response_of_a_first_order_filter() -> None:
    """After one time constant 1 - 1/e of a step has been followed (definition of a first-order lag)."""
    answer = smooth(previous=0.0, value=100.0, elapsed_ms=3 * MINUTE_MS, time_constant_min=3.0)

    assert pytest.approx(100.0 * (1.0 - math.exp(-1.0))) == answer


@given(st.floats(0, 1500), st.floats(0, 1500), st.integers(0, 10**9), st.floats(0, 60))
def test_smoothing_never_overshoots(previous: float, value: float, elapsed_ms: int, minutes: float) -> None:
    """The smoothed light lies between what was and what is."""
    low, high = sorted((previous, value))
    answer = smooth(previous=previous, value=value, elapsed_ms=elapsed_ms, time_constant_min=minutes)

    assert low - 1e-9 <= answer <= high + 1e-9


@given(st.floats(1, 1000), st.floats(1, 1000), st.integers(1, 60))
def test_smoothing_does_not_depend_on_how_often_it_is_asked(start: float, value: float, pieces: int) -> None:
    """Ten looks in a minute smooth as much as one, so that a chatty sensor steers no sooner."""
    step, light = 60 * 1000, start
    for _ in range(pieces):
        light = smooth(previous=light, value=value, elapsed_ms=step, time_constant_min=3.0)

    assert (
        pytest.approx(smooth(previous=start, value=value, elapsed_ms=step * pieces, time_constant_min=3.0))
        == light
    )


def test_only_a_good_value_is_used() -> None:
    """Doubtful, stale and missing are the same to a decision: there is no value."""
    good = UNHEARD._replace(value=5.0, trust=Trust.GOOD)

    assert [
        trusted(good),
        trusted(good._replace(trust=Trust.DOUBTFUL)),
        trusted(good._replace(trust=Trust.STALE)),
        trusted(UNHEARD),
        trusted(None),
    ] == [5.0, None, None, None, None]


def test_since_carries_on_begins_and_ends() -> None:
    """The memory of since when keeps its first instant."""
    assert [
        since(True, None, 7),
        since(True, 3, 7),
        since(False, 3, 7),
        since(False, None, 7),
    ] == [7, 3, None, None]


def test_lost_light_is_reckoned_from_the_clear_sky() -> None:
    """Without a light sensor the almanac stands in, and the view says so."""
    house = House().sky(45.0, 800.0)
    house.wait(1)

    view = house.state.views["roof"]
    assert (view.light_w_m2, view.light_is_reckoned) == (USUAL_CLEARNESS * 800.0, True)


def test_light_under_a_moving_curtain_is_what_it_was_before() -> None:
    """While the shadow moves over the sensor its reading is not used, and the memory of shade is kept."""
    house = House(below(light_ceiling=LightCeiling(filter_min=0.0), hold_heat=None))
    house.report(0.0).read(roof_light=400.0).wait(1, speaking={"roof_light": 400.0})
    assert pytest.approx(800.0) == house.state.views["roof"].light_w_m2

    house.until_move({"roof_light": 400.0})
    house.wait(seconds=10).report(50.0, moving=True).read(roof_light=300.0)
    assert house.state.views["roof"].shading
    assert house.state.views["roof"].light_w_m2 == pytest.approx(800.0)
    house.wait(seconds=60).report(100.0).read(roof_light=240.0)
    assert house.state.views["roof"].light_w_m2 == pytest.approx(800.0)
    assert house.rule == "light ceiling"
