"""Storm and snow, too hot, too cold, moist air, opening in steps: each by its limit, its delay and its end."""

from __future__ import annotations

from typing import Any

import psychrolib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import House, make_curtain, make_plan, make_sensor, moves_while

from controller.core.curtain.costs import saving_left
from controller.core.curtain.gap import find_margin_c
from controller.core.curtain.latch import OFF, Latch, follow
from controller.core.plan.curtain import Actuator, HumidityGap, StagedOpening, StormAndSnow, TooCold, TooHot
from controller.core.units import HOUR_MS, Quantity
from controller.core.vocabulary import HoldAsked, Weather, WeatherTold
from controller.core.why import explain_curtains

DAY = {"roof_light": 400.0, "house_air": 20.0, "outside_air": 12.0, "tank_oxygen": 8.0}
NIGHT = {"roof_light": 0.0, "house_air": 15.0, "outside_air": 2.0, "tank_oxygen": 8.0}
SENSORS = (
    make_sensor("damp", Quantity.HUMIDITY, "%"),
    make_sensor("wind", Quantity.WIND_SPEED, "m/s"),
    make_sensor("snow", Quantity.SWITCH, "on/off"),
)


def build(**changes: Any) -> House:  # noqa: ANN401 - any key
    """Make a house whose curtain has these tables, and sensors of moisture, wind and snow."""
    plan = make_plan()
    return House(
        plan.model_copy(update={"sensor": (*plan.sensor, *SENSORS), "curtain": (make_curtain(**changes),)})
    )


def at_night(**changes: Any) -> House:  # noqa: ANN401 - any key
    """Make a house whose curtain is drawn for the night."""
    return build(**changes).sky(-20.0).report(0.0).until_move(NIGHT).obey()


def says(house: House) -> str:
    """Return the reason for the one curtain's position."""
    return explain_curtains(house.state, house.stamp)[0].reason


# --- the latch ------------------------------------------------------------------------------------------


@given(st.lists(st.tuples(st.booleans(), st.booleans(), st.integers(0, 20)), max_size=40))
def test_a_latch_never_turns_before_its_delay(story: list[tuple[bool, bool, int]]) -> None:
    """Whatever is seen, it turns only after the whole delay without a break, and never twice within it."""
    latch, now, turned = OFF, 0, -(10**9)
    for begins, ends, passed in story:
        now += passed
        after = follow(latch, begins=begins, ends=ends, now=now, begin_ms=10, end_ms=30)
        if after.on is not latch.on:
            assert now - turned >= (10 if after.on else 30)
            turned = now
        latch = after


def test_a_latch_begins_anew_after_a_break() -> None:
    """Nine of ten minutes and a break are no ten minutes."""
    latch = OFF
    for now, seen in ((0, True), (9, True), (10, False), (11, True), (20, True)):
        latch = follow(latch, begins=seen, ends=False, now=now, begin_ms=10, end_ms=10)
    assert Latch(on=False, since_ms=11) == latch


# --- storm and snow -------------------------------------------------------------------------------------


def test_a_person_opens_for_snow_and_it_ends_by_itself() -> None:
    """Named, bounded, kept over a restart; before it ends the night may not draw, afterwards it does."""
    house = at_night().wait(1, speaking=NIGHT).tell(WeatherTold(Weather.SNOW, 3.0, "keeper"))
    assert [move.drawn_percent for move in house.moves] == [0.0]
    assert any("raise the heating" in note for note in house.notes)

    house.obey().restart(1.0).sky(-20.0).report(0.0)
    house.wait(30, speaking=NIGHT)
    assert house.rule == "storm or snow"
    assert "keeper says snow, for another 2." in says(house)

    house.wait(150, speaking=NIGHT)
    assert house.rule == "hold heat at night"


def test_snow_breaks_a_hold_and_a_run_under_way() -> None:
    """A roof full of snow goes before a person's wish of an hour ago, and the motor turns round for it."""
    house = at_night().wait(1, speaking=NIGHT).tell(HoldAsked("roof", 100.0, 600.0, "deputy"))
    house.tell(WeatherTold(Weather.SNOW, 3.0, "keeper"))
    assert [move.drawn_percent for move in house.moves] == [0.0]


def test_a_storm_goes_where_the_site_wants() -> None:
    """Drawn for heat unless set otherwise."""
    for percent in (100.0, 0.0):
        house = build(storm_and_snow=StormAndSnow(storm_drawn_percent=percent)).sky(40.0, 600.0).report(50.0)
        house.wait(12, speaking=DAY)
        goals = [move.drawn_percent for move in house.tell(WeatherTold(Weather.STORM, 2.0, "keeper")).moves]
        assert goals == [percent]
        assert house.rule == "storm or snow"


