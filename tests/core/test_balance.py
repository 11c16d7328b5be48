"""The balance of costs: what a minute costs, what the clouds are expected to do, and when it pays to move."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from makers import INSIDE, LIGHT, OUTSIDE, House, make_curtain, make_plan

from controller.core import light as published
from controller.core.curtain.balance import (
    BROKEN,
    EMPTY,
    STEADY,
    TURN_AFTER_MS,
    Balance,
    Sight,
    find_dearness,
    find_temper,
    weigh,
)
from controller.core.curtain.choice import choose
from controller.core.curtain.costs import (
    POSITIONS,
    count_minute,
    find_break_even_w_m2,
    make_scales,
    saving_left,
)
from controller.core.curtain.drive import Drive
from controller.core.curtain.sky_memory import NOTHING_SEEN, expect_sky, mean_index, remember_sky
from controller.core.curtain.view import BLANK
from controller.core.curtain.wishes import Rule, wish_balance
from controller.core.curtain.wording import explain
from controller.core.plan.economics import Economics
from controller.core.units import DAY_MS, MINUTE_MS

ECONOMICS = Economics()
CURTAIN = make_curtain(light_ceiling=None, hold_heat=None, economics=ECONOMICS)
MOL_PER_KWH = 3.6 * 2.0565
"""Photons of a kilowatt-hour of global radiation: 2.0565 umol/J (Jacovides et al. 2003; Thimijan & Heins 1983)."""


def see(minute: int, light: float | None, *, clear: float | None = 800.0, here: float | None = 0.0) -> Sight:
    """See a minute under an unchanging clear sky, with a mild air that wants no heat."""
    return Sight(
        now_ms=minute * MINUTE_MS,
        light_w_m2=light,
        clear_w_m2=clear,
        clear_ahead_w_m2=(clear, clear, clear),
        outside_c=25.0,
        sun_is_up=True,
        drawn_percent=here,
    )


def live(
    sights: Iterable[Sight], economics: Economics = ECONOMICS, here: float = 0.0
) -> list[tuple[int, float]]:
    """Follow the balance with a motor that is there at once; the moves as (minute, position)."""
    balance, turned_ms, drawing, moves = EMPTY, None, False, list[tuple[int, float]]()
    for sight in sights:
        now = sight._replace(
            drawn_percent=here,
            turned_ms=turned_ms,
            was_drawing=drawing,
            moves_today=len(moves),
            moves_total=len(moves),
        )
        balance = weigh(make_scales(CURTAIN, economics, (*POSITIONS, here)), economics, balance, now)
        goal = balance.verdict.drawn_percent
        if goal is not None and goal != here:
            turned_ms, drawing, here = now.now_ms, goal > here, goal
            moves.append((now.now_ms // MINUTE_MS, goal))
    return moves


# What a minute costs.


@pytest.mark.parametrize(
    ("transmission", "colder_k", "expected"), [(0.6, 10, 152), (0.6, 20, 304), (0.8, 10, 304), (0.8, 20, 607)]
)
def test_equal_prices_break_even_where_the_formula_says(
    transmission: float, colder_k: float, expected: float
) -> None:
    """4.25 W/m2K saved (Vanthoor 2011 solved), cover 0.7, one price for heat and light inside: exact formula."""
    economics = Economics(
        open_u_w_m2_k=8.0, drawn_u_w_m2_k=3.75, heat_price_per_kwh=0.1, light_worth_per_mol=0.1 / MOL_PER_KWH
    )
    scales = make_scales(make_curtain(transmission=transmission, cover_transmission=0.7), economics)

    assert find_break_even_w_m2(scales, colder_k=colder_k) == pytest.approx(expected, abs=0.5)


@given(st.floats(0.0, 40.0), st.floats(0.3, 0.9), st.floats(0.1, 0.95))
def test_break_even_agrees_with_the_light_calculator(colder_k: float, cover: float, cloth: float) -> None:
    """The two independent reckonings of the house give the same light."""
    scales = make_scales(make_curtain(transmission=cloth, cover_transmission=cover), ECONOMICS)
    saved = ECONOMICS.open_u_w_m2_k - ECONOMICS.drawn_u_w_m2_k
    expected = published.find_break_even_w_m2(
        published.Curtain(saved, cover, cloth),
        published.Prices(ECONOMICS.heat_price_per_kwh, ECONOMICS.light_worth_per_mol * MOL_PER_KWH),
        inside_c=20.0,
        outside_c=20.0 - colder_k,
    )

    assert find_break_even_w_m2(scales, colder_k=colder_k) == pytest.approx(expected, rel=1e-3, abs=1e-9)


def test_just_below_break_even_drawn_is_cheaper_and_just_above_dearer() -> None:
    """The minute's costs cross at the break-even light, the sun's own heat left out."""
    economics = Economics(sun_heat_share=0.0)
    scales = make_scales(CURTAIN, economics)
    light = find_break_even_w_m2(scales, colder_k=18.0)
    below, above = (count_minute(scales, share * light, outside_c=0.0, is_day=True) for share in (0.99, 1.01))

    assert below[-1] < below[0]
    assert above[-1] > above[0]


@pytest.mark.parametrize(
    ("drawn", "saved"), [(100, 53.6), (99, 50.6), (97, 42.1), (95, 35.3), (90, 24.9), (50, 6.8)]
)
def test_a_gap_destroys_the_saving(drawn: float, saved: float) -> None:
    """Savings by Vanthoor 2011 (thesis, Wageningen, ch. 8), solved for 18 C inside, 0 C outside, 4 m/s."""
    assert saving_left(drawn) == pytest.approx(saved / 53.6)


def test_a_minute_of_light_costs_what_it_should() -> None:
    """1000 W/m2 is 2056.5 umol/m2/s, 1336.7 under a cover of 0.65 and 802.0 under the cloth of 0.6."""
    scales = make_scales(CURTAIN, ECONOMICS)
    bright = count_minute(scales, 1000.0, outside_c=None, is_day=True)
    dim = count_minute(scales, 200.0, outside_c=None, is_day=True)

    assert bright[0] == pytest.approx(0.035 * (1336.7 - 650) * 6e-5, rel=1e-3)
    assert bright[-1] == pytest.approx(0.035 * (802.0 - 650) * 6e-5, rel=1e-3)
    assert [dim[0], dim[-1]] == pytest.approx([0.0, 0.0116 * 267.3 * 0.4 * 6e-5], rel=1e-3)


@given(st.floats(0.0, 2000.0), st.floats(-40.0, 40.0), st.booleans())
def test_no_minute_earns_anything(light: float, outside_c: float, is_day: bool) -> None:  # noqa: FBT001 - drawn by Hypothesis
    """Every cost is at least nothing, and without the air there is at most as much of it."""
    scales = make_scales(CURTAIN, ECONOMICS)
    costs = count_minute(scales, light, outside_c=outside_c, is_day=is_day)
    by_light = count_minute(scales, light, outside_c=None, is_day=is_day)

    assert min(by_light) >= 0.0
    assert all(cost >= less for cost, less in zip(costs, by_light, strict=True))


# What the clouds are expected to do.


@given(st.lists(st.floats(0.0, 1500.0), min_size=1, max_size=60))
def test_the_memory_of_the_sky_sums_to_one_and_keeps_a_steady_index(lights: list[float]) -> None:
    """Shares of time stay shares, whatever came, and a sky that no longer changes is soon the one expected."""
    memory = NOTHING_SEEN
    for light in lights:
        memory = remember_sky(memory, light, 800.0, 1.0)
    assert all(sum(row) == pytest.approx(1.0) for row in memory.rows)
    for _ in range(600):
        memory = remember_sky(memory, 400.0, 800.0, 1.0)
    assert mean_index(memory) == pytest.approx(0.5, abs=0.01)


def test_a_low_sun_tells_nothing_of_clouds() -> None:
    """Under 20 W/m2 of clear sky nothing is learnt, and before anything is known nothing is expected."""
    assert NOTHING_SEEN is remember_sky(NOTHING_SEEN, 5.0, 19.0, 1.0)
    assert expect_sky(NOTHING_SEEN) == []


# When it pays to move.


def test_a_bright_sky_that_lasts_draws_within_minutes() -> None:
    """From half to full sun: a move within five minutes, to where the canopy is near its ceiling."""
    sky = [see(minute, 350.0) for minute in range(120)] + [see(minute, 780.0) for minute in range(120, 240)]
    moves = live(sky)

    assert moves
    assert all(121 <= minute <= 125 for minute, _ in moves[:1])
    assert moves[-1][1] in {75.0, 100.0}
    assert len(moves) <= 2


def test_a_cloud_of_three_minutes_does_not_move_it() -> None:
    """A passing cloud under a bright sky costs less than a move."""
    sky = [see(minute, 300.0 if minute % 30 in {10, 11, 12} else 780.0) for minute in range(240)]

    assert len(live(sky)) <= 2


def test_no_change_of_light_no_move() -> None:
    """A steady mild day below the ceiling leaves the curtain open."""
    assert live(see(minute, 400.0) for minute in range(600)) == []


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(1, 20), st.floats(0.0, 1100.0)), min_size=3, max_size=30))
def test_it_never_turns_round_within_ten_minutes(spells: list[tuple[int, float]]) -> None:
    """Whatever the clouds do, and however cheap a move is, ten minutes pass before it goes the other way."""
    cheap = Economics(move_cost=1e-5, moves_wanted_per_day=200)
    lights = [light for minutes, light in spells for _ in range(minutes)]
    moves = live((see(minute, light) for minute, light in enumerate(lights)), cheap)
    path = [(0, 0.0), *moves]
    ways = [(minute, after > before) for (_, before), (minute, after) in pairwise(path)]

    assert all(
        (later - earlier) * MINUTE_MS >= TURN_AFTER_MS
        for (earlier, one), (later, other) in pairwise(ways)
        if one is not other
    )


@settings(max_examples=60, deadline=None)
@given(
    st.one_of(st.none(), st.floats(0.0, 1500.0)),
    st.one_of(st.none(), st.floats(0.0, 1200.0)),
    st.one_of(st.none(), st.floats(-40.0, 45.0)),
    st.one_of(st.none(), st.floats(0.0, 100.0)),
    st.booleans(),
)
def test_it_answers_whatever_is_not_known(
    light: float | None,
    clear: float | None,
    outside_c: float | None,
    here: float | None,
    reckoned: bool,  # noqa: FBT001 - drawn by Hypothesis
) -> None:
    """Any of light, sky, air and position may be missing; the answer is a position, or to stay."""
    balance = EMPTY
    scales = make_scales(CURTAIN, ECONOMICS, (*POSITIONS, here or 0.0))
    for minute in range(5):
        sight = see(minute, light, clear=clear, here=here)._replace(
            outside_c=outside_c, light_is_reckoned=reckoned
        )
        balance = weigh(scales, ECONOMICS, balance, sight)
        assert balance.verdict.drawn_percent in {None, *POSITIONS}
        assert light is not None or balance.verdict.drawn_percent is None


def test_cold_draws_it_at_night_and_an_unknown_air_does_not() -> None:
    """Heat decides where there is no light, and without the air outside only light is weighed."""
    night = [see(minute, 0.0, clear=0.0)._replace(sun_is_up=False, outside_c=2.0) for minute in range(60)]

    assert [percent for _, percent in live(night)] == [100.0]
    assert live(sight._replace(outside_c=None) for sight in night) == []
    assert live(sight._replace(inside_c=25.0) for sight in night) == []


def test_no_price_of_heat_keeps_the_house_dark() -> None:
    """With heat a thousand times too dear it opens all the same, once the sun has long risen and light is useful."""
    dear = Economics(heat_price_per_kwh=67.0)
    dark = [see(minute, 400.0)._replace(outside_c=-5.0) for minute in range(120)]
    risen = [see(minute, 400.0)._replace(outside_c=-5.0, risen_long_ago=True) for minute in range(120, 140)]
    dim = [sight._replace(light_w_m2=250.0) for sight in risen]

    assert live(dark, dear, here=100.0) == []
    assert live(dark + risen, dear, here=100.0)[0] == (120, 0.0)
    assert live([sight._replace(light_w_m2=250.0) for sight in dark] + dim, dear, here=100.0) == []


def test_the_clamp_on_heat_leaves_shade_alone() -> None:
    """A curtain drawn against too much light is not opened by the clamp that is meant for heat."""
    shade = [see(minute, 780.0)._replace(risen_long_ago=True) for minute in range(120)]
    passing = [see(minute, 350.0)._replace(risen_long_ago=True) for minute in (120, 121)]

    assert live(shade + passing, here=100.0) == []


def test_many_moves_make_a_move_dearer() -> None:
    """A debt of moves over weeks and a busy day raise the price; moves saved up in quiet months lower it, bounded."""
    sight = see(0, 400.0)

    assert find_dearness(ECONOMICS, Balance(), sight) == pytest.approx(1.0)
    assert find_dearness(ECONOMICS, Balance(credit=8.0), sight) == pytest.approx(0.905, abs=0.001)
    assert find_dearness(ECONOMICS, Balance(credit=300.0), sight) == pytest.approx(0.7)
    assert find_dearness(ECONOMICS, Balance(credit=-30.0), sight) == pytest.approx(2.718, abs=0.001)
    assert find_dearness(ECONOMICS, Balance(), sight._replace(moves_today=15)) == pytest.approx(1.14)


def test_a_steady_sky_is_believed_sooner_and_for_longer_than_a_broken_one() -> None:
    """The limits lie between those of a broken and of a steady sky, and rise with restlessness."""
    tempers = [find_temper(restless) for restless in (0.0, 0.01, 0.03, 0.1, 1.0)]

    assert tempers[0].horizon_min == pytest.approx(STEADY.horizon_min)
    assert tempers[-1].enough == pytest.approx(BROKEN.enough)
    for calm, wild in pairwise(tempers):
        assert calm.enough < wild.enough
        assert calm.least_gain < wild.least_gain
        assert calm.horizon_min > wild.horizon_min
        assert sum(wild.weights) == pytest.approx(1.0)


# In the house.


def make_house(**economics: float) -> House:
    """Make the good house with its curtain's economics set, open and known, past its settling in."""
    curtain = make_curtain(light_ceiling=None, hold_heat=None, economics=Economics(**economics))
    house = House(make_plan(curtain=(curtain,))).sky(50.0, 800.0).report(0.0)
    return house.wait(10, speaking=say_words(400.0))


