"""What a curtain learns of itself: travel times, the light sensor on clear days, transmissions; told, never set."""

from __future__ import annotations

import math
import random
from array import array

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import INSIDE, LIGHT, NOON_UTC_MS, House, make_curtain, make_plan, make_sensor
from pvlib.clearsky import detect_clearsky

from controller.core.alarms.lifecycle import Phase
from controller.core.curtain.self_knowledge import (
    UNLEARNT,
    Learnt,
    Watch,
    find_clear_day,
    find_clear_quotient,
    judge_light,
    judge_transmission,
    judge_travel,
    keep_day,
    learn_transmissions,
    learn_travel,
)
from controller.core.plan.sensor import Mounted
from controller.core.remember import pack, unpack
from controller.core.sky.almanac import Almanac
from controller.core.units import DAY_MS, Quantity
from controller.core.vocabulary import AlmanacArrived, HoldAsked, Run
from controller.report import describe_status

CURTAIN = make_curtain(travel_time_s=300.0)


def clear_sky(minute: int) -> float:
    """Light of an invented cloudless day, sun up from 6 to 18 h [W/m2]."""
    return max(0.0, 900.0 * math.sin(math.pi * (minute - 360) / 720))


# --- travel time ----------------------------------------------------------------------------------------


def learn(*seconds: float, run: Run = Run.DRAW) -> Learnt:
    """Let a curtain make full runs."""
    learnt = UNLEARNT
    for each in seconds:
        learnt = learn_travel(learnt, run, each)
    return learnt


def test_a_travel_time_that_has_grown_is_told_in_percent() -> None:
    """342 s over three runs against 300 s set are 14 % more; two runs tell nothing; 3 % is as set."""
    assert judge_travel(learn(342.0, 342.0), CURTAIN, Run.DRAW) is None
    told = judge_travel(learn(342.0, 342.0, 342.0), CURTAIN, Run.DRAW)
    assert told is not None
    assert "takes 14 % longer to draw than set: 342 s over 3 full runs, set 300 s" in told
    assert judge_travel(learn(309.0, 309.0, 309.0), CURTAIN, Run.DRAW) == ""
    assert judge_travel(learn(322.0, 322.0, 322.0), CURTAIN, Run.DRAW) is None
    assert judge_travel(learn(342.0, 342.0, 342.0), CURTAIN, Run.OPEN) is None


@given(st.lists(st.floats(10.0, 1000.0), min_size=1, max_size=60))
def test_what_is_learnt_lies_among_what_was_seen(seconds: list[float]) -> None:
    """No run is outvoted by more than its peers, and both directions are learnt apart."""
    learnt = learn(*seconds, run=Run.OPEN)
    assert learnt.draw_s is None
    assert learnt.open_s is not None
    assert min(seconds) - 1e-6 <= learnt.open_s <= max(seconds) + 1e-6
    assert learnt.open_runs == len(seconds)


def test_a_slow_curtain_says_so_once_and_never_changes_its_setting() -> None:
    """Three full runs that take 100 s of 70 s set: one line of the record, one of the status, the setting untouched."""
    house = House(
        make_plan(curtain=(make_curtain(travel_time_s=88.0, running_time_ceiling=2.0, dwell_min=0.0),))
    )
    house.sky(40.0, 500.0).report(0.0).wait(2)
    lines: list[str] = []
    for turn in range(8):
        house.tell(HoldAsked("roof", 0.0 if turn % 2 else 100.0, 60.0, "keeper"))
        house.obey()
        lines += [note for note in house.notes if "self-knowledge" in note]
        house.wait(1)
    assert [line.split(" than set")[0] for line in lines] == [
        "roof: self-knowledge: takes 14 % longer to draw",
        "roof: self-knowledge: takes 14 % longer to open",
    ]
    (curtain,) = describe_status(house.state, house.stamp)["curtains"]
    assert len(curtain["learnt"]) == 2
    assert house.state.plan.curtain[0].travel_time_s == 88.0
    assert unpack(pack(house.state.durable)).learnt == house.state.durable.learnt


