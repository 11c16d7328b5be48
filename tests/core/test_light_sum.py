"""The day's light at the canopy: worked sums, what is to come, and shade for just what is too much."""

from __future__ import annotations

import math
from array import array

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import NOON_UTC_MS, House, make_curtain, make_plan

from controller.core.curtain.light_day import (
    NO_LIGHT,
    LightDay,
    count_light,
    expect_sum_mol,
    next_midnight_ms,
    sum_lights_mol,
)
from controller.core.curtain.light_sum import find_shade_limit_w_m2
from controller.core.plan.curtain import Curtain, LightSum
from controller.core.plan.economics import Economics
from controller.core.plan.zone import Zone
from controller.core.sky.almanac import Almanac
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, UMOL_PER_JOULE_GLOBAL
from controller.core.vocabulary import AlmanacArrived, Stamp
from controller.core.why import explain_curtains, tell_light
from controller.settings.presets import Want, load_preset

GLASS = make_curtain(cover_transmission=0.5, transmission=0.4)


def pass_hours(
    hours: float, light_w_m2: float, *, curtain: Curtain = GLASS, drawn: float | None = 0.0
) -> LightDay:
    """Let a steady light shine for some hours, told every minute."""
    day = NO_LIGHT
    for minute in range(round(hours * 60) + 1):
        day = count_light(
            day, curtain, light_w_m2=light_w_m2, is_seen=True, clear_w_m2=light_w_m2 / 0.7, drawn_percent=drawn,
            local_day=1, now=minute * MINUTE_MS,
        )  # fmt: skip
    return day


def make_noon(peak_w_m2: float = 800.0) -> Almanac:
    """Make a table of two days of half a sine, sun up from 6 to 18 h UTC, from midnight before noon on."""
    clear = [
        max(0.0, peak_w_m2 * math.sin(math.pi * (minute % 1440 - 360) / 720)) for minute in range(3 * 1440)
    ]
    heights = [round(5000 * math.sin(math.pi * (minute % 1440 - 360) / 720)) for minute in range(3 * 1440)]
    return Almanac(NOON_UTC_MS - 12 * HOUR_MS, array("h", heights), array("H", map(round, clear)))


def test_steady_light_gives_the_published_sum() -> None:
    """200 umol/m2/s for 16 h is 11.5 mol/m2 (definition of the daily light integral; 200 x 57600 / 1e6)."""
    outside = 200.0 / UMOL_PER_JOULE_GLOBAL / GLASS.cover_transmission
    assert pass_hours(16.0, outside).mol == pytest.approx(11.52, rel=1e-6)


def test_a_drawn_curtain_lets_its_share_through() -> None:
    """Drawn at 40 % transmission the canopy has 0.4 of the light, half drawn 0.7."""
    free = pass_hours(2.0, 300.0).mol
    assert pass_hours(2.0, 300.0, drawn=100.0).mol == pytest.approx(0.4 * free)
    assert pass_hours(2.0, 300.0, drawn=50.0).mol == pytest.approx(0.7 * free)


def test_a_gap_in_the_readings_is_bounded_and_shows_in_the_coverage() -> None:
    """Two silent hours count as ten minutes of light, and the day says how much of it was seen."""
    day = pass_hours(1.0, 300.0)
    later = count_light(
        day, GLASS, light_w_m2=300.0, is_seen=True, clear_w_m2=400.0, drawn_percent=0.0, local_day=1, now=3 * HOUR_MS
    )  # fmt: skip
    assert later.mol == pytest.approx(day.mol * 70 / 60)
    assert later.coverage_percent == pytest.approx(100 * 70 / 180)


def test_reckoned_light_counts_and_is_not_called_seen() -> None:
    """While the sensor is lost the almanac stands in, and the coverage says so; clearness learns nothing."""
    day = pass_hours(1.0, 300.0)
    later = count_light(
        day, GLASS, light_w_m2=300.0, is_seen=False, clear_w_m2=500.0, drawn_percent=0.0, local_day=1,
        now=HOUR_MS + MINUTE_MS,
    )  # fmt: skip
    assert later.mol > day.mol
    assert later.seen_ms == day.seen_ms
    assert later.clearness == day.clearness == pytest.approx(0.7)


def test_midnight_begins_a_new_sum_and_keeps_the_clearness() -> None:
    """The sum is of a local civil day; what the clouds have been doing is not forgotten."""
    day = pass_hours(3.0, 300.0)
    new = count_light(
        day, GLASS, light_w_m2=0.0, is_seen=True, clear_w_m2=0.0, drawn_percent=0.0, local_day=2, now=3 * HOUR_MS + 1
    )  # fmt: skip
    assert (new.mol, new.lit_ms) == (0.0, 0)
    assert new.clearness == pytest.approx(0.7)