def say_words(light: float, outside_c: float = 25.0) -> dict[str, float]:
    """Say light and air as `House.wait` takes them."""
    return {
        LIGHT.replace(" ", "_"): light,
        OUTSIDE.replace(" ", "_"): outside_c,
        INSIDE.replace(" ", "_"): 15.0,
    }


def test_the_house_draws_and_says_why_in_one_sentence() -> None:
    """Rule, numbers and limit stand in the reason of the move, and the rule is the one in the record."""
    house = make_house().until_move(say_words(790.0))
    (move,) = house.moves

    assert move.drawn_percent in {50.0, 75.0, 100.0}
    assert house.rule == Rule.BALANCE.value
    for words in (
        "times the price of a move",
        "790 W/m2 outside",
        "ceiling 650 umol/m2/s",
        " for the product",
    ):
        assert words in move.reason
    assert "\n" not in move.reason


def test_a_lost_light_sensor_is_replaced_by_the_almanac_and_said() -> None:
    """Silence of the sensor leaves the usual share of the clear sky, half of 800, and the reason says so."""
    house = make_house()
    house.wait(30, speaking={OUTSIDE.replace(" ", "_"): 25.0})
    view = house.state.views["roof"]
    wish = wish_balance(house.plan.curtain[0], view)

    assert view.light_is_reckoned
    assert wish is not None
    assert wish.numbers[3] == pytest.approx(400.0)
    assert "reckoned from the clear sky" in explain(wish)


