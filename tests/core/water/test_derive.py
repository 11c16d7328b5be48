"""Derived readings: right by published tables, never better than their worst input, as old as their oldest."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from waters import LEVEL, good, make_water, run_course, spoilt

from controller.core.plan.water import Water
from controller.core.signals.sense import NEVER, UNHEARD, Sense
from controller.core.units import Quantity
from controller.core.vocabulary import Trust
from controller.core.water.derive import WORSE, derive, derive_loss
from controller.core.water.readings import Recipe, list_sensors, list_traced, make_recipes, make_sensor


def recipe(quantity: Quantity, *, elevation_m: float = 0.0, **changes: object) -> Recipe:
    """Pick one derived reading of the tank."""
    recipes = make_recipes(make_water(**changes), elevation_m=elevation_m)
    return next(each for each in recipes if each.quantity is quantity)


def test_a_full_tank_has_all_five() -> None:
    """Un-ionised ammonia, saturation, carbon dioxide, loss of water and filter load carry the water's name."""
    names = [each.name for each in make_recipes(make_water(), elevation_m=0.0)]

    assert names == [
        "tank un-ionised ammonia",
        "tank oxygen saturation",
        "tank carbon dioxide",
        "tank loss of water",
        "tank filter load",
    ]


def test_what_lacks_an_input_is_not_there() -> None:
    """A water with a pH probe alone has no derived reading, and looks at that probe."""
    water = Water(name="line", ph="line pH")

    assert make_recipes(water, elevation_m=0.0) == ()
    assert list_sensors(water) == ("line pH",)
    assert list_traced(water) == ("line pH",)


def test_unionised_ammonia_is_the_tables() -> None:
    """1 mg/L of total ammonia at pH 8 and 24 C is 0.0502 mg/L (Francis-Floyd et al., UF/IFAS FA16)."""
    sense = derive(recipe(Quantity.UNIONISED_AMMONIA), [good(1.0), good(8.0), good(24.0)], now=0)

    assert sense.trust is Trust.GOOD
    assert sense.value == pytest.approx(0.0502, abs=0.0001)


def test_saturation_counts_the_elevation() -> None:
    """5.0 mg/L at 28 C is 63.9 % at sea level and 72.4 % at 1000 m (Benson & Krause 1984, computed)."""
    inputs = [good(5.0), good(28.0)]
    at_sea = derive(recipe(Quantity.OXYGEN_SATURATION), inputs, now=0)
    on_a_hill = derive(recipe(Quantity.OXYGEN_SATURATION, elevation_m=1000.0), inputs, now=0)

    assert at_sea.value == pytest.approx(63.9, abs=0.05)
    assert on_a_hill.value == pytest.approx(72.4, abs=0.05)


def test_a_barometer_comes_before_the_elevation() -> None:
    """With a sensor of air pressure that counts: 100 % of 7.400 mg/L at 28 C and 720 mmHg (Standard Methods)."""
    asked = recipe(Quantity.OXYGEN_SATURATION, pressure="barometer", elevation_m=4000.0)
    sense = derive(asked, [good(7.400), good(28.0), good(720 * 1.333224)], now=0)

    assert asked.inputs[-1] == "barometer"
    assert sense.value == pytest.approx(100.0, abs=0.05)


def test_carbon_dioxide_is_that_of_pH_and_alkalinity() -> None:  # noqa: N802 - pH is written so
    """Alkalinity 50 mg/L at pH 7.0 and 28 C: 9.53 mg/L (PyCO2SYS, freshwater constants)."""
    sense = derive(recipe(Quantity.CARBON_DIOXIDE), [good(7.0), good(50.0), good(28.0)], now=0)

    assert sense.value == pytest.approx(9.53, rel=0.005)


def test_filter_load_is_production_over_capacity() -> None:
    """300 g/d of 32 % feed makes 8.83 g/d (x 0.092); 100 m2 at 0.5 g/m2/d bear 50 at 20 C: 17.7 %."""
    sense = derive(recipe(Quantity.FILTER_LOAD), [good(20.0)], now=0)

    assert sense.value == pytest.approx(100 * 300 * 0.32 * 0.092 / 50.0, rel=1e-6)


