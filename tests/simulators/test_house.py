"""The simulated greenhouse keeps its energy, and its curtain saves as measured curtains do.

The night, noon and holding figures are those of the same balances solved apart with small Euler steps in a
separate program (own computation); what ties them to the world are the published figures below.
"""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.house import Build, House, cover_u_w_m2_k, curtain_saving
from simulators.sky import SyntheticSky, Weather
from simulators.years import Station, WeatherYear

NEW_YEAR_2025_MS = 1_735_689_600_000
FROST = Weather(0.0, 0.0, 85.0, 4.0, 1013.0)


@pytest.mark.parametrize(
    ("drawn_percent", "expected"),
    [(100, 52.3), (99, 48.4), (98, 44.3), (95, 34.4), (90, 24.3), (80, 14.7), (50, 6.3)],
)
def test_a_gap_spoils_the_saving(drawn_percent: float, expected: float) -> None:
    """Saving at 4 m/s without edge gap (own computation after Vanthoor 2011, eq. 8.41)."""
    saving = curtain_saving(drawn_percent=drawn_percent, edge_gap=0.0, wind_m_s=4.0)

    assert 100 * saving == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(
    ("drawn_percent", "expected"),
    [(100, 53.6), (99, 50.6), (98, 46.3), (97, 42.1), (95, 35.3), (90, 24.9), (80, 16.0), (50, 6.8)],
)
def test_the_fit_follows_the_published_fluxes(drawn_percent: float, expected: float) -> None:
    """Saving by the full fluxes of Vanthoor 2011 (glass, 18 C over 0 C, 4 m/s), to 2.3 points."""
    saving = curtain_saving(drawn_percent=drawn_percent, edge_gap=0.0, wind_m_s=4.0)

    assert 100 * saving == pytest.approx(expected, abs=2.3)


@given(st.floats(0.0, 8.0), st.floats(0.0, 0.2), st.floats(0.0, 100.0))
def test_wind_raises_the_saving(wind: float, gap: float, drawn: float) -> None:
    """As measured by Mihara and Hayashi 1979 and by Cayli and Akyuz 2019, wind makes a curtain worth more."""
    calm = curtain_saving(drawn_percent=drawn, edge_gap=gap, wind_m_s=wind)
    windy = curtain_saving(drawn_percent=drawn, edge_gap=gap, wind_m_s=wind + 1.0)

    assert windy >= calm


def test_a_poor_curtain_saves_what_twin_houses_measured() -> None:
    """At 4 m/s an edge gap of 8 % gives 25 to 31 % less cover loss (range of SARE report LNE10-299)."""
    assert 0.25 <= curtain_saving(drawn_percent=100, edge_gap=0.08, wind_m_s=4.0) <= 0.31


def test_the_bare_cover_loses_what_single_covers_lose() -> None:
    """6 to 7 W/m2K at 4 m/s: single glass 6.4, single film 6.2 to 6.8 (ASAE EP406, secondary)."""
    assert 6.0 <= cover_u_w_m2_k(4.0) <= 7.0


@pytest.mark.parametrize(
    ("drawn_percent", "expected"),
    [
        (0, (5.16, 3.69, 3.07, 2.33)),
        (50, (5.45, 3.88, 3.21, 2.45)),
        (90, (6.25, 4.42, 3.63, 2.79)),
        (100, (7.68, 5.47, 4.44, 3.47)),
    ],
)
def test_an_unheated_night_cools(drawn_percent: float, expected: tuple[float, ...]) -> None:
    """Air after 1, 2, 4 and 8 hours from 18 C and 80 %, outside 0 C, 85 %, 4 m/s."""
    house = House(heater_works=False, vents_work=False)
    seen = []
    for minute in range(1, 481):
        house.advance(60.0, FROST, drawn_percent=drawn_percent)
        if minute in (60, 120, 240, 480):
            seen.append(house.air_c)

    assert seen == pytest.approx(list(expected), abs=0.03)


@pytest.mark.parametrize(("drawn_percent", "expected"), [(0, 260.5), (50, 246.5), (90, 212.1), (100, 164.5)])
def test_holding_warmth_costs(drawn_percent: float, expected: float) -> None:
    """Heat to hold 18 C over 0 C at 4 m/s, in the first minute."""
    house = House(heat_set_c=18.0, build=Build(heater_w_m2=1000.0))
    house.advance(60.0, FROST, drawn_percent=drawn_percent)

    assert house.heat_w_m2 == pytest.approx(expected, abs=0.5)
    assert house.air_c == pytest.approx(18.0)