def test_a_sensor_lost_for_a_moment_moves_nothing() -> None:
    """Spikes that leave the almanac in the sensor's place for a minute change neither move nor expectation."""
    bright = [see(minute, 780.0) for minute in range(240)]
    spiked = [
        sight._replace(light_w_m2=480.0, light_is_reckoned=True) if minute % 20 == 7 else sight
        for minute, sight in enumerate(bright)
    ]

    assert live(bright, here=100.0) == live(spiked, here=100.0)


def test_without_light_and_sun_it_stays() -> None:
    """Neither sensor nor almanac: the rule of nothing known has its way."""
    curtain = make_curtain(light_ceiling=None, hold_heat=None, economics=Economics())
    wish = choose(curtain, BLANK, Drive(), None, DAY_MS)

    assert (wish.rule, wish.drawn_percent) == (Rule.NOTHING_KNOWN, None)


def test_the_plain_rules_are_as_they_were_without_the_table() -> None:
    """Without economics nothing is weighed and the balance has no wish."""
    house = House().sky(50.0, 800.0).report(0.0).wait(10, speaking=say_words(400.0))
    view = house.state.views["roof"]

    assert view.balance is None
    assert wish_balance(house.plan.curtain[0], view) is None


@pytest.mark.parametrize(("beyond", "opens"), [(1.0, True), (0.0, False)])
def test_light_beyond_the_day_s_band_may_lose_its_worth(beyond: float, opens: bool) -> None:  # noqa: FBT001 - expected
    """On a day that passes the band anyway, a drawn curtain opens only if surplus light keeps its worth."""
    house = make_house(beyond_band_worth=beyond, day_light_low_mol_m2=0.0, day_light_high_mol_m2=1.0)
    house.report(100.0)
    moves = []
    for _ in range(12):
        house.wait(5, speaking=say_words(400.0))
        moves += house.moves
        if moves:
            break

    assert opens is bool(moves)