# --- the light sensor -----------------------------------------------------------------------------------


# The reference asks its own library in a way that the library has grown out of.
@pytest.mark.filterwarnings("ignore:A future version of pandas")
@pytest.mark.parametrize("dirt", [1.0, 0.85])
def test_clear_windows_are_those_of_the_reference(dirt: float) -> None:
    """A window found clear is clear by pvlib's detect_clearsky, the reference of Reno & Hansen 2016, on the clean day.

    Half the day is cloudless, half broken by clouds; the sensor's dirt must not matter to what is found.
    """
    dice = random.Random(7)  # noqa: S311 - clouds, no secrets
    minutes = range(420, 1020)
    clean, index = [], 1.0
    for minute in minutes:
        index = 1.0 if minute < 720 else min(max(index + dice.gauss(0.0, 0.15), 0.2), 1.1)
        clean.append(index * clear_sky(minute))
    stamps = pd.date_range("2025-06-21 07:00", periods=len(clean), freq="1min")
    reference = detect_clearsky(
        pd.Series(clean, stamps),
        pd.Series([clear_sky(minute) for minute in minutes], stamps),
        window_length=10,
    )
    found, missed = 0, 0
    for start in range(0, len(clean) - 9, 10):
        lights = [dirt * value for value in clean[start : start + 10]]
        quotient = find_clear_quotient(lights, [clear_sky(420 + at) for at in range(start, start + 10)])
        if quotient is not None:
            assert reference.iloc[start : start + 10].all()
            assert quotient == pytest.approx(dirt, abs=0.02)
            found += 1
        missed += quotient is None and bool(reference.iloc[start : start + 10].all())
    assert found >= 24
    assert missed <= 3


def test_an_even_layer_of_cloud_or_a_short_clear_spell_is_no_clear_day() -> None:
    """Windows whose quotients scatter, or less than an hour of them, say nothing of the sensor."""
    assert find_clear_day([0.95] * 5) is None
    assert find_clear_day([0.6, 0.7, 0.8, 0.9, 1.0] * 4) is None
    assert find_clear_day([0.94, 0.95, 0.96] * 6) == pytest.approx(0.95)


def days(*values: float) -> tuple[tuple[int, float], ...]:
    """Make clear days, one every third day."""
    kept: tuple[tuple[int, float], ...] = ()
    for at, value in enumerate(values):
        kept = keep_day(kept, 3 * at, value)
    return kept


def test_dirt_that_grows_is_told_as_dirt() -> None:
    """From 98 to 88 % of a clear sky over a month: slowly fallen, so wipe it; half of that is no news."""
    told = judge_light(days(0.98, 0.97, 0.98, 0.96, 0.95, 0.93, 0.91, 0.89, 0.88, 0.88))
    assert told is not None
    assert "has fallen slowly, by 10 %" in told
    assert judge_light(days(0.98, 0.97, 0.98, 0.96, 0.95, 0.94, 0.94, 0.94, 0.93, 0.93)) is None
    assert judge_light(days(0.98, 0.97, 0.99, 0.98, 0.97, 0.98)) == ""


def test_a_sensor_in_another_unit_is_told_after_three_days() -> None:
    """55 % of a clear sky on clear days is neither dirt nor weather."""
    assert judge_light(days(0.55, 0.56)) is None
    assert "55 % of a clear sky" in (judge_light(days(0.55, 0.56, 0.55)) or "")


@given(st.lists(st.floats(0.5, 1.4), max_size=60))
def test_the_memory_of_clear_days_is_bounded(values: list[float]) -> None:
    """However long it lives, it keeps forty days, and always has a judgement or none."""
    kept = days(*values)
    assert len(kept) <= 40
    told = judge_light(kept)
    assert told is None or isinstance(told, str)


