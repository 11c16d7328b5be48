"""What can be believed of a sensor when its settings do not say."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.sensor import Sensor
from controller.core.plan.sensor_defaults import (
    BELIEVABLE,
    fastest_per_min,
    flat_after_ms,
    possible_range,
    stale_after_ms,
)
from controller.core.units import Quantity
from controller.settings.presets import Kind, Want, list_presets, load_preset


def make(quantity: Quantity = Quantity.OXYGEN, **keys: object) -> Sensor:
    """Make a sensor with only the keys that matter here."""
    return Sensor(name="probe", quantity=quantity, unit="", topic="a/b", **keys)


def test_what_is_set_wins_over_the_table() -> None:
    """Keys of the sensor stand before the row of its quantity, each by itself."""
    sensor = make(possible_low=2.0, fastest_per_min=0.25, flat_after_min=10, stale_after_s=7.5)
    assert (2.0, BELIEVABLE[Quantity.OXYGEN].high) == possible_range(sensor)
    assert (fastest_per_min(sensor), flat_after_ms(sensor), stale_after_ms(sensor)) == (0.25, 600_000, 7_500)


def test_zero_switches_the_flat_test_off() -> None:
    """A flat_after_min of 0 means never, and a quantity that may stand still says 0 by itself."""
    assert flat_after_ms(make(flat_after_min=0)) == 0
    assert flat_after_ms(make(Quantity.SWITCH)) == 0
    assert flat_after_ms(make()) > 0


@given(st.floats(0.1, 86_400))
def test_a_sensor_is_stale_after_three_intervals_and_at_least_a_minute(interval_s: float) -> None:
    """One late reading never makes a sensor stale, and no sensor is stale within a minute."""
    assert max(60_000, round(3 * interval_s * 1000)) == stale_after_ms(make(interval_s=interval_s))


def test_the_rails_of_common_digital_thermometers_are_impossible() -> None:
    """85 C (power-on value) and -127 C (no answer) of DS18B20-type probes are outside the range.

    Source: DS18B20 data sheet, power-on reset value of the temperature register +85 C; -127 C is the value by
    which common drivers report a missing probe (common practice, no source).
    """
    low, high = possible_range(make(Quantity.TEMPERATURE))
    assert not low <= 85.0 <= high
    assert not low <= -127.0 <= high


def test_a_thermometer_in_water_has_a_range_of_its_own() -> None:
    """Water is ice below 0 C and kills every preset's fish by 40 C; a degree a minute in 500 L takes 35 kW.

    Heat of water 4181 J/kg/K (IAPWS-95, from memory): 500 kg x 4181 J/kg/K / 60 s. Settings come first, and what
    is no thermometer keeps its row.
    """
    low, high = possible_range(make(Quantity.TEMPERATURE), in_water=True)
    lethal = [
        preset.bands[Want.LETHAL_TEMPERATURE]
        for preset in map(load_preset, list_presets())
        if preset.kind is Kind.FISH
    ]
    assert -2.0 <= low < 0.0
    assert max(band.high or 0.0 for band in lethal) < high <= 50.0
    assert fastest_per_min(make(Quantity.TEMPERATURE), in_water=True) == pytest.approx(
        34.8e3 / 500 / 4181 * 60, rel=0.01
    )
    assert possible_range(make(Quantity.TEMPERATURE, possible_high=60.0), in_water=True) == (low, 60.0)
    assert possible_range(make(), in_water=True) == possible_range(make())


def test_light_over_a_clear_sky_is_possible() -> None:
    """Measured over-irradiance is inside the range, and so is the BSRN physical limit itself.

    Sources: 1528 W/m2 at 58 N, Yordanov et al. 2013, IEEE J. Photovolt. 3:271; physically possible limits of
    global irradiance, Long & Dutton 2002 (BSRN): -4 to 1.5 Sa mu^1.2 + 100 W/m2; Sa at perihelion 1361 * 1.034.
    """
    low, high = possible_range(make(Quantity.LIGHT))
    assert low == -4.0
    assert 1528.0 < 1.5 * 1361.0 * 1.034 + 100.0 < high < 1.5 * 1361.0 * 1.034 + 200.0


def test_oxygen_of_the_coldest_water_is_possible() -> None:
    """Air-saturated fresh water at 0 C holds 14.6 mg/L (Benson & Krause 1984, table), well inside the range."""
    low, high = possible_range(make())
    assert low < 14.6 < high


@pytest.mark.parametrize("quantity", Quantity, ids=lambda quantity: quantity.value)
def test_every_row_is_sound(quantity: Quantity) -> None:
    """Each quantity has a finite range, a positive rate if any, a time in bounds and a source."""
    row = BELIEVABLE[quantity]
    assert row.low < row.high
    assert math.isfinite(row.low)
    assert math.isfinite(row.high)
    assert row.fastest_per_min is None or row.fastest_per_min > 0
    assert 0 <= row.flat_after_min <= 10_080
    assert row.source
