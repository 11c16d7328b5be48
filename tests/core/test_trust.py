"""What can be believed of a sample: published limits first, then the house's own tests, each with its edge."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import NOON_UTC_MS, START_MS, make_sensor

from controller.core.plan.sensor import Mounted, Sensor
from controller.core.signals.sense import NEVER, UNHEARD, Sense, Spec, make_spec
from controller.core.signals.trust import (
    SOLAR_CONSTANT_MOST_W_M2,
    judge,
    most_possible_light_w_m2,
    turn_stale,
)
from controller.core.units import HOUR_MS, MINUTE_MS, SECOND_MS, Quantity
from controller.core.vocabulary import Sample, Stamp, Trust

LIGHT = make_sensor("roof light", Quantity.LIGHT, "W/m2", mounted=Mounted.OUTSIDE)
AIR = make_sensor("house air", Quantity.TEMPERATURE, "C")


class Probe:
    """One sensor on its way through a story."""

    def __init__(
        self, sensor: Sensor = AIR, *, sun_deg: float | None = None, clear_w_m2: float | None = None
    ) -> None:
        self.spec: Spec = make_spec(sensor)
        self.sense: Sense = UNHEARD
        self.now, self.utc_ms, self.utc_trusted = START_MS, NOON_UTC_MS, True
        self.sun_deg, self.clear_w_m2 = sun_deg, clear_w_m2

    def say(self, value: float, *, after_s: float = 60.0, **words: Any) -> Sense:  # noqa: ANN401 - parts of a sample
        """Let time pass and the sensor speak."""
        self.now += round(after_s * SECOND_MS)
        self.utc_ms += round(after_s * SECOND_MS)
        stamp = Stamp(self.now, self.utc_ms, 60, self.utc_trusted)
        sample = Sample(self.spec.name, value, **words)
        self.sense = judge(self.spec, self.sense, sample, stamp, self.sun_deg, self.clear_w_m2)
        return self.sense


# Physically possible limits of global irradiance at Sa 1361 W/m2, reckoned from 1.5 Sa mu^1.2 + 100 (Long & Dutton,
# BSRN Global Network recommended QC tests V2.0; coefficients as in pvanalytics 0.2.2 QCRAD_LIMITS).
PUBLISHED = [(0, 2141.5), (30, 1817.9), (60, 988.6), (75, 503.2), (85, 209.2), (90, 100.0), (110, 100.0)]


@pytest.mark.parametrize(("zenith_deg", "most_w_m2"), PUBLISHED)
def test_the_most_possible_light_is_the_published_limit(zenith_deg: float, most_w_m2: float) -> None:
    """The limit is BSRN's, with the sun of early January in place of the mean one."""
    scaled = (most_w_m2 - 100.0) * SOLAR_CONSTANT_MOST_W_M2 / 1361.0 + 100.0

    assert pytest.approx(scaled, abs=0.06) == most_possible_light_w_m2(90.0 - zenith_deg)


def test_the_strongest_sun_is_that_of_january() -> None:
    """Sa lies between 1316.7 (21 June 2025) and, at perihelion, just over 1407.4 W/m2 (21 December 2025, NREL SPA)."""
    assert 1407.0 < SOLAR_CONSTANT_MOST_W_M2 < 1409.0


@pytest.mark.parametrize("value", [1413.0, 1528.0])
def test_light_beside_clouds_is_no_fault(value: float) -> None:
    """Published over-irradiance of 1413 and 1528 W/m2 (Yordanov et al. 2013, IEEE J. Photovolt. 3:271) is believed."""
    assert Trust.GOOD is Probe(LIGHT, sun_deg=55.0, clear_w_m2=900.0).say(value).trust


def test_more_than_the_sun_can_give_is_doubted() -> None:
    """The edge of doubt is the physical limit at this height of the sun."""
    most = most_possible_light_w_m2(30.0)
    sky = {"sun_deg": 30.0, "clear_w_m2": 480.0}

    assert Trust.GOOD is Probe(LIGHT, **sky).say(most - 0.1).trust
    assert Trust.DOUBTFUL is Probe(LIGHT, **sky).say(most + 0.1).trust
    assert "more than the sun can give" in Probe(LIGHT, **sky).say(most + 0.1).why


@pytest.mark.parametrize(
    ("value", "trust"), [(-4.0, Trust.GOOD), (-4.1, Trust.DOUBTFUL), (2300.0, Trust.DOUBTFUL)]
)
def test_light_outside_the_possible_range_is_doubted_without_a_sky(value: float, trust: Trust) -> None:
    """Offsets down to BSRN's -4 W/m2 are real; below and far above nothing is."""
    assert trust is Probe(LIGHT).say(value).trust


