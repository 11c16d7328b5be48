"""Which rule has its way, as the published table says, and what a restart leaves alone."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import make_curtain

from controller.core.curtain.choice import PRECEDENCE, choose
from controller.core.curtain.drive import Drive, Phase
from controller.core.curtain.hold import Hold
from controller.core.curtain.latch import Latch
from controller.core.curtain.marks import NO_MARKS
from controller.core.curtain.view import BLANK, View
from controller.core.curtain.weather import Standing
from controller.core.curtain.wishes import Rule
from controller.core.curtain.wording import describe_position, explain
from controller.core.plan.curtain import HumidityGap, LightSum, StormAndSnow, TooCold, TooHot
from controller.core.units import MINUTE_MS
from controller.core.vocabulary import Selector, Weather

CURTAIN = make_curtain(
    storm_and_snow=StormAndSnow(), too_hot=TooHot(), too_cold=TooCold(), light_sum=LightSum(),
    humidity_gap=HumidityGap(humidity_sensor="damp"),
)  # fmt: skip
NOW = 10**9
ON = Latch(on=True)
MARKS = NO_MARKS._replace(snows=ON, hot=ON, glaring=ON, cold=ON, humid=ON, beyond=ON, gap_ms=NOW)
ALL = View(
    light_w_m2=700.0, inside_c=15.0, outside_c=2.0, sun_deg=-3.0, above_since_ms=0,
    shading=True, holding_night=True, holding_dark=True, settled_ms=NOW + 4 * MINUTE_MS, marks=MARKS,
)  # fmt: skip
DRY = ALL._replace(marks=NO_MARKS)
MOIST = ALL._replace(marks=NO_MARKS._replace(humid=ON, gap_ms=NOW))
BRIGHT = ALL._replace(marks=NO_MARKS._replace(beyond=ON))
NONE = DRY._replace(shading=False, holding_night=False, holding_dark=False)
HOLD = Hold(40.0, NOW + 30 * MINUTE_MS, "keeper")
LOCKED = Drive(Phase.LOCKED, selector=Selector.LOCAL)
FAULTED = Drive(Phase.FAULTED, trouble="it jammed")

# Everything that comes lower in the table wants its way too; the first that does not abstain has it.
LADDER = [
    (Rule.LOCKED_OUT, None, LOCKED, HOLD, ALL),
    (Rule.FAULT, None, FAULTED, HOLD, ALL),
    (Rule.STORM_AND_SNOW, 0.0, Drive(), HOLD, ALL),
    (Rule.MANUAL_HOLD, 40.0, Drive(), HOLD, ALL._replace(marks=MARKS._replace(snows=Latch()))),
    (Rule.TOO_HOT, 100.0, Drive(), None, ALL._replace(marks=MARKS._replace(snows=Latch()))),
    (Rule.TOO_COLD, 100.0, Drive(), None, ALL._replace(marks=MARKS._replace(snows=Latch(), hot=Latch()))),
    (Rule.HUMIDITY_GAP, 98.0, Drive(), None, MOIST._replace(shading=False)),
    (Rule.LIGHT_CEILING, 100.0, Drive(), None, BRIGHT),
    (Rule.LIGHT_SUM, 100.0, Drive(), None, BRIGHT._replace(shading=False)),
    (Rule.HOLD_HEAT_NIGHT, 100.0, Drive(), None, DRY._replace(shading=False)),
    (Rule.HOLD_HEAT_DARK, 100.0, Drive(), None, DRY._replace(shading=False, holding_night=False)),
    (Rule.NOTHING_KNOWN, None, Drive(), None, NONE._replace(light_w_m2=None, sun_deg=None)),
    (Rule.SETTLING, None, Drive(), None, NONE),
    (Rule.OPEN, 0.0, Drive(), None, NONE._replace(settled_ms=NOW)),
]


@pytest.mark.parametrize(("rule", "drawn_percent", "drive", "hold", "view"), LADDER)
def test_the_first_rule_that_does_not_abstain_has_its_way(
    rule: Rule, drawn_percent: float | None, drive: Drive, hold: Hold | None, view: View
) -> None:
    """The order of wind, frost, hand and comfort is fixed and the same for all."""
    wish = choose(CURTAIN, view, drive, hold, NOW)

    assert (rule, drawn_percent) == (wish.rule, wish.drawn_percent)
    assert wish.urgent is (rule in {Rule.STORM_AND_SNOW, Rule.MANUAL_HOLD, Rule.TOO_HOT, Rule.TOO_COLD})


def test_the_ladder_walks_the_whole_table() -> None:
    """Every rule of the table is tried above, in the table's order, but the one that takes the place of others."""
    order = [rule for rule, _ in PRECEDENCE]
    assert Rule.HUMIDITY_GAP is order[order.index(Rule.BALANCE) - 1]
    order.remove(Rule.BALANCE)
    assert order == [rung[0] for rung in LADDER]


