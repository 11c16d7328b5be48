"""The promises' own reading of the curtain's rules: sure, surely not, or left open."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.curtain import LightSum
from controller.core.plan.plan import Plan
from controller.core.plan.zone import Zone
from controller.core.vocabulary import HoldAsked, HoldReleased, Weather, WeatherTold
from controller.settings.load import read_settings
from simulators.clockwork import Clockwork
from simulators.promises.light_day import LightDay, find_high_mol_m2
from simulators.promises.rules import Rules, Wanted
from simulators.promises.spell import Spell, Window, both, either, no
from simulators.rulebook import RULES, add_rules, change_curtain
from simulators.site import SETTINGS, START, build
from simulators.sky import Weather as Sky

HOUR_MS = 3_600_000


def read_plan() -> Plan:
    """Read the demo site's settings with every rule of the curtain."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan)
    return add_rules(plan)


@pytest.fixture(scope="module")
def run() -> Clockwork:
    """Build a run; only its clocks, sun and world are looked at."""
    return build(read_plan(), days=1, seed=1, start=START)


def live(rules: Rules, run: Clockwork, minutes: int, **house: float) -> Wanted | None:
    """Let minutes of one weather and one inside pass, and tell what is wanted at their end."""
    world = run.world
    world.snows = bool(house.get("snows", 0.0))
    world.house.air_c = house.get("inside_c", 22.0)
    world.weather = Sky(
        house.get("light", 300.0), house.get("outside_c", 20.0), 60.0, house.get("wind", 2.0), 1013.0
    )
    wanted = None
    for _ in range(minutes):
        wanted = rules.pass_minute(run)
    return wanted


@given(st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=30), st.floats(-5.0, 5.0))
def test_a_window_is_sure_only_of_all_its_minutes(values: list[float], limit: float) -> None:
    """Above is sure if each of the last five is above; below if each is below; else nobody can say."""
    window = Window(5)
    for value in values:
        window.take(value)
    last = values[-5:]

    assert (window.above(limit) is True) == all(value > limit for value in last)
    assert (window.above(limit) is False) == all(value < limit for value in last)
    assert window.below(limit) == no(window.above(limit))


@given(st.sampled_from([True, False, None]), st.sampled_from([True, False, None]))
def test_what_is_unsure_stays_unsure(one: bool | None, other: bool | None) -> None:  # noqa: FBT001 - drawn values
    """Kleene's three-valued logic (Introduction to Metamathematics, 1952, section 64)."""
    rank = {False: 0, None: 1, True: 2}

    assert rank[both(one, other)] == min(rank[one], rank[other])
    assert rank[either(one, other)] == max(rank[one], rank[other])


def test_a_spell_begins_and_ends_after_its_delays() -> None:
    """Perhaps from the first minute, surely after the delay; the same for its end; forgotten, it is unknown."""
    spell = Spell()
    begins = [spell.pass_minute(begins=True, ends=False, begin_min=2, end_min=1) for _ in range(4)]
    between = spell.pass_minute(begins=False, ends=False, begin_min=2, end_min=1)
    ends = [spell.pass_minute(begins=False, ends=True, begin_min=2, end_min=1) for _ in range(3)]
    spell.forget()

    assert begins == [None, None, True, True]
    assert between is True
    assert ends == [None, False, False]
    assert spell.on is None


def test_the_rules_go_in_the_order_of_the_documents(run: Clockwork) -> None:
    """Snow, storm, hold, heat, cold, light, open: each gives way to those before it."""
    rules = Rules(change_curtain(read_plan(), {"light_sum": False}).curtain[0])
    # Too bright and nothing else.
    assert live(rules, run, 60, light=900.0) == Wanted("light ceiling", 100.0, 100.0)
    # Too hot as well: shade, and it waits for nothing.
    assert live(rules, run, 60, light=900.0, inside_c=33.0) == Wanted("too hot", 100.0, 100.0, comfort=False)
    # Somebody wants it half open.
    rules.hear(HoldAsked("main", 50.0, 600.0, "keeper"), run.clocks.house_ms(run.now_utc_ms))
    assert live(rules, run, 1, light=900.0, inside_c=33.0) == Wanted("manual hold", 50.0, 50.0, comfort=False)
    # A gale, then snow, go before the hold.
    assert live(rules, run, 60, light=900.0, wind=25.0) == Wanted("storm", 100.0, 100.0, comfort=False)
    assert live(rules, run, 60, light=900.0, wind=25.0, snows=1.0) == Wanted("snow", 0.0, 0.0, comfort=False)
    # What somebody says of the weather goes before its sensors.
    rules.hear(WeatherTold(Weather.NONE, 5.0, "keeper"), run.clocks.house_ms(run.now_utc_ms))
    assert live(rules, run, 1, light=900.0, wind=25.0, snows=1.0) == Wanted(
        "manual hold", 50.0, 50.0, comfort=False
    )
    rules.hear(HoldReleased("main", "keeper"), run.clocks.house_ms(run.now_utc_ms))
    rules.hear(WeatherTold(Weather.NONE, 0.0, "keeper"), run.clocks.house_ms(run.now_utc_ms))
    # A mild day asks for nothing.
    assert live(rules, run, 90, light=300.0) == Wanted("open", 0.0, 0.0)