def test_a_lamp_at_night_is_doubted() -> None:
    """Light under a sun below -6 degrees is a lamp; twilight above it is none."""
    night = Probe(LIGHT, sun_deg=-6.1, clear_w_m2=0.0)
    twilight = Probe(LIGHT, sun_deg=-5.9, clear_w_m2=0.0)

    assert [night.say(4.0).trust, night.say(4.5).trust] == [Trust.GOOD, Trust.DOUBTFUL]
    assert Trust.GOOD is twilight.say(4.5).trust


def test_a_covered_light_sensor_is_doubted_after_twenty_minutes() -> None:
    """Under a high sun, a hundredth of a clear sky for twenty minutes is a cover, not a cloud."""
    probe = Probe(LIGHT, sun_deg=40.0, clear_w_m2=700.0)
    assert Trust.GOOD is probe.say(7.0).trust
    for minute in range(19):
        assert Trust.GOOD is probe.say(7.0 + 0.01 * (minute % 2)).trust
    assert (probe.say(7.0).trust, "covered" in probe.sense.why) == (Trust.DOUBTFUL, True)
    assert Trust.GOOD is probe.say(11.0).trust
    assert probe.sense.dark_ms is None


def test_dark_under_a_low_sun_is_only_weather() -> None:
    """Under 10 degrees nobody can tell a cover from a cloud, so nothing is said."""
    probe = Probe(LIGHT, sun_deg=9.9, clear_w_m2=120.0)
    for minute in range(40):
        assert Trust.GOOD is probe.say(0.1 * (minute % 3)).trust


def test_a_night_of_zeros_is_not_flat_but_a_morning_of_zeros_is() -> None:
    """A light sensor must stand still at night; only under a bright sky does standing still mean a fault."""
    probe = Probe(LIGHT, sun_deg=-20.0, clear_w_m2=0.0)
    for _ in range(8):
        assert Trust.GOOD is probe.say(0.0, after_s=3600.0).trust
    probe.sun_deg, probe.clear_w_m2 = 5.0, 51.0
    assert Trust.DOUBTFUL is probe.say(0.0).trust


def test_a_saturated_light_sensor_is_not_flat() -> None:
    """A sensor at its ceiling stands still because the light is over it."""
    ceiling = make_sensor("cheap light", Quantity.LIGHT, "lx", mounted=Mounted.OUTSIDE, sensor_ceiling=600.0)
    for sensor, trust in ((ceiling, Trust.GOOD), (LIGHT, Trust.DOUBTFUL)):
        probe = Probe(sensor, sun_deg=50.0, clear_w_m2=850.0)
        for _ in range(61):
            probe.say(600.0)
        assert trust is probe.sense.trust


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 85.0, -127.0, 1e308])
def test_what_cannot_be_is_doubted_and_never_kept(value: float) -> None:
    """NaN, infinity and the rails of a probe are no value; the last good one is not extended by them."""
    probe = Probe()
    probe.say(20.0)
    bad = probe.say(value)

    assert (bad.trust, bad.value, bad.refused) == (Trust.DOUBTFUL, 20.0, 1)
    assert Trust.GOOD is probe.say(20.1).trust


def test_after_nonsense_a_sensor_begins_anew() -> None:
    """Nobody knows how fast a value came to be what it is if the one before it was none."""
    probe = Probe()
    told = [probe.say(value).trust for value in (20.0, 85.0, 35.0)]

    assert told == [Trust.GOOD, Trust.DOUBTFUL, Trust.GOOD]


def test_a_spike_is_doubted_up_and_down() -> None:
    """A jump faster than possible is doubted, and so is the jump back; the third sample is good."""
    probe = Probe()
    told = [probe.say(value).trust for value in (20.0, 27.0, 20.0, 20.1)]

    assert told == [Trust.GOOD, Trust.DOUBTFUL, Trust.DOUBTFUL, Trust.GOOD]


def test_quick_samples_are_judged_as_if_a_minute_apart() -> None:
    """Noise between two samples of one second is not 5 degrees a minute."""
    probe = Probe()
    probe.say(20.0)

    assert Trust.GOOD is probe.say(21.0, after_s=1.0).trust


def test_a_change_over_a_long_gap_is_possible() -> None:
    """What moved 20 degrees in an hour moved slowly enough."""
    probe = Probe()
    probe.say(5.0)

    assert Trust.GOOD is probe.say(25.0, after_s=3600.0).trust


def test_a_flat_line_is_doubted_until_it_moves() -> None:
    """A tank that shows one number for twelve hours is a dead probe until it shows another."""
    probe = Probe()
    told = [probe.say(20.0, after_s=3600.0).trust for _ in range(13)]

    assert told == [Trust.GOOD] * 12 + [Trust.DOUBTFUL]
    assert Trust.GOOD is probe.say(20.1).trust


def test_silence_is_no_flat_line() -> None:
    """A sensor that comes back with the value it left with has not stood still: nobody was there to see."""
    probe = Probe()
    probe.say(20.0)
    probe.sense = turn_stale(probe.spec, probe.sense)

    assert Trust.GOOD is probe.say(20.0, after_s=24 * 3600.0).trust