def test_a_hold_is_over_at_its_end() -> None:
    """The instant a hold ends belongs to the rules."""
    assert Rule.MANUAL_HOLD is choose(CURTAIN, DRY, Drive(), HOLD, HOLD.until_ms - 1).rule
    assert Rule.LIGHT_CEILING is choose(CURTAIN, DRY, Drive(), HOLD, HOLD.until_ms).rule


def test_what_a_person_says_of_the_weather_goes_before_the_sensors_and_ends() -> None:
    """Storm said by a person draws although a sensor says snow; no weather heeds no sensor; both end in time."""
    until = NOW + 60 * MINUTE_MS
    storm, none = (Standing(weather, until, "keeper") for weather in (Weather.STORM, Weather.NONE))

    assert choose(CURTAIN, ALL, Drive(), HOLD, NOW, storm).drawn_percent == 100.0
    assert Rule.MANUAL_HOLD is choose(CURTAIN, ALL, Drive(), HOLD, NOW, none).rule
    assert choose(CURTAIN, ALL, Drive(), HOLD, until, storm).drawn_percent == 0.0
    assert Rule.STORM_AND_SNOW is choose(CURTAIN, ALL, Drive(), HOLD, until, none).rule


def test_a_curtain_without_a_table_follows_what_a_person_says() -> None:
    """Snow opens and storm draws every curtain, whether or not its site has set anything."""
    for weather, percent in ((Weather.SNOW, 0.0), (Weather.STORM, 100.0)):
        wish = choose(make_curtain(), DRY, Drive(), None, NOW, Standing(weather, NOW + 1, "keeper"))
        assert (Rule.STORM_AND_SNOW, percent) == (wish.rule, wish.drawn_percent)
        assert f"keeper says {weather.value}" in explain(wish)


def test_one_of_light_and_sun_is_enough_to_open() -> None:
    """Lost light leaves the sun, an unset clock leaves the light; only both together leave nothing."""
    for view in (BLANK._replace(sun_deg=20.0), BLANK._replace(light_w_m2=80.0)):
        assert Rule.OPEN is choose(CURTAIN, view, Drive(), None, NOW).rule


@pytest.mark.parametrize(("rule", "drawn_percent", "drive", "hold", "view"), LADDER)
def test_every_reason_is_a_sentence_without_none(
    rule: Rule, drawn_percent: float | None, drive: Drive, hold: Hold | None, view: View
) -> None:
    """A reason has words, and says unknown where a number is missing."""
    text = explain(choose(CURTAIN, view, drive, hold, NOW))
    blind = explain(choose(CURTAIN, view._replace(inside_c=None, outside_c=None), drive, hold, NOW))

    assert len(text.split()) > 3
    assert "None" not in text + blind
    del rule, drawn_percent


@given(st.none() | st.floats(0.0, 100.0))
def test_every_position_has_a_word(drawn_percent: float | None) -> None:
    """Drawn is said of what is drawn to a percent, open of what is open."""
    text = describe_position(Drive(drawn_percent=drawn_percent))

    assert (text == "open") is (drawn_percent is not None and drawn_percent <= 1.0)
    assert (text == "drawn") is (drawn_percent is not None and drawn_percent >= 99.0)
    assert (text == "position unknown") is (drawn_percent is None)
