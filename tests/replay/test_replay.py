"""The same engine over a recording: positions with their reasons, calls, and honest exit codes."""

from __future__ import annotations

import csv
import json
import math
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

SETTINGS = Path("config/duskbell.toml").resolve()
START = datetime(2026, 4, 18, tzinfo=UTC)


def _half_sine(hour: float, peak: float) -> float:
    """Light of an invented clear day, sun up from 5 to 19 h UTC [W/m2]."""
    return max(0.0, peak * math.sin(math.pi * (hour - 5) / 14)) if 5 < hour < 19 else 0.0


def _write(path: Path, minutes: int, light: Callable[[float], float], *, oxygen: float | None = None) -> None:
    """Write an invented recording by the minute."""
    with path.open("w", encoding="utf-8") as out:
        out.write(
            "time,outdoor light,outdoor temperature,air temperature"
            + (",tank 1 oxygen\n" if oxygen else "\n")
        )
        for minute in range(minutes):
            at = START + timedelta(minutes=minute)
            hour = minute / 60 % 24
            row = (
                f"{at.isoformat()},{light(hour):.2f},{8 + minute % 7 * 0.01:.2f},{17 + minute % 5 * 0.01:.2f}"
            )
            value = oxygen if oxygen is not None and 600 <= minute < 660 else 7.5
            out.write(row + (f",{value + minute % 3 * 0.01:.2f}\n" if oxygen else "\n"))


def _replay(tmp_path: Path, *more: str) -> tuple[subprocess.CompletedProcess[str], list[dict[str, str]]]:
    """Run the command as a user would and read what it wrote."""
    out = tmp_path / "out.csv"
    words = [sys.executable, "-m", "controller.main", "replay", "--settings", str(SETTINGS),
             "--readings", str(tmp_path / "in.csv"), "--positions", str(out), *more]  # fmt: skip
    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=120)
    rows = list(csv.DictReader(out.read_text(encoding="utf-8").splitlines())) if out.exists() else []
    return done, rows


@pytest.mark.slow
def test_a_clear_day_is_drawn_at_night_opened_in_the_morning_and_shaded_at_noon(tmp_path: Path) -> None:
    """The positions of a clear April day tell the whole story, each with its numbers."""
    _write(tmp_path / "in.csv", 1440, lambda hour: _half_sine(hour, 800))

    done, rows = _replay(tmp_path, "--json")

    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    assert (said["rows_read"], said["rows_refused"]) == (1440, 0)
    assert list(rows[0]) == ["time", "curtain", "drawn_percent", "rule", "reason"]
    assert [(row["rule"], row["drawn_percent"]) for row in rows] == [
        ("start", "0"),
        ("hold heat at night", "100"),
        ("open", "0"),
        ("light ceiling", "100"),
        ("open", "0"),
        ("hold heat at night", "100"),
    ]
    assert said["moves"] == {"main": 5}
    shade = rows[3]
    # 800 sin(pi (h - 5) / 14) crosses 600 at h = 8.78 UTC; filter 3 min and delay 5 min come after.
    at = datetime.fromisoformat(shade["time"])
    assert timedelta(hours=1) == at.utcoffset()
    assert datetime(2026, 4, 18, 8, 50, tzinfo=UTC) <= at <= datetime(2026, 4, 18, 9, 0, tzinfo=UTC)
    assert "W/m2" in shade["reason"]
    assert "600" in shade["reason"]


@pytest.mark.slow
def test_low_oxygen_in_a_recording_counts_as_one_call(tmp_path: Path) -> None:
    """An hour under the limit of 4 mg/L is one alarm that calls, answered by the imagined person."""
    _write(tmp_path / "in.csv", 1000, lambda _: 100.0, oxygen=3.0)

    done, _ = _replay(tmp_path, "--json")

    said = json.loads(done.stdout)
    assert done.returncode == 0, done.stderr
    assert said["calls"] == 1
    assert said["messages"] >= 1


@pytest.mark.slow
def test_the_same_recording_gives_the_same_bytes(tmp_path: Path) -> None:
    """A replay depends on nothing but its two files."""
    _write(tmp_path / "in.csv", 600, lambda hour: _half_sine(hour, 900))
    first, rows = _replay(tmp_path, "--json")
    before = (tmp_path / "out.csv").read_bytes()

    second, _ = _replay(tmp_path, "--json")

    assert rows
    assert before == (tmp_path / "out.csv").read_bytes()
    assert first.stdout == second.stdout


def test_a_recording_without_a_good_row_exits_with_1(tmp_path: Path) -> None:
    """Nothing could be replayed, and the reason is said."""
    (tmp_path / "in.csv").write_text("time,outdoor light\nnever,5\n", encoding="utf-8")

    done, rows = _replay(tmp_path)

    assert done.returncode == 1
    assert "no row has a readable time" in done.stderr
    assert rows == []


def test_settings_with_a_mistake_exit_with_2_and_name_the_line(tmp_path: Path) -> None:
    """The mistake is in the settings, not in the recording."""
    bad = tmp_path / "bad.toml"
    bad.write_text(
        SETTINGS.read_text(encoding="utf-8").replace("latitude_deg = 54", "latitude_deg = 540"),
        encoding="utf-8",
    )
    words = [
        sys.executable,
        "-m",
        "controller.main",
        "replay",
        "--settings",
        str(bad),
        "--readings",
        "x",
        "--positions",
        "y",
    ]

    done = subprocess.run(words, capture_output=True, text=True, check=False, timeout=60)

    assert done.returncode == 2
    assert "bad.toml:" in done.stderr
    assert "latitude" in done.stderr
