"""Every scenario keeps all promises and ends as its file expects; random stories recover."""

from __future__ import annotations

from pathlib import Path

import pytest

from controller.core.plan.plan import Plan
from controller.settings.load import read_settings
from simulators.expectations import read_expectation
from simulators.faults.catalogue import CATALOGUE
from simulators.scenario import FOLDER, BadScenario, list_scenarios, play, play_random, read_scenario
from simulators.site import SETTINGS
from simulators.witness import Witness

SCENARIOS = list_scenarios()


@pytest.fixture(scope="module")
def plan() -> Plan:
    """Read the demo site's settings."""
    loaded = read_settings(SETTINGS)
    assert isinstance(loaded, Plan)
    return loaded


@pytest.mark.slow
@pytest.mark.parametrize("name", [scenario.name for scenario in SCENARIOS])
def test_a_scenario_ends_as_expected(name: str, plan: Plan) -> None:
    """All promises are kept, and every expectation of the file holds."""
    outcome = play(read_scenario(name), plan, seed=1)

    assert outcome.failed == ()


@pytest.mark.slow
@pytest.mark.parametrize(("seed", "days"), [(1, 6.0), (2, 4.0), (3, 4.0)])
def test_a_random_story_keeps_all_promises(seed: int, days: float, plan: Plan) -> None:
    """Faults drawn from a seed break no promise, and when they end everything recovers."""
    outcome = play_random(plan, seed=seed, days=days)

    assert outcome.tally.minutes == days * 1440
    assert len(outcome.story) >= 5


def test_every_kind_of_fault_is_played_or_drawn() -> None:
    """No kind of fault is only a name: each stands in a scenario or may be drawn."""
    played = {fault.kind for scenario in SCENARIOS for fault in scenario.faults}

    assert {kind.name for kind in CATALOGUE.values() if not kind.random} <= played
    assert len(played) >= 60


def test_an_expectation_can_fail(plan: Plan) -> None:
    """What did not happen is told in words: the check is no formality."""
    scenario = read_scenario("oxygen-probe-silent")
    witness = Witness()
    play(scenario, plan, seed=1, watchers=(witness,))
    tables = (
        {"alarm": "Broker lost"},
        {"quiet": "Tank 1 oxygen missing"},
        {"alarm": "Tank 1 oxygen missing", "to_min": 200},
        {"called": "porter", "text": "Broker"},
        {"uncalled": "keeper"},
        {"moves_least": 500},
        {"moves_most": -1},
        {"drawn_most": -1.0},
        {"drawn_least": 101.0},
        {"oxygen_least": 15.0},
        {"restarts_least": 1},
        {"refused": "tank 1 oxygen"},
        {"rule": "stop on fault"},
        {"over": "Broker lost"},
        {"answered": "Broker lost"},
    )

    for table in tables:
        assert read_expectation(table).judge(witness), table


@pytest.mark.parametrize(
    "table", [{}, {"alarm": "a", "quiet": "b"}, {"alarm": "a", "until": 3}, {"sunshine": True}]
)
def test_a_strange_expectation_is_refused(table: dict[str, object]) -> None:
    """An expectation that says nothing, two things, or something unknown is refused."""
    with pytest.raises(ValueError, match="expectation"):
        read_expectation(table)


def test_a_scenario_that_is_not_there_is_told() -> None:
    """A name that leads nowhere, or out of the folder, is refused in words."""
    for name in ("no-such-thing", "../kestrel-wharf"):
        with pytest.raises(BadScenario, match="no scenario"):
            read_scenario(name)


def test_scenarios_say_what_happens() -> None:
    """Each file has a sentence, and expects something."""
    assert len(list(Path(FOLDER).glob("*.toml"))) == len(SCENARIOS)
    for scenario in SCENARIOS:
        assert scenario.says.endswith("."), scenario.name
        assert scenario.expects, scenario.name