def test_wind_begins_and_ends_a_storm_with_its_delays() -> None:
    """Above 15 m/s for two minutes; over below 12 m/s for half an hour; gusts between the two change nothing."""
    house = build(storm_and_snow=StormAndSnow(wind_sensor="wind")).sky(40.0, 600.0).report(0.0)
    house.wait(40, speaking=DAY | {"wind": 10.0})
    house.wait(1.4, speaking=DAY | {"wind": 18.0})
    assert house.rule == "open"
    house.wait(2, speaking=DAY | {"wind": 18.5})
    assert house.rule == "storm or snow"
    assert "wind 18.5 m/s, over below 12.0 m/s" in says(house)
    house.wait(60, speaking=DAY | {"wind": 13.0})
    house.wait(28, speaking=DAY | {"wind": 5.0})
    assert house.rule == "storm or snow"
    house.wait(4, speaking=DAY | {"wind": 5.5})
    assert house.rule == "open"


def test_a_snow_switch_opens_and_a_person_can_stop_heeding_it() -> None:
    """A switch that sticks is no trap: a person lets it not be heeded for a time."""
    house = at_night(storm_and_snow=StormAndSnow(snow_sensor="snow"))
    goals = moves_while(house, 5, NIGHT | {"snow": 1.0})
    assert (goals, house.rule) == ([0.0], "storm or snow")
    house.tell(WeatherTold(Weather.NONE, 12.0, "keeper"))
    assert house.rule != "storm or snow"


@pytest.mark.parametrize("hours", [float("nan"), float("inf"), -1.0, 0.0])
def test_a_weather_for_no_time_is_refused(hours: float) -> None:
    """Only a bounded time counts."""
    house = at_night().tell(WeatherTold(Weather.SNOW, hours, "keeper"))
    assert (house.moves, house.state.durable.standing) == ([], None)


def test_a_weather_is_bounded_to_four_days() -> None:
    """A year of snow is four days."""
    house = at_night().tell(WeatherTold(Weather.SNOW, 9000.0, "keeper"))
    standing = house.state.durable.standing
    assert standing is not None
    assert standing.until_ms == house.now + 96 * HOUR_MS


# --- too hot, too cold ----------------------------------------------------------------------------------


def test_heat_in_the_light_is_shaded_and_ends_two_degrees_lower() -> None:
    """Above 30 C for five minutes with 400 W/m2: shade; at 29 C still; below 28 C for five minutes: over."""
    house = build(too_hot=TooHot(), light_ceiling=None).sky(40.0, 600.0).report(0.0)
    house.wait(30, speaking=DAY)
    assert moves_while(house, 4, DAY | {"house_air": 30.5}) == []
    assert moves_while(house, 4, DAY | {"house_air": 30.6}) == [100.0]
    assert house.rule == "too hot"
    assert "limit 30.0 C" in says(house)
    assert moves_while(house, 60, DAY | {"house_air": 29.0}) == []
    assert moves_while(house, 40, DAY | {"house_air": 27.5}) == [0.0]


def test_heat_at_night_opens_a_curtain_drawn_for_heat() -> None:
    """A heater that runs away warms the fish; open lets it out, for all the night says."""
    house = at_night(too_hot=TooHot())
    assert moves_while(house, 8, NIGHT | {"house_air": 31.0}) == [0.0]
    assert house.rule == "too hot"


def test_cold_draws_an_open_curtain_by_day_but_not_under_a_strong_sun() -> None:
    """Below 8 C with 60 W/m2 it is drawn, with 400 the sun warms better; unknown outside counts as colder."""
    for light, goals in ((60.0, [100.0]), (400.0, [])):
        house = build(too_cold=TooCold(), hold_heat=None).sky(30.0, 500.0).report(0.0)
        cold = DAY | {"roof_light": light, "house_air": 7.0, "outside_air": -5.0}
        assert moves_while(house, 20, cold) == goals
    house = build(too_cold=TooCold(), hold_heat=None).sky(30.0, 500.0).report(0.0)
    assert moves_while(house, 20, {"roof_light": 60.0, "house_air": 7.0}) == [100.0]


def test_cold_that_comes_from_inside_is_no_reason() -> None:
    """Warmer outside than inside, a drawn curtain would only keep the warmth out."""
    house = build(too_cold=TooCold(), hold_heat=None).sky(30.0, 500.0).report(0.0)
    assert moves_while(house, 20, DAY | {"roof_light": 60.0, "house_air": 7.0, "outside_air": 9.0}) == []