@pytest.mark.parametrize(
    ("drawn_percent", "air_c", "photons"), [(0, 28.90, 1203), (50, 28.12, 962), (100, 27.48, 722)]
)
def test_noon_is_hot(drawn_percent: float, air_c: float, photons: float) -> None:
    """Two hours of 900 W/m2 at 25 C with open vents; the reference's start is not known, so to 0.3 C."""
    house = House(heater_works=False, vents_work=False, vents_m_s=0.03, air_c=22.0, floor_c=22.0)
    for _ in range(120):
        house.advance(60.0, Weather(900.0, 25.0, 70.0, 4.0, 1013.0), drawn_percent=drawn_percent)

    assert house.air_c == pytest.approx(air_c, abs=0.3)
    assert house.photons_umol_m2_s == pytest.approx(photons, abs=0.5)


@given(
    st.lists(
        st.tuples(
            st.floats(0.0, 1400.0),
            st.floats(-25.0, 40.0),
            st.floats(5.0, 100.0),
            st.floats(0.0, 25.0),
            st.floats(0.0, 100.0),
            st.floats(1.0, 300.0),
            st.floats(-20.0, 60.0),
        ),
        min_size=1,
        max_size=60,
    )
)
def test_energy_is_kept(steps: list[tuple[float, ...]]) -> None:
    """The ledger closes to far better than 0.1 % in any weather, and the state stays sensible."""
    house = House()
    for light, outdoor, humidity, wind, drawn, seconds, water in steps:
        house.advance(
            seconds,
            Weather(light, outdoor, humidity, wind, 1013.0),
            drawn_percent=drawn,
            water_w_m2=water,
            water_kg_m2_s=max(0.0, water) * 2e-7,
        )
        assert 0.0 < house.humidity_percent <= 100.0
        assert -30.0 < house.air_c < 80.0

    assert house.imbalance() < 1e-9


def test_the_step_hardly_matters() -> None:
    """A day in steps of a minute ends within 0.1 C of a day in steps of two seconds."""
    ends = []
    for seconds in (2, 60):
        house = House(heater_works=False)
        sky = SyntheticSky(2, latitude_deg=54.0, longitude_deg=-1.0)
        for at in range(0, 86_400, seconds):
            house.advance(seconds, sky.at(NEW_YEAR_2025_MS + at * 1000), drawn_percent=0.0)
        ends.append(house.air_c)

    assert ends[0] == pytest.approx(ends[1], abs=0.1)


def test_the_heater_has_a_limit_and_can_fail() -> None:
    """A weak heater gives all it has and loses ground; a broken one gives nothing."""
    weak, broken = House(build=Build(heater_w_m2=100.0)), House(heater_works=False)
    for _ in range(600):
        weak.advance(60.0, FROST, drawn_percent=0.0)
        broken.advance(60.0, FROST, drawn_percent=0.0)

    assert weak.heat_w_m2 == 100.0
    assert broken.air_c < weak.air_c < 16.0


def test_vents_open_with_warmth_and_may_stick() -> None:
    """Vents open above their set-point in proportion; stuck vents do not."""
    house = House(air_c=26.0)
    house.advance(60.0, Weather(0.0, 20.0, 50.0, 1.0, 1013.0), drawn_percent=0.0)
    assert house.vents_m_s == pytest.approx(0.5 * 0.03)
    house.vents_work, house.vents_m_s = False, 0.0

    for _ in range(180):
        house.advance(60.0, Weather(900.0, 28.0, 50.0, 1.0, 1013.0), drawn_percent=0.0)

    assert house.air_c > 35.0


@pytest.mark.parametrize(("wind", "low", "high"), [(0.5, 0.08, 0.22), (4.0, 0.17, 0.36)])
def test_a_poor_curtain_saves_heat_as_measured_in_the_field(wind: float, low: float, high: float) -> None:
    """Heat to hold 18 C falls by 8 to 22 % near calm and by 17 to 36 % at 4 m/s (Cayli and Akyuz 2019).

    One point is allowed beyond: near calm the house gives 22.5 %, at the upper edge of what was measured.
    """
    heat = []
    for drawn in (0.0, 100.0):
        house = House(heat_set_c=18.0, build=Build(heater_w_m2=1000.0, edge_gap=0.08))
        for _ in range(600):
            house.advance(60.0, Weather(0.0, 0.0, 85.0, wind, 1013.0), drawn_percent=drawn)
        heat.append(house.heat_w_m2)

    assert low - 0.01 <= 1 - heat[1] / heat[0] <= high + 0.01


