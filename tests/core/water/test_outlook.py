"""Minutes until harm: worst case when support is lost, trend when it is certain, nothing from what is not known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from random import Random

import pytest
from waters import (
    AIR,
    ALKALINITY,
    AMMONIA,
    FLOW,
    HEATER,
    HOUSE,
    LEVEL,
    OXYGEN,
    PH,
    UNIONISED,
    WARMTH,
    draw_noise,
    make_scene,
    make_water,
    run_course,
    spoilt,
)

from controller.core.plan.water import Water
from controller.core.signals.sense import UNHEARD, Sense
from controller.core.vocabulary import Trust
from controller.core.water.horizon import Basis
from controller.core.water.outlook import (
    Harm,
    Matter,
    Outlook,
    find_loss,
    foresee,
    write_minutes,
    write_span,
)
from controller.core.water.trace import Trace

FLAT_OXYGEN = {OXYGEN: run_course(lambda _: 6.0, minutes=30)}


def look(
    matter: Matter,
    values: Mapping[str, float | Sense],
    harm: Harm,
    *,
    traces: Mapping[str, Trace] | None = None,
    doubts: Mapping[str, str] | None = None,
    water: Water | None = None,
) -> Outlook:
    """Judge one matter of the tank."""
    tank = make_water() if water is None else water
    sensor = {
        Matter.OXYGEN: OXYGEN, Matter.TEMPERATURE: WARMTH, Matter.LEVEL: LEVEL, Matter.PH: PH,
        Matter.AMMONIA: UNIONISED,
    }[matter]  # fmt: skip
    scene = make_scene(values, traces=traces, harms={sensor: harm}, doubts=doubts)
    (outlook,) = foresee(tank, scene)
    return outlook


@pytest.mark.parametrize(
    ("kg_m3", "demand", "minutes"),
    [(5, 150, 240), (10, 300, 60), (20, 300, 30), (30, 300, 20), (60, 450, 6.67)],
)
def test_without_air_fish_have_what_they_breathe(kg_m3: float, demand: float, minutes: float) -> None:
    """From 6 to 3 mg/L: 60 x 3 / (fish x demand), before any trend shows (balance of a well-mixed volume)."""
    tank = make_water(fish_kg=float(kg_m3), demand_mg_kg_h=float(demand))
    found = look(Matter.OXYGEN, {OXYGEN: 6.0, AIR: 0.0}, Harm(low=3.0), traces=FLAT_OXYGEN, water=tank)

    assert found.minutes == pytest.approx(minutes, abs=0.01)
    assert (found.basis, found.because) == (Basis.WORST_CASE, "no air")


def test_while_the_air_is_on_there_is_no_worst_case() -> None:
    """A healthy tank has no horizon, however many fish: nothing is lost."""
    found = look(Matter.OXYGEN, {OXYGEN: 6.0}, Harm(low=3.0), traces=FLAT_OXYGEN)

    assert (found.minutes, found.known) == (None, True)
    assert "no harm in sight" in found.describe()


@pytest.mark.parametrize(
    ("values", "loss"),
    [
        ({AIR: 1.0, FLOW: 50.0}, ""),
        ({AIR: 0.0}, "no air"),
        ({FLOW: 0.0}, "no flow"),
        ({AIR: spoilt(Trust.STALE)}, "air unknown"),
        ({FLOW: spoilt(Trust.DOUBTFUL)}, "flow unknown"),
        ({AIR: spoilt(Trust.STALE), FLOW: 0.0}, "no flow"),
        ({AIR: 0.0, FLOW: spoilt(Trust.DOUBTFUL)}, "no air"),
        ({AIR: UNHEARD._replace(stale_ms=10**9)}, ""),
        ({AIR: UNHEARD}, "air unknown"),
    ],
)
def test_off_and_unknown_are_a_loss_and_not_yet_heard_is_not(
    values: Mapping[str, float | Sense], loss: str
) -> None:
    """What is off counts before what is unknown; a sensor that still has time to speak counts as neither."""
    assert find_loss(make_water(), make_scene(values)) == loss


def test_five_minutes_after_the_air_failed_trend_and_worst_case_agree() -> None:
    """20 kg/m3 at 300 mg/kg/h: 30 min at once; five minutes on, both say 25, the trend within 20 %.

    Readings every 30 s with 0.02 mg/L of noise and a probe of 45 s; 100 houses, of which 95 must agree.
    """
    agreed = 0
    for seed in range(100):
        draw = draw_noise(seed)

        def read(at: float, draw: Random = draw) -> float:
            since = max(0.0, at - 30.0)
            lag = 0.75
            fallen = since - lag * (1.0 - math.exp(-since / lag))
            return 6.0 - 0.1 * fallen + draw.gauss(0.0, 0.02)

        at_once = look(
            Matter.OXYGEN,
            {OXYGEN: 6.0, AIR: 0.0},
            Harm(low=3.0),
            traces={OXYGEN: run_course(read, minutes=30, every_s=30)},
        )
        assert at_once.minutes == pytest.approx(30.0)
        later = {OXYGEN: run_course(read, minutes=35, every_s=30)}
        by_trend = look(Matter.OXYGEN, {OXYGEN: read(35.0)}, Harm(low=3.0), traces=later)
        agreed += by_trend.minutes is not None and abs(by_trend.minutes - 25.0) <= 5.0
        if by_trend.minutes is not None:
            assert by_trend.basis is Basis.TREND

    assert agreed >= 95


def test_a_trend_is_told_from_its_soonest_to_its_latest_minute() -> None:
    """In 100 falls of five minutes the true 25 lie within the bounds nine times in ten, and the words name them."""
    held = told = 0
    for seed in range(100):
        draw = draw_noise(seed)

        def read(at: float, draw: Random = draw) -> float:
            since = max(0.0, at - 60.0)
            return 6.0 - 0.1 * (since - (1.0 - math.exp(-since))) + draw.gauss(0.0, 0.03)

        course = {OXYGEN: run_course(read, minutes=65, every_s=30)}
        found = look(Matter.OXYGEN, {OXYGEN: 5.5}, Harm(low=3.0), traces=course)
        if found.soonest_minutes is None or found.minutes is None:
            continue
        told += 1
        latest = found.latest_minutes or math.inf
        assert found.soonest_minutes <= found.minutes <= latest
        held += found.soonest_minutes - 1.0 <= 25.0 <= latest + 1.0
        assert found.describe().startswith(f"{max(int(found.soonest_minutes + 0.01), 1)} ")

    assert told >= 80
    assert held >= 0.9 * told


@pytest.mark.parametrize(
    ("soonest", "latest", "words"),
    [
        (18.2, 27.9, "18 to 27 min"),
        (18.2, 18.9, "18 min"),
        (100.0, 200.0, "100 min to 3 h"),
        (130.0, 400.0, "2 h to 6 h"),
        (30.0, None, "30 min or more"),
        (30.0, 1e6, "30 min or more"),
    ],
)
def test_a_span_is_written_as_people_say_it(soonest: float, latest: float | None, words: str) -> None:
    """Both ends rounded down, the unit once where it is the same in minutes."""
    assert write_span(soonest, latest) == words


def test_the_sooner_of_the_two_is_told_with_what_says_so() -> None:
    """A fall twice as fast as the fish breathe is told by its trend, a slower one by the worst case."""
    fast = {OXYGEN: run_course(lambda at: 9.0 - 0.2 * at, minutes=15)}
    slow = {OXYGEN: run_course(lambda at: 7.0 - 0.05 * at, minutes=20)}
    by_trend = look(Matter.OXYGEN, {OXYGEN: 6.0, AIR: 0.0}, Harm(low=3.0), traces=fast)
    by_worst = look(Matter.OXYGEN, {OXYGEN: 6.0, AIR: 0.0}, Harm(low=3.0), traces=slow)

    assert by_trend.basis is Basis.TREND
    assert by_trend.minutes == pytest.approx(14.0, rel=0.02)  # the probe is a minute behind
    assert "by its trend, -12 mg/L an hour" in by_trend.describe()
    assert (by_worst.basis, by_worst.minutes) == (Basis.WORST_CASE, pytest.approx(30.0))


@pytest.mark.parametrize("trust", [Trust.DOUBTFUL, Trust.STALE, Trust.MISSING])
def test_a_reading_that_cannot_be_trusted_gives_no_minutes(trust: Trust) -> None:
    """Unknown is said as unknown, with the reason, even with the air off."""
    found = look(
        Matter.OXYGEN,
        {OXYGEN: spoilt(trust, "40 mg/L is impossible"), AIR: 0.0},
        Harm(low=3.0),
        traces=FLAT_OXYGEN,
    )

    assert (found.minutes, found.known) == (None, False)
    assert "40 mg/L is impossible" in found.describe()


def test_a_probe_in_air_gives_no_minutes() -> None:
    """A probe that its neighbours contradict is never used for a horizon."""
    found = look(
        Matter.OXYGEN, {OXYGEN: 8.2, AIR: 0.0}, Harm(low=3.0), doubts={OXYGEN: "is the probe in air?"}
    )

    assert (found.minutes, found.known) == (None, False)
    assert "in air" in found.describe()


def test_past_the_limit_harm_is_now() -> None:
    """At or past the value at which harm begins there are 0 minutes."""
    assert look(Matter.OXYGEN, {OXYGEN: 2.9}, Harm(low=3.0)).minutes == 0.0
    assert (
        look(Matter.TEMPERATURE, {WARMTH: 36.0}, Harm(low=10.0, high=35.0)).describe().startswith("harm now")
    )


def test_without_a_heater_water_cools_to_the_limit() -> None:
    """1 m3, 40 W/K, from 28 to 20 C in a house of 12 C: 20.1 h (Newton's law of cooling)."""
    values = {WARMTH: 28.0, HOUSE: 12.0, HEATER: 0.0}
    found = look(Matter.TEMPERATURE, values, Harm(low=20.0))

    assert found.minutes == pytest.approx(20.07 * 60, rel=0.001)
    assert found.because == "no heater"


def test_a_house_that_is_warm_enough_never_cools_it() -> None:
    """With the air warmer than the limit there is no harm in sight."""
    values = {WARMTH: 28.0, HOUSE: 22.0, HEATER: 0.0}

    assert look(Matter.TEMPERATURE, values, Harm(low=20.0)).minutes is None


def test_without_air_breath_makes_the_water_sour() -> None:
    """Alkalinity 50 at 28 C: pH 6.98 is 10 mg/L of carbon dioxide, 6.68 is 20 (Plummer & Busenberg 1982).

    20 kg/m3 at 300 mg/kg/h breathe 6 x 1.375 = 8.25 mg/L an hour: 10 mg/L take 73 min.
    """
    values = {PH: 6.98, ALKALINITY: 50.0, WARMTH: 28.0, AIR: 0.0}
    found = look(Matter.PH, values, Harm(low=6.68))

    assert found.minutes == pytest.approx(60 * 10 / 8.25, rel=0.02)


def test_without_flow_the_ammonia_of_the_feed_stays() -> None:
    """At pH 8 and 24 C, 0.05 of 1 mg/L is un-ionised; from 0.5 to 1.0 at 8.83 mg/L a day: 81.7 min."""
    values = {AMMONIA: 0.5, PH: 8.0, WARMTH: 24.0, UNIONISED: 0.02508, FLOW: 0.0}
    found = look(Matter.AMMONIA, values, Harm(high=0.05017))

    assert found.minutes == pytest.approx(0.5 / 8.832 * 1440, rel=0.002)
    assert found.because == "no flow"


def test_a_leak_is_told_by_its_trend() -> None:
    """A level that falls by 0.5 cm a minute is at the limit in 40 min; a level has no other worst case."""
    traces = {LEVEL: run_course(lambda at: 130.0 - 0.5 * at, minutes=20)}
    found = look(Matter.LEVEL, {LEVEL: 120.0, AIR: 0.0}, Harm(low=100.0), traces=traces)

    assert found.basis is Basis.TREND
    assert found.minutes == pytest.approx(40.0, rel=0.02)


def test_a_rise_counts_towards_the_upper_limit() -> None:
    """Water that warms by 3 C an hour reaches 35 C from 32 in an hour."""
    traces = {WARMTH: run_course(lambda at: 29.5 + 0.05 * at, minutes=50)}
    found = look(Matter.TEMPERATURE, {WARMTH: 32.0}, Harm(low=16.0, high=35.0), traces=traces)

    assert found.limit == 35.0
    assert found.minutes == pytest.approx(60.0, rel=0.02)


def test_a_matter_without_an_alarm_has_no_outlook() -> None:
    """Where the alarm list does not say when harm begins, nothing is foretold."""
    assert foresee(make_water(), make_scene({OXYGEN: 6.0, AIR: 0.0})) == ()


def test_a_water_without_figures_has_no_worst_case() -> None:
    """Without fish and volume the air may be off and nobody can reckon the minutes."""
    bare = make_water(fish_kg=None, volume_l=None, heat_loss_w_k=None)

    assert look(Matter.OXYGEN, {OXYGEN: 6.0, AIR: 0.0}, Harm(low=3.0), water=bare).minutes is None


@pytest.mark.parametrize(
    ("minutes", "text"), [(0.4, "1 min"), (9.9, "9 min"), (29.6, "29 min"), (125.0, "2 h")]
)
def test_a_time_left_is_written_as_people_say_it(minutes: float, text: str) -> None:
    """Minutes up to two hours, then hours."""
    assert write_minutes(minutes) == text


@pytest.mark.parametrize("air", [0.0, 1.0])
def test_ammonia_without_flow_does_not_wait_for_air(air: float) -> None:
    """A mains cut stops both: losing the air as well lengthens no ammonia horizon."""
    values = {AMMONIA: 1.0, PH: 7.2, WARMTH: 28.0, UNIONISED: 0.0108, FLOW: 0.0, AIR: air}
    outlook = look(Matter.AMMONIA, values, Harm(high=0.1))

    assert outlook.because == "no flow"
    assert outlook.minutes is not None


def test_harm_that_had_begun_has_not_ended_when_the_probe_falls_silent() -> None:
    """2.78 mg/L, then what cannot be, or nothing: the last word that was believed lay past the harm."""
    beyond = spoilt(Trust.DOUBTFUL)._replace(value=2.78, last=None)
    stale = spoilt(Trust.STALE)._replace(value=2.78)
    leapt = spoilt(Trust.DOUBTFUL)._replace(value=2.78, last=2.78)

    assert look(Matter.OXYGEN, {OXYGEN: beyond}, Harm(low=3.0)).minutes == 0.0
    assert look(Matter.OXYGEN, {OXYGEN: stale}, Harm(low=3.0)).minutes == 0.0
    assert look(Matter.OXYGEN, {OXYGEN: leapt}, Harm(low=3.0)).minutes is None
