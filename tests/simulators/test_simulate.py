"""`duskbell simulate`: the same seed gives the same bytes; what is asked wrongly is refused; a run can be drawn."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

DUSKBELL = [sys.executable, "-m", "controller.main", "simulate"]


def _run(*words: str, hash_seed: str = "0") -> subprocess.CompletedProcess[str]:
    """Run the command in a process of its own."""
    environment = {**os.environ, "PYTHONHASHSEED": hash_seed}
    return subprocess.run(
        [*DUSKBELL, *words], env=environment, capture_output=True, text=True, check=False, timeout=240
    )


@pytest.mark.slow
def test_the_same_seed_gives_the_same_bytes() -> None:
    """A random story of some days is the same to the last byte under any hash seed."""
    words = ("--scenario", "random", "--days", "4", "--seed", "2", "--json")
    runs = [_run(*words, hash_seed=seed) for seed in ("1", "2")]

    assert [run.returncode for run in runs] == [0, 0], runs[0].stderr
    assert runs[0].stdout == runs[1].stdout
    assert json.loads(runs[0].stdout)["minutes"] == 4 * 1440


@pytest.mark.slow
def test_ten_fair_days_twice_are_the_same() -> None:
    """Ten fair days from one seed are the same bytes twice."""
    words = ("--days", "10", "--seed", "1", "--json")
    with ThreadPoolExecutor(max_workers=2) as pool:
        runs = [pool.submit(_run, *words, hash_seed=seed) for seed in ("3", "4")]
    first, second = (run.result() for run in runs)

    assert first.returncode == 0, first.stderr
    assert first.stdout == second.stdout


@pytest.mark.slow
def test_another_seed_gives_another_run() -> None:
    """The seed is not for show."""
    first, second = (_run("--days", "1", "--seed", seed, "--json") for seed in ("1", "2"))

    assert json.loads(first.stdout)["canopy_mol_m2"] != json.loads(second.stdout)["canopy_mol_m2"]


def test_the_list_names_scenarios_and_faults() -> None:
    """The list names scenarios with a sentence each, and kinds of faults."""
    shown = _run("--list", "--json")
    document = json.loads(shown.stdout)

    assert shown.returncode == 0
    assert document["scenarios"]["broker-down"].endswith(".")
    assert "sensor silent" in document["faults"]
    assert "broker-down" in _run("--list").stdout


@pytest.mark.parametrize(
    "words",
    [
        ("--days", "0"),
        ("--days", "1e9"),
        ("--start", "yesterday"),
        ("--start", "2026-06-01"),
        ("--scenario", "no-such-thing"),
        ("--scenario", "broker-down", "--days", "3"),
        ("--scenario", "broker-down", "--start", "2026-06-01T00:00:00Z"),
    ],
)
def test_what_is_asked_wrongly_is_refused(words: tuple[str, ...]) -> None:
    """A wrong call ends with 2 and one line of what is wrong."""
    shown = _run(*words)

    assert shown.returncode == 2
    assert len(shown.stderr.strip().splitlines()) == 1


@pytest.mark.slow
def test_a_run_can_be_drawn(tmp_path: Path) -> None:
    """The drawing is well-formed SVG that names every panel, the fault and the alarm, within its own bounds."""
    path = tmp_path / "run.svg"
    shown = _run("--scenario", "oxygen-probe-silent", "--plot", str(path))
    root = ET.fromstring(path.read_text(encoding="utf-8"))  # noqa: S314 - our own file
    words = [element.text or "" for element in root.iter("{http://www.w3.org/2000/svg}text")]
    width, height = float(root.attrib["width"]), float(root.attrib["height"])

    assert shown.returncode == 0, shown.stderr
    for wanted in ("light outside", "temperature", "least oxygen", "curtain drawn", "Tank 1 oxygen missing"):
        assert wanted in words
    assert any(word.startswith("! sensor silent") for word in words)
    for element in root.iter("{http://www.w3.org/2000/svg}polyline"):
        for point in element.attrib["points"].split():
            x, y = map(float, point.split(","))
            assert 0.0 <= x <= width
            assert 0.0 <= y <= height