@pytest.mark.slow
def test_a_week_of_clear_days_with_a_dirty_sensor_is_told_once() -> None:
    """Through the whole house: three clear days at 70 % of the almanac's clear sky, one line on the sensor."""
    plan = make_plan(
        sensor=(
            make_sensor(LIGHT, Quantity.LIGHT, "W/m2", mounted=Mounted.OUTSIDE),
            make_sensor(INSIDE, Quantity.TEMPERATURE, "C"),
            make_sensor("bed light", Quantity.LIGHT, "W/m2", mounted=Mounted.BELOW_CURTAIN),
        ),
        curtain=(
            make_curtain(
                light_ceiling=None, hold_heat=None, outside_temperature="", second_light_sensor="bed light"
            ),
        ),
        alarm=(),
    )  # fmt: skip
    house = House(plan)
    minutes = 6 * 1440
    clear = array("H", [round(clear_sky(minute % 1440)) for minute in range(minutes)])
    heights = array("h", [round(50 * clear_sky(minute % 1440) / 9) - 500 for minute in range(minutes)])
    house.tell(AlmanacArrived(Almanac(NOON_UTC_MS - DAY_MS // 2, heights, clear))).report(0.0)
    lines: list[str] = []
    for _ in range(4 * 1440):
        light = 0.7 * clear_sky(house.utc_ms // 60_000 % 1440)
        house.read(roof_light=light, bed_light=0.5 * light, house_air=20.0)
        lines += [note for note in house.notes if "self-knowledge" in note]
        house.wait(1.0)
        lines += [note for note in house.notes if "self-knowledge" in note]
    assert len([line for line in lines if line.startswith(LIGHT)]) == 1
    assert any("shows 70 % of a clear sky on clear days" in line for line in lines)
    # Both stand in one alarm entry of their own, which only writes down.
    assert house.alarm("not as set by its own data").phase is Phase.UNACKNOWLEDGED
    # The bed has 0.50 of the light through an open curtain, and 0.65 is set.
    assert any(
        "the cover lets 0.50 of the light through by its own sensors over 3 days, set 0.65" in line
        for line in lines
    )
    assert len(lines) == 2


# --- transmissions --------------------------------------------------------------------------------------


def test_transmissions_are_quotients_of_sums() -> None:
    """A cover of 0.6 and a curtain of 0.45 come out of two hours of pairs each day, and only of long enough ones."""
    learnt = UNLEARNT
    watch = Watch(open_pair=(120.0, 120 * 400.0, 120 * 240.0), drawn_pair=(90.0, 90 * 700.0, 90 * 189.0))
    for _ in range(3):
        learnt = learn_transmissions(learnt, watch, second_is_below=True)
    assert learnt.cover == pytest.approx(0.6)
    assert learnt.curtain == pytest.approx(0.45)
    assert judge_transmission("cover", learnt.cover, learnt.cover_days, 0.65) == ""
    assert "lets 0.45 of the light through" in (
        judge_transmission("drawn curtain", learnt.curtain, 3, 0.6) or ""
    )
    assert judge_transmission("drawn curtain", learnt.curtain, 2, 0.6) is None
    assert learn_transmissions(UNLEARNT, Watch(open_pair=(59.0, 1e4, 5e3)), second_is_below=True) == UNLEARNT


# --- a curtain that stops short of drawn ----------------------------------------------------------------


def test_a_curtain_that_stops_short_says_what_it_costs() -> None:
    """At 95 % it saves 35.3 of the 53.6 % (Vanthoor 2011, ch. 8, solved): two thirds."""
    night = {"roof_light": 0.0, "house_air": 15.0, "outside_air": 2.0, "tank_oxygen": 8.0}
    house = House().sky(-20.0).report(0.0).until_move(night)
    house.wait(seconds=5).report(5.0, moving=True, command_id=house.drive.command_id)
    house.wait(seconds=90).report(95.0, moving=False, command_id=house.drive.command_id)
    assert (
        "it stopped at 95 % on the way to 100 %; so it saves 66 % of the heat it saves drawn"
        in house.drive.trouble
    )
