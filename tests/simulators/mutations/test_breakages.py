"""The promises notice: each way of breaking the controller breaks one within ten seeds."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from controller.core.plan.plan import Plan
from controller.settings.load import read_settings
from simulators.clockwork import InCircles
from simulators.promises.broken import PromiseBroken
from simulators.scenario import play
from simulators.site import SETTINGS

SEEDS = range(1, 11)


def _load(name: str) -> ModuleType:
    """Load a module that lies beside this one: test folders are no packages."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


breakages = _load("breakages")


def _settings(changes: dict[str, object]) -> Plan:
    """Read the demo site's settings, with changes to its curtain."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan)
    curtains = tuple(curtain.model_copy(update=changes) for curtain in plan.curtain)
    return plan.model_copy(update={"curtain": curtains})


def test_there_are_at_least_twenty_ways() -> None:
    """The list holds at least twenty, no two of one name."""
    names = {breakage.name for breakage in breakages.BREAKAGES}

    assert len(names) == len(breakages.BREAKAGES)
    assert len(names) >= 20


@pytest.mark.slow
@pytest.mark.parametrize("breakage", breakages.BREAKAGES, ids=lambda breakage: breakage.name)
def test_a_promise_notices(breakage: object, monkeypatch: pytest.MonkeyPatch) -> None:
    """A controller broken in this way breaks a promise within ten seeds; the sound one keeps them all."""
    plan = _settings(breakage.changes)
    if not breakage.scenario.expects:
        # The project's own scenarios are played elsewhere.
        play(breakage.scenario, plan, seed=1)
    breakage.apply(monkeypatch)
    noticed = ""
    for seed in SEEDS:
        try:
            play(breakage.scenario, plan, seed=seed)
        except PromiseBroken as broken:
            noticed = broken.promise
            break
        except InCircles as circles:
            noticed = str(circles)
            break

    assert noticed