@dataclass
class Season:
    """What a season of a simple rule cost and gave."""

    heat_kwh_m2: float
    light_mj_m2: float


def run_season(*, days: int, build: Build, open_at_w_m2: float | None) -> Season:
    """Run from New Year in Greensboro at 16 C, drawing below a light level when it is colder outside."""
    year = WeatherYear(1, Station.GREENSBORO_NORTH_CAROLINA)
    house = House(build=build)
    light = heat = 0.0
    for at in range(0, days * 86_400, 300):
        weather = year.at(NEW_YEAR_2025_MS + at * 1000)
        dark = open_at_w_m2 is not None and weather.global_w_m2 <= open_at_w_m2
        drawn = 100.0 if dark and house.air_c - weather.outdoor_c > 2.0 else 0.0
        house.advance(300.0, weather, drawn_percent=drawn)
        light += house.light_below_w_m2 * 300.0
        heat += house.heat_w_m2 * 300.0
    assert house.imbalance() < 1e-3
    return Season(heat / 3.6e6, light / 1e6)


@pytest.mark.slow
def test_a_season_saves_what_twin_houses_measured() -> None:
    """A year's heat falls by 25 to 31 % with the usual edge gap (SARE report LNE10-299: twin houses).

    The poor gap of 8 % takes 27.6 % off the cover's loss at the moment, but leaks and daytime heat are not
    saved by any curtain, so over the year it gives less: 15 to 20 %, the lower end of the field values of
    Cayli and Akyuz 2019 (8 to 36 %).
    """
    bare = run_season(days=365, build=Build(heater_w_m2=600.0), open_at_w_m2=None)
    usual = run_season(days=365, build=Build(heater_w_m2=600.0, edge_gap=0.03), open_at_w_m2=5.0)
    poor = run_season(days=365, build=Build(heater_w_m2=600.0, edge_gap=0.08), open_at_w_m2=5.0)

    assert 0.25 <= 1 - usual.heat_kwh_m2 / bare.heat_kwh_m2 <= 0.31
    assert 0.15 <= 1 - poor.heat_kwh_m2 / bare.heat_kwh_m2 <= 0.20


@pytest.mark.slow
def test_opening_later_costs_little_light_and_saves_heat() -> None:
    """January to May, opening at 50 instead of 5 W/m2 costs 0.1 to 0.5 % of the light and saves heat.

    Dieleman and Kempkes 2006, Acta Hort. 718 (quoted by Runkle): 0.3 % of the light, 3.4 % of the
    heat, in the Netherlands under a screen that shades 22 %; heat is asked to be within a factor of three.
    """
    build = Build(heater_w_m2=600.0, curtain_transmission=0.78)
    early = run_season(days=151, build=build, open_at_w_m2=5.0)
    late = run_season(days=151, build=build, open_at_w_m2=50.0)

    assert 0.001 <= 1 - late.light_mj_m2 / early.light_mj_m2 <= 0.005
    assert 0.0113 <= 1 - late.heat_kwh_m2 / early.heat_kwh_m2 <= 0.102


def test_vents_that_heed_moisture_dry_the_house() -> None:
    """In a cool dry night after a damp evening the house that airs at 85 % is the drier, and stays in balance."""
    outside = Weather(0.0, 10.0, 70.0, 2.0, 1013.0)
    shut, aired = (
        House(start_humidity_percent=98.0),
        House(start_humidity_percent=98.0, dry_above_percent=85.0),
    )
    opened = 0.0
    for _ in range(120):
        for house in (shut, aired):
            house.advance(60.0, outside, drawn_percent=0.0, water_kg_m2_s=1.5e-5)
        opened = max(opened, aired.vents_m_s)

    assert 0.0 < opened <= 0.5 * aired.build.vents_m_s
    assert aired.humidity_percent < shut.humidity_percent - 1.0
    assert aired.imbalance() < 1e-6