# --- the humidity gap -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inside_c", "humidity_percent"), [(20.0, 50.0), (18.0, 85.0), (18.0, 90.0), (25.0, 60.0), (10.0, 90.0)]
)
def test_the_margin_is_that_of_a_reference_library(inside_c: float, humidity_percent: float) -> None:
    """Air temperature less dew point by psychrolib 2.5 (ASHRAE Handbook 2017), within 0.02 C."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    expected = inside_c - psychrolib.GetTDewPointFromRelHum(inside_c, humidity_percent / 100.0)
    margin = find_margin_c(inside_c=inside_c, humidity_percent=humidity_percent, surface_c=None)
    assert margin == pytest.approx(expected, abs=0.02)


@given(st.none() | st.floats(), st.none() | st.floats(), st.none() | st.floats(-50, 80))
def test_the_margin_is_known_or_not_but_never_an_error(
    inside_c: float | None, humidity: float | None, surface_c: float | None
) -> None:
    """Absurd air has no dew point, and no rule follows from it."""
    margin = find_margin_c(inside_c=inside_c, humidity_percent=humidity, surface_c=surface_c)
    assert margin is None or isinstance(margin, float)


def test_moist_air_opens_a_gap_for_a_quarter_of_an_hour_once_an_hour() -> None:
    """95 % for hours: 98 and back to 100, 15 min of every hour, each gap one move of the day's budget."""
    house = at_night(humidity_gap=HumidityGap(humidity_sensor="damp"))
    before = house.drive.moves_today
    moist = NIGHT | {"damp": 95.0}
    assert moves_while(house, 12, moist) == [98.0]
    assert house.rule == "humidity gap"
    assert "humidity 95 %, limit 90 %" in says(house)
    assert moves_while(house, 12, moist) == [100.0]
    assert moves_while(house, 30, moist) == []
    assert moves_while(house, 30, moist) == [98.0, 100.0]
    assert house.drive.moves_today == before + 2


def test_a_gap_of_two_percent_costs_an_eighth_of_the_saving() -> None:
    """53.6 % saved drawn, 46.3 % with 2 % open (Vanthoor 2011, thesis, Wageningen, ch. 8, solved for 18 K, 4 m/s)."""
    assert saving_left(98.0) == pytest.approx(46.3 / 53.6)
    assert saving_left(95.0) == pytest.approx(35.3 / 53.6)


def test_dry_air_snow_and_shade_make_no_gap() -> None:
    """A gap is for moist air under a curtain drawn for heat, and for nothing else."""
    house = at_night(humidity_gap=HumidityGap(humidity_sensor="damp"))
    assert moves_while(house, 40, NIGHT | {"damp": 80.0}) == []
    house.tell(WeatherTold(Weather.STORM, 5.0, "keeper"))
    assert moves_while(house, 40, NIGHT | {"damp": 96.0}) == []
    noon = DAY | {"roof_light": 800.0, "house_air": 25.0, "damp": 96.0}
    shaded = build(humidity_gap=HumidityGap(humidity_sensor="damp")).sky(50.0, 900.0).report(0.0)
    assert moves_while(shaded, 90, noon) == [100.0]


def test_gaps_are_bounded_by_the_day() -> None:
    """Two gaps a day are two, however moist the night."""
    house = at_night(humidity_gap=HumidityGap(humidity_sensor="damp", most_per_day=2))
    goals = moves_while(house, 8 * 60, NIGHT | {"damp": 97.0})
    assert goals == [98.0, 100.0, 98.0, 100.0]


# --- opening in steps -----------------------------------------------------------------------------------

COLD_MORNING = {"roof_light": 250.0, "house_air": 18.0, "outside_air": 0.0, "tank_oxygen": 8.0}


def test_a_cold_morning_opens_in_steps_that_count_as_one_move() -> None:
    """18 C inside over 0 C outside: 96, then ten percent after ten percent, one move of the budget."""
    house = at_night(staged_opening=StagedOpening())
    house.wait(30, speaking=NIGHT)
    before = house.drive.moves_today
    house.sky(10.0, 300.0)
    goals = moves_while(house, 90, COLD_MORNING)

    assert goals == [96.0, 86.0, 76.0, 66.0, 56.0, 46.0, 36.0, 26.0, 16.0, 6.0, 0.0]
    assert house.drive.moves_today == before + 1
    assert house.drive.drawn_percent == 0.0


