"""Small samples of the long runs by which the calling of people is judged, and that they can fail."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from controller.core.alarms.call_list import call_next
from controller.core.plan.plan import Plan
from controller.settings.load import read_settings
from simulators.bench import incidents, months
from simulators.bench.broken_paths import BROKEN
from simulators.site import SETTINGS


@pytest.fixture(scope="module")
def plan() -> Plan:
    """Read the demo site's settings."""
    loaded = read_settings(SETTINGS)
    assert isinstance(loaded, Plan)
    return loaded


@pytest.mark.parametrize("seed", [7, 19, 24])
def test_an_incident_with_a_broken_path_reaches_somebody(plan: Plan, seed: int) -> None:
    """Each emergency is answered or still called for, its first message is in time, and none is lost."""
    outcome = incidents.play(plan, seed)
    assert outcome.good, outcome
    assert outcome.emergencies
    assert len(outcome.late_ms) == outcome.emergencies


def test_a_list_that_calls_once_is_found_out(plan: Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    """A call list broken on purpose, with people who do not answer: the run is not good."""
    monkeypatch.setattr("controller.core.call.call_next", lambda *words: (call_next(*words)[0], ()))
    outcome = incidents.play(plan, 19)
    assert outcome.emergencies
    assert not outcome.good, outcome


def test_every_broken_path_is_drawn() -> None:
    """A thousand seeds meet each of them many times."""
    drawn = [incidents.draw(seed) for seed in range(1, 1001)]
    assert {each.broken for each in drawn} == set(BROKEN)
    assert {each.house for each in drawn} == set(incidents.HOUSE)


@pytest.mark.slow
def test_healthy_days_leave_people_in_peace(plan: Plan) -> None:
    """Three days with test calls and digests, and not one call."""
    month = months.live(plan, seed=1, days=3)
    assert month.calm
    assert month.messages["test call"] >= 3
    assert month.messages["all well"] + month.messages["not all well"] == 3


def test_a_loud_month_is_called_loud() -> None:
    """One emergency, or three messages for today, and the month is not calm."""
    start = datetime(2026, 1, 1, tzinfo=UTC)
    for kind, count in (("emergency", 1), ("today", 3)):
        month = months.Month(1, start)
        month.messages[kind] = count
        assert not month.calm
    assert months.Month(1, start).calm
