"""The command `duskbell check`: its text, its JSON and its exit codes."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import pytest

from controller.core.plan.plan import Plan
from controller.settings.check_command import add_check
from controller.settings.load import read_settings

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")
DEMO = Path(__file__).parents[2] / "config" / "duskbell.toml"


def check(*words: str) -> int:
    """Run the command as the command line does."""
    parser = argparse.ArgumentParser()
    add_check(parser.add_subparsers())
    args = parser.parse_args(["check", *words])
    code = args.run(args)
    assert isinstance(code, int)
    return code


def test_a_good_file_is_told_back(capsys: pytest.CaptureFixture[str]) -> None:
    """A good file exits with 0 and is told back: every name, limits with units, the list in order of time."""
    assert check(str(DEMO)) == 0
    told = capsys.readouterr().out
    plan = read_settings(DEMO)
    assert isinstance(plan, Plan)
    for name in [each.name for part in (plan.sensor, plan.curtain, plan.alarm, plan.person) for each in part]:
        assert name in told
    for words in (
        "Kestrel Wharf teaching glasshouse (kestrel-wharf): 54 N, 1 W, 15 m, Europe/London",
        "tank 1 oxygen < 4 mg/L",
        "tank 1 level falls by 0.5 cm/min",
        "Tank 1 oxygen missing",
        "draws to 100 % above 600 W/m2 for 5 min, opens below 500 W/m2 for 15 min",
        "The file is good. No cautions.",
    ):
        assert words in told
    emergency = told[told.index("Call list, emergency") :]
    places = [emergency.index(f"after {minutes} min") for minutes in (0, 5, 10)]
    assert sorted(places) == places


def test_alarms_are_told_by_response_most_urgent_first(capsys: pytest.CaptureFixture[str]) -> None:
    """Emergencies stand before what is told today and before notes; within each the shortest time comes first."""
    check(str(DEMO))
    told = capsys.readouterr().out
    titles = [told.index(title) for title in ("Emergencies: ", "Today: ", "Notes: ")]
    assert sorted(titles) == titles
    rows = told[titles[0] : titles[1]].split("\n")[2:]
    minutes = [float(row.split(" min  ")[0].split()[-1]) for row in rows if " min  " in row]
    assert len(minutes) > 10
    assert sorted(minutes) == minutes


def test_a_bad_file_is_refused_with_file_and_line(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A bad file exits with 2 and prints a line FILE:LINE: TEXT for each problem, then their number."""
    path = tmp_path / "house.toml"
    path.write_text(
        GOOD.replace("interval_s = 30", "interval_s = 0").replace("after_min = 5", "after_min = -5")
    )
    assert check(str(path)) == 2
    rows = capsys.readouterr().out.split("\n")
    assert (
        f'{path}:52: sensor "oxygen": `interval_s` is 0, allowed is a number from 0.1 to 86400 [s]' == rows[0]
    )
    assert f"{path}:148: call: `after_min` is -5, allowed is a number from 0 to 1440 [min]" == rows[1]
    assert rows[2:] == ["", "The file is refused: 2 problems.", ""]


def test_cautions_are_printed_and_do_not_refuse(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A caution is told with its line after the summary, and the exit code stays 0."""
    path = tmp_path / "house.toml"
    path.write_text(GOOD.replace("time_to_respond_min = 60", "time_to_respond_min = 20"))
    assert check(str(path)) == 0
    assert f'{path}:90: alarm "Oxygen low": 20 min until harm' in capsys.readouterr().out


def test_a_file_that_is_not_there_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A wrong path exits with 2 and says so."""
    assert check(str(tmp_path / "none.toml")) == 2
    assert "cannot be read" in capsys.readouterr().out


def test_json_says_the_same_for_machines(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The JSON form holds problems with file and line, and for a good file the settings, which load again."""
    path = tmp_path / "house.toml"
    path.write_text(GOOD.replace("interval_s = 30", "interval_s = 0"))
    assert check(str(path), "--json") == 2
    refused = json.loads(capsys.readouterr().out)
    assert (refused["good"], refused["settings"], refused["problems"][0]["line"]) == (False, None, 52)
    assert check(str(DEMO), "--json") == 0
    good = json.loads(capsys.readouterr().out)
    assert (good["good"], good["problems"], good["cautions"]) == (True, [], [])
    assert read_settings(DEMO) == Plan.model_validate_json(json.dumps(good["settings"]))


def test_a_small_plan_is_told_without_empty_headings(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A file with only a place is told without tables of nothing, and is pointed out to call nobody."""
    path = tmp_path / "house.toml"
    path.write_text(GOOD[: GOOD.index("[broker]")])
    assert check(str(path)) == 0
    told = capsys.readouterr().out
    assert "Sensors (0)" in told
    assert "Call list" not in told
    assert "nobody is ever called" in told
