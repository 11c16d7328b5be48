"""The demo site as a run: where it stands, and what it does there."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from controller.core.plan.plan import Plan
from controller.settings.load import read_settings
from simulators.promises.watch import Promises
from simulators.site import SETTINGS, START, build, move_to
from simulators.years import TIME_ZONES, Station, read_station


def read_plan() -> Plan:
    """Read the settings of the demo site."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan)
    return plan


@pytest.mark.parametrize("station", list(Station))
def test_a_stations_clock_is_that_of_its_file(station: Station) -> None:
    """The IANA zone's standard time is the one in the head of the station's file."""
    january = datetime(2026, 1, 1, tzinfo=ZoneInfo(TIME_ZONES[station]))

    assert january.utcoffset() == timedelta(hours=read_station(station).utc_offset_h)


def test_the_house_stands_under_the_sun_of_its_weather() -> None:
    """With a station's year the house, its table of the sun and its clock are the station's."""
    plan = read_plan()
    run = build(plan, days=1, seed=3, start=START, weather="miami-florida")
    site, record = run.plan.site, read_station(Station.MIAMI_FLORIDA)

    assert (site.latitude_deg, site.longitude_deg) == (record.latitude_deg, record.longitude_deg)
    assert site.time_zone == "America/New_York"
    assert site.name == plan.site.name
    assert move_to(plan, Station.MIAMI_FLORIDA).site == site


@pytest.mark.parametrize(
    ("weather", "seed", "start"),
    [
        ("miami-florida", 3, datetime(2026, 6, 2, tzinfo=UTC)),
        ("greensboro-north-carolina", 4, datetime(2026, 6, 1, tzinfo=UTC)),
        ("sand-point-alaska", 3, datetime(2026, 6, 1, tzinfo=UTC)),
    ],
)
def test_all_promises_are_kept_under_the_weather_of_a_station(
    weather: str, seed: int, start: datetime
) -> None:
    """A day and a half of each year that comes with the project, in which the curtain moves."""
    run = build(
        read_plan(), days=2, seed=seed, start=start, weather=weather, watch=lambda plan: (Promises(plan),)
    )

    assert run.run(2160).moves >= 2
