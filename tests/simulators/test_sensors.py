"""Each way for a sensor to be wrong does what its name says, alone."""

import math
from statistics import fmean, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.sensors import (
    Failure,
    Sensor,
    Spell,
    mild_air_temperature,
    mild_humidity,
    mild_level,
    mild_light,
    mild_oxygen,
    mild_ph,
    mild_water_temperature,
)


def read(sensor: Sensor, true: float, seconds: float = 60.0, minute: int = 0) -> float:
    """Read a sensor that is known to send."""
    value = sensor.advance(seconds, true, minute_of_day=minute)
    assert value is not None
    return value


@given(st.floats(-1e4, 1e4), st.floats(0.0, 1e4))
def test_a_perfect_sensor_tells_the_truth(true: float, seconds: float) -> None:
    """With every fault at its default the reading is the value."""
    assert read(Sensor(seed=1, name="a"), true, seconds) == true


def test_noise_has_the_spread_asked_for() -> None:
    """Ten thousand readings scatter by the standard deviation about the truth."""
    sensor = Sensor(seed=1, name="a", noise=0.5)

    values = [read(sensor, 20.0) for _ in range(10_000)]

    assert fmean(values) == pytest.approx(20.0, abs=0.02)
    assert stdev(values) == pytest.approx(0.5, rel=0.03)


def test_lag_reaches_63_percent_after_its_time() -> None:
    """A first-order element shows 1 - 1/e of a step after one time constant, in steps of any size."""
    for parts in (1, 7, 100):
        sensor = Sensor(seed=1, name="a", lag_s=90.0)
        read(sensor, 0.0)
        for _ in range(parts):
            value = read(sensor, 1.0, 90.0 / parts)

        assert value == pytest.approx(1 - 1 / math.e)


def test_calibration_error_drift_and_their_cure() -> None:
    """Gain and offset act at once, drift with the days; a calibration cures all three."""
    sensor = Sensor(seed=1, name="a", gain=1.1, offset=0.5, drift_per_day=0.1)

    assert read(sensor, 10.0, 0.0) == pytest.approx(11.5)
    assert read(sensor, 10.0, 86_400.0 * 3) == pytest.approx(11.8)
    sensor.calibrate()
    assert read(sensor, 10.0, 0.0) == pytest.approx(10.0)


def test_fouling_eats_the_signal_until_cleaned() -> None:
    """Dirt takes its share a day up to the most; wiping brings the signal back."""
    sensor = Sensor(seed=1, name="a", fouling_per_day=0.05, fouling_most=0.4)

    assert read(sensor, 8.0, 86_400.0 * 2) == pytest.approx(7.2)
    assert read(sensor, 8.0, 86_400.0 * 30) == pytest.approx(4.8)
    sensor.clean()
    assert read(sensor, 8.0, 0.0) == pytest.approx(8.0)


def test_range_saturates_and_steps_are_coarse() -> None:
    """Values beyond the range stop at it; the converter rounds."""
    sensor = Sensor(seed=1, name="a", low=0.0, high=54.6, step=0.5)

    assert [read(sensor, true) for true in (-3.0, 20.2, 20.3, 80.0)] == [0.0, 20.0, 20.5, 54.5]


def test_night_offset_shadow_and_lamp_keep_their_hours() -> None:
    """A beam dims its minutes, a lamp lights its own across midnight, the dark reads below zero."""
    sensor = Sensor(
        seed=1,
        name="a",
        night_offset=-2.0,
        night_below=1.0,
        shadows=(Spell(600, 630, 0.3),),
        lamps=(Spell(1430, 10, 15.0),),
    )

    day = [read(sensor, 500.0, minute=minute) for minute in (599, 600, 629, 630)]
    night = [read(sensor, 0.0, minute=minute) for minute in (1429, 1430, 9, 10)]

    assert day == pytest.approx([500.0, 150.0, 150.0, 500.0])
    assert night == pytest.approx([-2.0, 13.0, 13.0, -2.0])


def test_spikes_are_as_frequent_as_asked() -> None:
    """One reading in twenty is thrown off, to either side."""
    sensor = Sensor(seed=1, name="a", spike_share=0.05, spike=30.0)
    values = [read(sensor, 20.0) for _ in range(10_000)]

    assert values.count(50.0) + values.count(-10.0) == pytest.approx(500, abs=80)
    assert min(values.count(50.0), values.count(-10.0)) > 180


@pytest.mark.parametrize(
    ("failure", "expected"),
    [
        (Failure.SILENT, None),
        (Failure.STUCK, 21.0),
        (Failure.RAIL_LOW, -127.0),
        (Failure.RAIL_HIGH, 85.0),
    ],
)
def test_a_broken_sensor(failure: Failure, expected: float | None) -> None:
    """Broken sensors are silent, stuck or on a rail, and recover when mended."""
    sensor = Sensor(seed=1, name="a", low=-127.0, high=85.0)
    read(sensor, 21.0)
    sensor.failure = failure

    assert sensor.advance(60.0, 30.0) == expected
    sensor.failure = Failure.NONE
    assert sensor.advance(60.0, 30.0) == 30.0


def test_a_wild_sensor_and_one_without_a_number() -> None:
    """A loose wire reads anything in the range; a crashed driver sends NaN."""
    sensor = Sensor(seed=1, name="a", low=0.0, high=14.0, failure=Failure.WILD)
    values = [read(sensor, 7.0) for _ in range(200)]
    assert min(values) < 2.0
    assert max(values) > 12.0
    sensor.failure = Failure.NOT_A_NUMBER

    assert math.isnan(read(sensor, 7.0))


@pytest.mark.parametrize(
    ("make", "true", "within"),
    [
        (mild_light, 800.0, 20.0),
        (mild_air_temperature, 20.0, 0.5),
        (mild_humidity, 70.0, 3.0),
        (mild_water_temperature, 22.0, 0.5),
        (mild_oxygen, 7.0, 0.3),
        (mild_ph, 7.0, 0.1),
        (mild_level, 1.0, 0.02),
    ],
)
def test_the_usual_sensors_are_mild(make: type[Sensor], true: float, within: float) -> None:
    """For a day the usual sensors stay within what their makers promise (common practice, no source)."""
    sensor = make(seed=4, name="a")

    values = [read(sensor, true, minute=minute) for minute in range(1440)]

    assert max(abs(value - true) for value in values) < within


def test_the_same_seed_and_name_read_the_same() -> None:
    """Noise depends on seed and name alone."""
    one, same, other = (Sensor(seed=3, name=name, noise=1.0) for name in ("a", "a", "b"))
    course = [[read(sensor, 0.0) for _ in range(20)] for sensor in (one, same, other)]

    assert course[0] == course[1]
    assert course[0] != course[2]