def test_what_is_to_come_is_the_clear_sky_times_the_clearness() -> None:
    """From noon on half of a half sine of 800 W/m2 and 12 h: 800 x 12 h / pi x 0.7, at the canopy."""
    stamp = Stamp(0, NOON_UTC_MS, 0, utc_trusted=True)
    day = pass_hours(1.0, 300.0)._replace(mol=0.0)
    expected = 0.7 * 800.0 * 12 * 3600 / math.pi * UMOL_PER_JOULE_GLOBAL * 0.5 / 1e6
    assert expect_sum_mol(day, GLASS, make_noon(), stamp) == pytest.approx(expected, rel=0.005)
    assert expect_sum_mol(day, GLASS, None, stamp) is None
    assert expect_sum_mol(day, GLASS, make_noon(), stamp._replace(utc_trusted=False)) is None


@pytest.mark.parametrize("offset_min", [-600, 0, 60, 345])
def test_the_day_ends_at_local_midnight(offset_min: int) -> None:
    """Whatever the offset, the end is a whole local day and within the next 24 hours."""
    end = next_midnight_ms(Stamp(0, NOON_UTC_MS, offset_min, utc_trusted=True))
    assert (end + offset_min * MINUTE_MS) % DAY_MS == 0
    assert 0 < end - NOON_UTC_MS <= DAY_MS


@given(st.lists(st.floats(0.0, 1200.0), min_size=1, max_size=144), st.floats(-5.0, 60.0))
def test_shade_takes_no_more_than_the_excess_and_one_step(lights: list[float], excess_mol: float) -> None:
    """Shading all that is brighter than the limit takes too little; with the limit itself, enough if at all."""
    taken = 0.3
    limit = find_shade_limit_w_m2(lights, excess_mol=excess_mol, taken=taken)
    if limit is None:
        assert excess_mol <= 0.0
        return
    brighter = sum_lights_mol([light for light in lights if light > limit], through=taken)
    at_least = sum_lights_mol([light for light in lights if light >= limit], through=taken)
    assert brighter < excess_mol
    assert at_least >= excess_mol - 1e-9 or limit == 0.0


def live_a_day(house: House, clearness: float) -> list[tuple[float, float]]:
    """Let a day of half a sine pass from 5 h to 20 h UTC, the board obeying; return moves as (hour, percent)."""
    moves: list[tuple[float, float]] = []
    midnight = house.utc_ms - house.utc_ms % DAY_MS
    while house.utc_ms < midnight + 20 * HOUR_MS:
        minute = (house.utc_ms - midnight) // MINUTE_MS
        light = max(0.0, clearness * 800.0 * math.sin(math.pi * (minute - 360) / 720))
        house.read(roof_light=light + 0.001 * (minute % 7), house_air=22.0, outside_air=18.0)
        if not house.moves:
            house.wait(1.0)
        if house.moves:
            moves.append((minute / 60.0, house.moves[0].drawn_percent))
            house.obey()
    return moves


def make_band_house(**changes: float) -> House:
    """Make a house before sunrise whose one rule is the day's light sum."""
    return make_early_house(light_sum=LightSum(crop="lettuce", **changes))


def make_zone_house(ruler: str, *, light_share: float = 1.0, **words: object) -> House:
    """Make that house with lettuce and tomato under its curtain, wanting what their presets say."""
    zones = []
    for name in ("lettuce", "tomato"):
        band = load_preset(name).bands[Want.LIGHT_SUM]
        share = light_share if name == ruler else 1.0
        zones.append(Zone(name=name, low_mol_m2=band.low, high_mol_m2=band.high, light_share=share))
    return make_early_house(**({"light_sum": LightSum(), "zone": tuple(zones), "ruling_zone": ruler} | words))


def make_early_house(**words: object) -> House:
    """Make a house before sunrise whose curtain has no rule but those asked for."""
    curtain = make_curtain(
        light_ceiling=None, hold_heat=None, cover_transmission=0.65, transmission=0.5, **words
    )
    house = House(make_plan(curtain=(curtain,)), start=False)
    house.move_to(house.now - 7 * HOUR_MS + DAY_MS)
    house.__post_init__()
    return house