def test_a_filter_in_the_cold_is_loaded_higher() -> None:
    """Ten kelvin less cost a film a third: 1.04275^10 = 1.52 (Zhu & Chen 2002)."""
    asked = recipe(Quantity.FILTER_LOAD)
    warm, cold = (derive(asked, [good(each)], now=0).value for each in (25.0, 15.0))
    assert warm is not None
    assert cold is not None

    assert cold / warm == pytest.approx(1.52, abs=0.005)


def test_loss_of_water_is_level_times_surface() -> None:
    """1 mm an hour on 2 m2 is 2 L/h (geometry); a rising level is a negative loss."""
    falling = run_course(lambda at: 100.0 - 0.1 * at / 60.0, minutes=200)
    rising = run_course(lambda at: 100.0 + 0.1 * at / 60.0, minutes=200)
    asked = recipe(Quantity.WATER_LOSS)

    assert derive_loss(asked, good(99.0), falling).value == pytest.approx(2.0, rel=1e-6)
    assert derive_loss(asked, good(99.0), rising).value == pytest.approx(-2.0, rel=1e-6)


def test_loss_of_water_waits_for_half_an_hour_without_an_alarm() -> None:
    """Before half an hour there is no value, and its absence is still awaited."""
    sense = derive_loss(
        recipe(Quantity.WATER_LOSS), good(100.0, 900_000), run_course(lambda _: 100.0, minutes=15)
    )

    assert (sense.value, sense.trust) == (None, Trust.MISSING)
    assert sense.stale_ms < NEVER


@pytest.mark.parametrize(
    ("inputs", "words"),
    [
        ([good(1.0), good(14.2), good(24.0)], "pH 14.2 is outside"),
        ([good(-0.1), good(8.0), good(24.0)], "total ammonia -0.1"),
        ([good(1.0), good(8.0), good(85.0)], "before its first conversion"),
        ([good(1.0), good(8.0), good(-127.0)], "does not answer"),
    ],
)
def test_nonsense_is_named_and_gives_no_value(inputs: list[Sense], words: str) -> None:
    """PH 14.2, negative ammonia and the rails of a thermometer make it doubtful, with the reason."""
    sense = derive(recipe(Quantity.UNIONISED_AMMONIA), inputs, now=0)

    assert (sense.value, sense.trust) == (None, Trust.DOUBTFUL)
    assert words in sense.why


@given(st.lists(st.sampled_from(list(Trust)), min_size=3, max_size=3))
def test_trust_is_that_of_the_worst_input(trusts: list[Trust]) -> None:
    """Whatever the inputs, it is never better than the worst, and only GOOD has a value."""
    inputs = [
        good(each) if trust is Trust.GOOD else spoilt(trust)
        for each, trust in zip((1.0, 8.0, 24.0), trusts, strict=True)
    ]
    sense = derive(recipe(Quantity.UNIONISED_AMMONIA), inputs, now=0)

    assert WORSE[sense.trust] == max(WORSE[trust] for trust in trusts)
    assert (sense.value is not None) == all(trust is Trust.GOOD for trust in trusts)


@given(st.lists(st.integers(0, 10**9), min_size=3, max_size=3))
def test_age_is_that_of_the_oldest_input(times: list[int]) -> None:
    """It was heard when the input that has been silent longest was heard."""
    inputs = [good(each, at) for each, at in zip((1.0, 8.0, 24.0), times, strict=True)]

    assert derive(recipe(Quantity.UNIONISED_AMMONIA), inputs, now=10**9).heard_ms == min(times)


def test_an_input_that_has_yet_to_speak_is_awaited() -> None:
    """After a start it is missing, but its time has not run out, so nobody is called for it."""
    awaited = UNHEARD._replace(stale_ms=180_000)
    sense = derive(recipe(Quantity.UNIONISED_AMMONIA), [good(1.0), awaited, good(24.0)], now=0)

    assert sense.trust is Trust.MISSING
    assert sense.stale_ms == 180_000


def test_it_is_described_as_a_sensor_is() -> None:
    """For the words of a message it has a name, a quantity, its kept unit and a place."""
    sensor = make_sensor(recipe(Quantity.WATER_LOSS))

    assert (sensor.name, sensor.unit, sensor.place) == ("tank loss of water", "L/h", "tank")
    assert LEVEL in recipe(Quantity.WATER_LOSS).inputs