def test_a_retained_message_is_never_news() -> None:
    """A message of unknown age neither sets a value nor keeps a sensor alive."""
    probe = Probe()

    assert UNHEARD is probe.say(20.0, fresh=False)


def test_a_message_out_of_order_changes_nothing() -> None:
    """Redelivered 2, 3 after 3: the older time is ignored for the state."""
    probe = Probe()
    at = probe.utc_ms
    for value, second in ((1.0, 1), (2.0, 2), (3.0, 3)):
        probe.say(value, after_s=1.0, taken_utc_ms=at + second * SECOND_MS)
    before = probe.sense

    assert before is probe.say(2.0, after_s=1.0, taken_utc_ms=at + 2 * SECOND_MS)
    assert before is probe.say(3.0, after_s=1.0, taken_utc_ms=at + 3 * SECOND_MS)
    assert probe.sense.value == 3.0


def test_a_duplicate_does_not_hide_a_change() -> None:
    """A message delivered twice leaves the rate of change as it was."""
    probe = Probe()
    at = probe.utc_ms
    probe.say(20.0, taken_utc_ms=at + MINUTE_MS)
    probe.say(18.0, taken_utc_ms=at + 2 * MINUTE_MS)
    probe.say(18.0, after_s=1.0, taken_utc_ms=at + 2 * MINUTE_MS)

    assert pytest.approx(-2.0) == probe.sense.rate_per_min


def test_an_old_message_is_not_news() -> None:
    """What was measured longer ago than the sensor's staleness is not known now."""
    probe = Probe()
    probe.say(20.0)
    before = probe.sense

    assert before is probe.say(30.0, taken_utc_ms=probe.utc_ms + MINUTE_MS - 4 * MINUTE_MS)


@pytest.mark.parametrize("taken_utc_ms", [0, 86_400_000, NOON_UTC_MS + 3 * HOUR_MS, 4_102_444_800_000])
def test_a_sensor_with_a_wrong_clock_is_timed_by_arrival(taken_utc_ms: int) -> None:
    """A stamp of 1970 or of the future is no time: the value counts from now, and the record says so."""
    probe = Probe()
    sense = probe.say(20.0, taken_utc_ms=taken_utc_ms)

    assert (Trust.GOOD, 20.0, probe.now) == (sense.trust, sense.value, sense.heard_ms)
    assert "clock is wrong" in sense.why
    assert probe.say(21.0, taken_utc_ms=taken_utc_ms + 60_000).value == 21.0


def test_the_boards_own_bad_clock_drops_nothing() -> None:
    """While the board's clock is not set, the age of a message cannot be told and it is taken."""
    probe = Probe()
    probe.utc_trusted = False

    assert Trust.GOOD is probe.say(20.0, taken_utc_ms=NOON_UTC_MS + 400 * 86_400_000).trust
    probe.utc_trusted = True
    assert probe.say(21.0, taken_utc_ms=probe.utc_ms + MINUTE_MS).value == 21.0


def test_silence_makes_stale_and_never_heard_stays_missing() -> None:
    """What has spoken becomes stale, what has not is missing; neither has a further deadline."""
    probe = Probe()
    probe.say(20.0)
    stale, missing = turn_stale(probe.spec, probe.sense), turn_stale(probe.spec, UNHEARD)

    assert (stale.trust, stale.stale_ms) == (Trust.STALE, NEVER)
    assert (missing.trust, missing.stale_ms) == (Trust.MISSING, NEVER)


@given(
    st.lists(
        st.tuples(
            st.floats(allow_nan=True, allow_infinity=True),
            st.floats(0.0, 1e6),
            st.booleans(),
            st.none() | st.integers(-(2**40), 2**45),
        ),
        max_size=12,
    ),
    st.sampled_from([AIR, LIGHT, make_sensor("door", Quantity.SWITCH, "on/off")]),
    st.none() | st.floats(-90.0, 90.0),
)
def test_any_stream_is_judged(
    stream: list[tuple[float, float, bool, int | None]], sensor: Sensor, sun_deg: float | None
) -> None:
    """Whatever a sensor says, a value in use is possible, finite, and heard no later than now."""
    probe = Probe(sensor, sun_deg=sun_deg, clear_w_m2=None if sun_deg is None else 500.0)
    for value, after_s, fresh, taken in stream:
        sense = probe.say(value, after_s=after_s, fresh=fresh, taken_utc_ms=taken)
        assert sense.heard_ms <= probe.now
        if sense.trust is Trust.GOOD:
            assert sense.value is not None
            assert probe.spec.low <= sense.value <= probe.spec.high
            assert sense.stale_ms > sense.heard_ms
        assert sense.trust is Trust.GOOD or sense.why
