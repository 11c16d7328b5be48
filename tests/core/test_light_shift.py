"""A light sensor that shifts: told in the hour in which it can be seen, allowed for in words, and given up in time."""

from __future__ import annotations

import math
import random
import re
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import LIGHT, NOON_UTC_MS, House, make_curtain, make_plan

from controller.core.curtain.light_shift import (
    FACTORS,
    SPELL_DAYS_MOST,
    Shift,
    end_day,
    find_shift,
    find_usual,
)
from controller.core.remember import pack, unpack
from controller.core.sky.almanac import Almanac
from controller.core.units import DAY_MS
from controller.core.vocabulary import AlmanacArrived
from controller.core.why import explain_curtains

DAYS = tuple((day, 1.02) for day in range(6))


def windows(*quotients: float, apart_min: int = 10) -> tuple[tuple[int, float], ...]:
    """Make clear spells of a day, so far apart."""
    return tuple((600 + apart_min * at, quotient) for at, quotient in enumerate(quotients))


def test_a_large_shift_shows_in_half_an_hour_and_a_smaller_one_in_two_hours() -> None:
    """20 % less is told by three clear spells; 13 % less asks for six in two hours; 8 % is the air."""
    fifth = find_shift(None, windows(0.81, 0.82, 0.82), DAYS)
    assert fifth is not None
    assert fifth.share == pytest.approx(0.82 / 1.02)
    assert find_shift(None, windows(0.81, 0.82), DAYS) is None
    assert find_shift(None, windows(*[0.88] * 5), DAYS) is None
    assert find_shift(None, windows(*[0.88] * 6, apart_min=9), DAYS) is None
    assert find_shift(None, windows(*[0.88] * 6, apart_min=15), DAYS) is not None
    assert find_shift(None, windows(*[0.94] * 30), DAYS) is None


def test_nothing_is_told_before_the_usual_is_known() -> None:
    """Three clear days are no usual; slow dirt is held against the oldest days."""
    assert find_usual(DAYS[:3]) is None
    assert find_shift(None, windows(0.5, 0.5, 0.5), DAYS[:3]) is None
    fallen = tuple((day, 1.0 - 0.01 * day) for day in range(20))
    assert find_usual(fallen) == pytest.approx(0.975)


def test_a_shift_ends_when_the_sensor_is_wiped() -> None:
    """Within 6 % of what is usual it is over, at once; in between it stays as it was."""
    shift = Shift(0.8)
    assert find_shift(shift, windows(1.0, 0.99, 1.01), DAYS) is None
    assert find_shift(shift, windows(0.81, 0.82, 0.82), DAYS) == shift


def test_a_shift_that_lasts_becomes_the_usual() -> None:
    """After thirty clear days nobody will wipe it any more: it has been moved or replaced."""
    shift: Shift | None = Shift(0.8)
    for day in range(SPELL_DAYS_MOST - 1):
        shift, counts = end_day(shift, 0.8 * 1.02, DAYS)
        assert shift is not None, day
        assert not counts
    shift, counts = end_day(shift, 0.8 * 1.02, DAYS)
    assert shift is None
    assert counts


@given(st.floats(0.3, 2.0))
def test_no_reading_is_multiplied_without_bounds(share: float) -> None:
    """However far off it is, it counts between 0.8 and 1.4 times."""
    assert FACTORS[0] <= Shift(share).factor <= FACTORS[1]
    if 0.75 <= share <= 1.2:
        assert share * Shift(share).factor == pytest.approx(1.0)


@given(st.integers(0, 10_000))
def test_the_air_of_clear_hours_is_no_shift(seed: int) -> None:
    """Hours of clear air that differ by 4 % as a sum of 8 % each (Bright et al. 2015) tell nothing in 19 of 20 days."""
    dice = random.Random(seed)  # noqa: S311 - air, no secrets
    told = 0
    for _ in range(20):
        spells = [
            (60 * hour + 10 * at, quotient)
            for hour in range(5)
            for quotient in [1.02 * dice.gauss(1.0, 0.04)]
            for at in range(4)
        ]
        told += find_shift(None, tuple(spells), DAYS) is not None
    assert told <= 3


def clear_sky(minute: int) -> float:
    """Light of an invented cloudless day, sun up from 6 to 18 h [W/m2]."""
    return max(0.0, 900.0 * math.sin(math.pi * (minute - 360) / 720))


@pytest.mark.slow
def test_dirt_is_told_by_noon_counted_in_words_and_forgotten_when_wiped() -> None:
    """Five clear days, then 20 % less: told in the first hour of good light, and in each reason."""
    house = House(make_plan(curtain=(make_curtain(hold_heat=None),), alarm=()))
    minutes = 9 * 1440
    clear = array("H", [round(clear_sky(minute % 1440)) for minute in range(minutes)])
    heights = array("h", [round(50 * clear_sky(minute % 1440) / 9) - 500 for minute in range(minutes)])
    house.tell(AlmanacArrived(Almanac(NOON_UTC_MS - DAY_MS // 2, heights, clear))).report(0.0)
    told: list[tuple[int, float, str]] = []
    looked = False
    while (minute := (house.utc_ms - NOON_UTC_MS) // 60_000 + 720) < 8 * 1440:
        share = 0.8 if 6 <= minute // 1440 < 7 else 1.0
        light = share * clear_sky(minute % 1440)
        house.read(roof_light=light, house_air=20.0, outside_air=18.0)
        notes = house.notes
        if minute >= 6 * 1440 + 720 and not looked:
            looked = True
            view = house.state.views["roof"]
            assert view.light_w_m2 == pytest.approx(900.0, rel=0.03)
            (why,) = explain_curtains(house.state, house.stamp)
            reason = why.reason
            assert "light counted 1.2" in reason
            assert re.search("as it shows (79|80|81) % of what it used to under clear skies", reason)
            assert unpack(pack(house.state.durable)).learnt == house.state.durable.learnt
        if house.moves:
            notes += house.obey().notes
        notes += house.wait(1.0).notes
        told += [(minute // 1440, minute % 1440 / 60, note) for note in notes if "self-knowledge" in note]
    (first, second) = told
    assert first[0] == 6
    assert first[1] < 8.0
    assert re.match(
        f"{LIGHT}: self-knowledge: shows -(19|20|21) % against its clear days before: dirty", first[2]
    )
    assert "its reading is counted 1.2" in first[2]
    assert second[0] == 7
    assert "no longer shows" in second[2]
