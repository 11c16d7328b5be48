"""The list of faults is true: what it names exists, and every scenario stands in it."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import pytest

from simulators.faults.register import Hazard, read_register
from simulators.scenario import FOLDER

ROOT = Path(__file__).parents[2]
REGISTER = read_register()


@cache
def list_tests(file: str) -> frozenset[str]:
    """List the test functions of a file, without the word they begin with."""
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    return frozenset(
        node.name.removeprefix("test_")
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    )


@pytest.mark.parametrize("hazard", REGISTER, ids=lambda hazard: hazard.fault)
def test_what_shows_a_fault_exists(hazard: Hazard) -> None:
    """Each fault is shown by at least one scenario or test, and all that are named are there."""
    assert hazard.scenarios or hazard.tests
    for scenario in hazard.scenarios:
        assert (FOLDER / f"{scenario}.toml").is_file(), scenario
    for file, test in hazard.tests:
        assert test in list_tests(file), f"{file}: {test}"


def test_no_fault_stands_twice_and_none_is_without_words() -> None:
    """Some ninety faults, each of its own."""
    assert len({hazard.fault for hazard in REGISTER}) == len(REGISTER) >= 80
    assert all(hazard.must and hazard.group for hazard in REGISTER)


def test_every_scenario_shows_a_fault_of_the_list() -> None:
    """No scenario is played for nothing."""
    shown = {scenario for hazard in REGISTER for scenario in hazard.scenarios}

    assert {path.stem for path in FOLDER.glob("*.toml")} - shown == set()