def test_a_clear_day_is_shaded_in_its_brightest_hours_and_ends_near_the_band() -> None:
    """22 mol would come clear; shade about noon leaves what the band allows, within a twentieth, in few moves."""
    house = make_band_house(low_mol_m2=12.0, high_mol_m2=24.0)

    house.tell(AlmanacArrived(make_noon())).report(0.0)
    moves = live_a_day(house, 0.9)
    day = house.state.views["roof"].day

    free = 0.9 * 800.0 * 24 * 3600 / math.pi * UMOL_PER_JOULE_GLOBAL * 0.65 / 1e6
    assert free > 26.0
    assert day.mol == pytest.approx(24.0, rel=0.06)
    assert 2 <= len(moves) <= 6
    first, last = moves[0][0], moves[-1][0]
    assert first < 12.5 < last
    assert [percent for _, percent in moves[:1] + moves[-1:]] == [100.0, 0.0]


def test_a_dull_day_is_left_alone() -> None:
    """Light that cannot come is not chased, and what is within the band is not shaded."""
    house = make_band_house(low_mol_m2=12.0, high_mol_m2=24.0)

    house.tell(AlmanacArrived(make_noon())).report(0.0)
    assert live_a_day(house, 0.4) == []


def test_the_reason_names_expectation_band_and_limit() -> None:
    """What would come, the high end and whose it is, and which light is too much."""
    house = make_band_house(low_mol_m2=2.0, high_mol_m2=5.0)

    house.tell(AlmanacArrived(make_noon())).report(0.0)
    while house.rule != "day's light sum":
        house.wait(10, speaking={"roof_light": 300.0, "house_air": 22.0})
    (why,) = explain_curtains(house.state, house.stamp)
    assert "the high end of lettuce, 5.0 mol/m2" in why.reason
    assert "mol/m2 to the canopy" in why.reason
    assert why.light.band == (2.0, 5.0)
    assert why.light.expected_mol is not None
    assert why.light.expected_mol > why.light.mol
    told = tell_light(why.light)
    assert "lettuce wants 2 to 5" in told
    assert f"{why.light.expected_mol:.1f} by sunset" in told


def test_the_day_is_written_into_the_record_once() -> None:
    """After midnight one line: the sum, how much of the light was seen."""
    house = House().tell().sky(40.0, 500.0).report(0.0)
    house.wait(13 * 60, speaking={"roof_light": 300.0, "house_air": 22.0})
    lines = [note for note in house.notes if "day's light" in note]
    assert len(lines) == 1
    assert "% of the daylight seen" in lines[0]


def test_a_restart_keeps_the_light_of_the_day() -> None:
    """At most the last hour is lost, and what nobody saw shows in the coverage."""
    house = House().sky(40.0, 500.0).report(0.0)
    for turn in range(10):
        house.wait(30, speaking={"roof_light": 300.0 + turn % 2, "house_air": 22.0})
    before = house.state.views["roof"].day.mol
    house.restart(60.0).sky(40.0, 500.0).report(0.0)
    house.wait(2, speaking={"roof_light": 300.0, "house_air": 22.0})
    day = house.state.views["roof"].day

    an_hour = 300.0 * UMOL_PER_JOULE_GLOBAL * 0.65 * 3600 / 1e6
    assert before - an_hour <= day.mol <= before + an_hour / 5
    # Five hours of six were seen, of which the last one may be lost.
    assert day.coverage_percent is not None
    assert 100 * 4.0 / 6 <= day.coverage_percent <= 100 * 5.2 / 6


def test_a_hair_above_the_band_is_not_worth_a_move() -> None:
    """One percent too much is within what anybody can expect of clouds: the motor rests."""
    free = 0.6 * 800.0 * 24 * 3600 / math.pi * UMOL_PER_JOULE_GLOBAL * 0.65 / 1e6
    house = make_band_house(low_mol_m2=12.0, high_mol_m2=free / 1.01)
    house.tell(AlmanacArrived(make_noon())).report(0.0)
    assert live_a_day(house, 0.6) == []


def test_the_zone_that_rules_has_its_way_and_the_want_of_the_other_is_told() -> None:
    """Lettuce rules a clear day of 26 mol: it is shaded to its 17, and the reason says what tomato lacks of its 20."""
    house = make_zone_house("lettuce").tell(AlmanacArrived(make_noon())).report(0.0)
    moves = live_a_day(house, 0.9)
    mol = house.state.views["roof"].day.mol

    assert mol == pytest.approx(17.0, rel=0.06)
    assert 2 <= len(moves) <= 6
    house.wait(5 * 60, speaking={"roof_light": 0.0, "house_air": 20.0})
    (told,) = [note for note in house.notes if "day's light" in note]
    assert f"tomato {mol:.1f}, {20.0 - mol:.1f} below its band of 20 to 30" in told