def test_a_step_waits_and_says_so() -> None:
    """Seven minutes after the first step; the reason names the difference, its limit and the next step."""
    house = at_night(staged_opening=StagedOpening())
    house.wait(30, speaking=NIGHT).sky(10.0, 300.0)
    assert moves_while(house, 10, COLD_MORNING) == [96.0]
    assert "18.0 C colder outside, limit 8 C: next to 86 % drawn in" in says(house)


def test_an_opening_in_steps_goes_on_after_a_restart() -> None:
    """The power goes after the first step; the rest does not come down at once."""
    house = at_night(staged_opening=StagedOpening())
    house.wait(30, speaking=NIGHT).sky(10.0, 300.0)
    assert moves_while(house, 10, COLD_MORNING) == [96.0]
    house.restart(1).sky(10.0, 300.0).report(96.0)

    assert moves_while(house, 60, COLD_MORNING)[:3] == [86.0, 76.0, 66.0]


def test_a_mild_morning_opens_at_once() -> None:
    """With 6 C of difference no cold air falls."""
    house = at_night(staged_opening=StagedOpening())
    house.wait(30, speaking=NIGHT).sky(10.0, 300.0)
    assert moves_while(house, 20, COLD_MORNING | {"outside_air": 12.0}) == [0.0]


def test_a_morning_that_warms_opens_the_rest_at_once() -> None:
    """Once the difference is gone the steps are over, and the rest belongs to the same move."""
    house = at_night(staged_opening=StagedOpening())
    house.wait(30, speaking=NIGHT).sky(10.0, 300.0)
    before = house.drive.moves_today
    assert moves_while(house, 10, COLD_MORNING) == [96.0]
    assert moves_while(house, 10, COLD_MORNING | {"outside_air": 11.0}) == [0.0]
    assert house.drive.moves_today == before + 1


def test_a_person_and_snow_open_at_once() -> None:
    """Steps are for comfort; a hand and a storm of snow do not wait for them."""
    for event in (HoldAsked("roof", 0.0, 60.0, "keeper"), WeatherTold(Weather.SNOW, 5.0, "keeper")):
        house = at_night(staged_opening=StagedOpening())
        assert [move.drawn_percent for move in house.wait(2, speaking=NIGHT).tell(event).moves] == [0.0]


def test_shade_is_opened_at_once() -> None:
    """Steps are only for a curtain that held heat."""
    house = build(staged_opening=StagedOpening()).sky(50.0, 900.0).report(0.0)
    cold_noon = COLD_MORNING | {"roof_light": 800.0}
    assert moves_while(house, 30, cold_noon) == [100.0]
    assert moves_while(house, 60, cold_noon | {"roof_light": 300.0}) == [0.0]


# --- a motor that is led by time ------------------------------------------------------------------------


def obey_by_time(house: House) -> None:
    """Let a relay board run its motor: it says that it moves, and after the run's own time that it does not."""
    drive = house.drive
    house.wait(seconds=0.2).report(None, moving=True, command_id=drive.command_id)
    house.wait(seconds=(drive.run_until_ms - house.now) / 1000 + 0.1)
    ends = {100.0: 100.0, 0.0: 0.0}.get(drive.target_percent)
    if ends is not None:
        house.report(ends, moving=False)


def test_relays_make_gap_and_steps_by_running_time() -> None:
    """A gap of 2 % of 100 s is two seconds of motor; the place is reckoned, and the end switch shows it drawn again."""
    house = build(
        actuator=Actuator.RELAYS,
        humidity_gap=HumidityGap(humidity_sensor="damp"),
        staged_opening=StagedOpening(),
        has_limit_report=True,
    )
    house.sky(-20.0).report(0.0).until_move(NIGHT)
    run = house.drive
    house.wait(seconds=1).report(None, moving=True, command_id=run.command_id)
    house.wait(seconds=99).report(100.0, moving=False)
    assert house.drive.drawn_percent == 100.0

    house.until_move(NIGHT | {"damp": 96.0})
    (gap,) = house.moves
    assert (gap.drawn_percent, gap.run_at_most_ms) == (98.0, 2000)
    obey_by_time(house)
    assert house.drive.drawn_percent == pytest.approx(98.0, abs=0.6)
    house.until_move(NIGHT | {"damp": 96.0})
    assert house.moves[0].drawn_percent == 100.0
    house.wait(seconds=1).report(None, moving=True, command_id=house.drive.command_id)
    house.wait(seconds=2).report(100.0, moving=False)

    house.sky(10.0, 300.0).wait(12, speaking=COLD_MORNING | {"damp": 70.0})
    if not house.moves:
        house.until_move(COLD_MORNING | {"damp": 70.0})
    assert house.drive.target_percent == 96.0