def test_cold_and_dark_draw_it(run: Clockwork) -> None:
    """Too cold goes before holding heat, and holding heat leaves room for the gap of the settings."""
    rules = Rules(run.plan.curtain[0])
    gap = RULES["humidity_gap"]

    assert live(rules, run, 60, light=0.0, inside_c=10.0, outside_c=0.0) == Wanted(
        "too cold", 100.0, 100.0, comfort=False
    )
    mild = live(rules, run, 60, light=0.0, inside_c=16.5, outside_c=0.0)
    assert mild is not None
    assert mild.rule == "hold heat"
    assert 100.0 - 3.0 - 2.0 <= mild.least_percent < 100.0 - 1.5, gap


def test_what_is_near_a_limit_is_left_open(run: Clockwork) -> None:
    """Light within the error of the sensor holds nobody to anything."""
    rules = Rules(change_curtain(read_plan(), {"light_sum": False}).curtain[0])

    assert live(rules, run, 90, light=300.0) == Wanted("open", 0.0, 0.0)
    assert live(rules, run, 90, light=605.0) is None


def test_prices_leave_the_comfort_to_the_balance(run: Clockwork) -> None:
    """Where the site's economics decide, heat and weather are still judged, and the rest is left open."""
    plan = change_curtain(read_plan(), {"economics": {}})
    rules = Rules(plan.curtain[0])

    assert live(rules, run, 60, light=900.0) is None
    assert live(rules, run, 60, light=900.0, inside_c=33.0) == Wanted("too hot", 100.0, 100.0, comfort=False)


def test_the_days_light_is_over_its_band_or_surely_within(run: Clockwork) -> None:
    """In June a clear day can bring 17 mol/m2, so nobody can say at midnight; 100 it can never bring."""
    day = LightDay(run.plan.curtain[0])

    assert day.pass_minute(run, 17.0) is None
    assert day.pass_minute(run, 100.0) is False
    day.mol_m2 = 20.0
    assert day.pass_minute(run, 17.0) is True


def test_the_promise_holds_the_band_of_the_zone_that_rules() -> None:
    """17 mol/m2 at the lettuce are 34 at the canopy where half of it reaches the lettuce; one zone needs no name."""
    zones = [
        {"name": "tomato", "low_mol_m2": 20.0, "high_mol_m2": 30.0},
        {"name": "lettuce", "low_mol_m2": 12.0, "high_mol_m2": 17.0, "light_share": 0.5},
    ]
    words = {"light_sum": LightSum(high_mol_m2=19.0), "zone": [Zone(**zone) for zone in zones]}
    curtain = read_plan().curtain[0].model_copy(update=words)

    assert find_high_mol_m2(curtain.model_copy(update={"ruling_zone": "lettuce"})) == 34.0
    assert find_high_mol_m2(curtain.model_copy(update={"ruling_zone": "tomato"})) == 30.0
    assert find_high_mol_m2(curtain.model_copy(update={"zone": (Zone(**zones[1]),)})) == 34.0
    assert find_high_mol_m2(curtain.model_copy(update={"zone": ()})) == 19.0


def test_a_rule_can_be_taken_away() -> None:
    """`false` in place of a table leaves a curtain without that rule; a key changes alone."""
    curtain = change_curtain(read_plan(), {"too_hot": False, "dwell_min": 7.0}).curtain[0]

    assert curtain.too_hot is None
    assert curtain.dwell_min == 7.0
    assert curtain.too_cold is not None