def test_the_reason_of_shade_names_whose_wish_rules_and_who_pays() -> None:
    """While lettuce is shaded the reason says that tomato comes to about 17 and stays about 3 below its band."""
    house = make_zone_house("lettuce").tell(AlmanacArrived(make_noon())).report(0.0)
    (why,) = explain_curtains(house.state, house.stamp)
    assert why.light.zones[0].crop == "lettuce"
    while house.rule != "day's light sum":
        house.wait(10, speaking={"roof_light": 700.0, "house_air": 22.0})
    (why,) = explain_curtains(house.state, house.stamp)
    assert "the high end of lettuce, 17.0 mol/m2" in why.reason
    assert "; the wish of lettuce rules: tomato comes to 17.0 mol/m2, 3.0 below its band" in why.reason


def test_where_the_other_zone_rules_it_stays_open_and_the_surplus_is_told() -> None:
    """Tomato rules the same day: no shade, and the reason to be open says what is too much for lettuce."""
    house = make_zone_house("tomato").tell(AlmanacArrived(make_noon())).report(0.0)
    assert live_a_day(house, 0.9) == []

    mol = house.state.views["roof"].day.mol
    (why,) = explain_curtains(house.state, house.stamp)
    assert mol == pytest.approx(
        0.9 * 800.0 * 24 * 3600 / math.pi * UMOL_PER_JOULE_GLOBAL * 0.65 / 1e6, rel=0.01
    )
    assert why.rule == "open"
    assert (
        f"the wish of tomato rules: lettuce comes to {mol:.1f} mol/m2, {mol - 17.0:.1f} above" in why.reason
    )
    told = tell_light(why.light)
    assert (
        f"lettuce has had {mol:.1f}, comes to {mol:.1f} so, {mol - 17.0:.1f} above its band of 12 to 17"
        in told
    )
    assert f"tomato has had {mol:.1f}, comes to {mol:.1f} so, in its band of 20 to 30" in told


def test_the_share_that_reaches_the_ruling_zone_counts() -> None:
    """Of 26 mol half reach the lettuce: 13 are in its band, so nothing is shaded."""
    house = make_zone_house("lettuce", light_share=0.5).tell(AlmanacArrived(make_noon())).report(0.0)
    assert live_a_day(house, 0.9) == []


def test_one_zone_does_what_one_band_does() -> None:
    """The same day, once with a band in the rule and once with one zone: the same moves and the same light."""
    days = []
    for words in (
        {"light_sum": LightSum(crop="lettuce")},
        {"light_sum": LightSum(), "zone": (Zone(name="lettuce", low_mol_m2=12.0, high_mol_m2=17.0),)},
    ):
        house = make_early_house(**words).tell(AlmanacArrived(make_noon())).report(0.0)
        days.append((live_a_day(house, 0.9), house.state.views["roof"].day))
    assert days[0] == days[1]
    assert days[0][0]


def test_a_restart_keeps_the_light_of_every_zone() -> None:
    """After a restart at noon both zones have what they had, but for an hour at most, and the quarrel is known."""
    house = make_zone_house("tomato", light_share=0.9).tell(AlmanacArrived(make_noon())).report(0.0)
    for turn in range(14):
        house.wait(30, speaking={"roof_light": 500.0 + turn % 2, "house_air": 22.0})
    before = house.state.views["roof"].day.mol
    house.restart(5.0).tell(AlmanacArrived(make_noon())).report(0.0)
    house.wait(30, speaking={"roof_light": 500.0, "house_air": 22.0})

    (why,) = explain_curtains(house.state, house.stamp)
    an_hour = 500.0 * UMOL_PER_JOULE_GLOBAL * 0.65 * 3600 / 1e6
    assert before > 3 * an_hour
    assert before - an_hour <= why.light.mol <= before + an_hour
    told = tell_light(why.light)
    assert f"lettuce has had {why.light.mol:.1f}" in told
    assert f"tomato has had {0.9 * why.light.mol:.1f}" in told
    assert "the wish of tomato rules: lettuce comes to" in why.reason


def test_with_economics_the_ruling_zone_says_from_where_light_loses_its_worth() -> None:
    """A zone's band divided by its share moves the curtain as the same band in the economics does."""
    loose = Economics(beyond_band_worth=0.0)
    banded = Economics(beyond_band_worth=0.0, day_light_low_mol_m2=24.0, day_light_high_mol_m2=34.0)
    days = []
    for house in (
        make_early_house(economics=banded),
        make_zone_house("lettuce", light_share=0.5, light_sum=None, economics=loose),
        make_early_house(economics=loose),
    ):
        house.tell(AlmanacArrived(make_noon())).report(0.0)
        days.append((live_a_day(house, 0.9), house.state.views["roof"].day.mol))
    assert days[0] == days[1]
    assert days[0] != days[2]
