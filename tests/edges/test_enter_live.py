"""Entering a test kit's value into the real daemon: taken, refused, corrected, and there after a power cut."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from site_file import write_site
from waiting import wait_until

from controller.edges.journal_schema import ALARMS_NAME
from simulators.live.brokers import free_port

pytestmark = pytest.mark.slow

KIT = """
[[sensor]]
name = "tank ammonia"
quantity = "total ammonia"
unit = "mg/L"
entered = true

[[water]]
name = "tank"
oxygen = "tank oxygen"
"""


def ask(settings: Path, *words: str) -> tuple[int, str]:
    """Ask the running daemon as a person would."""
    command = [sys.executable, "-m", "controller.main", *words, "--settings", str(settings)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=30)
    return done.returncode, done.stdout + done.stderr


def begin(settings: Path) -> subprocess.Popen[str]:
    """Start the daemon and wait until it answers. No broker runs: entering needs none."""
    with (settings.parent / "daemon.log").open("a", encoding="utf-8") as log:
        daemon = subprocess.Popen(
            [sys.executable, "-m", "controller.main", "run", "--settings", str(settings), "--log", "json"],
            stderr=log,
            text=True,
        )
    wait_until(lambda: ask(settings, "status")[0] == 0, "the daemon answers", within_s=20)
    return daemon


def find_kit(settings: Path) -> dict[str, Any]:
    """Read what the status says of the kit."""
    status = json.loads(ask(settings, "status", "--json")[1])["status"]
    found: dict[str, Any] = next(each for each in status["sensors"] if each["sensor"] == "tank ammonia")
    return found | {"entered": status["waters"]["entered"]}


def test_a_value_is_entered_refused_corrected_and_survives_a_power_cut(tmp_path: Path) -> None:
    """1 mg/L as NH3 is 0.822 as N; a slip is corrected; kill -9 loses nothing; the record holds both numbers."""
    settings = write_site(tmp_path, broker_port=free_port(), mail_port=free_port())
    settings.write_text(settings.read_text(encoding="utf-8") + KIT, encoding="utf-8")
    daemon = begin(settings)
    try:
        without_basis = ask(settings, "enter", "tank ammonia", "1")
        wrong_unit = ask(settings, "enter", "tank ammonia", "1", "--basis", "N", "--unit", "mS/cm")
        negative = ask(settings, "enter", "tank ammonia", "-1", "--basis", "N")
        slip = ask(settings, "enter", "tank ammonia", "10", "--basis", "NH3", "--person", "keeper")
        small = ask(
            settings, "enter", "tank ammonia", "1000", "--unit", "ug/L", "--basis", "NH3", "--correct",
            "--person", "deputy",
        )  # fmt: skip
        before = find_kit(settings)
    finally:
        daemon.send_signal(signal.SIGKILL)
        daemon.wait(timeout=10)
    daemon = begin(settings)
    try:
        after = find_kit(settings)
    finally:
        daemon.terminate()
        daemon.wait(timeout=20)

    assert without_basis[0] == 1
    assert "as N or NH3" in without_basis[1]
    assert "is no unit of total ammonia" in wrong_unit[1]
    assert "-1" in negative[1]
    assert slip == (0, "tank ammonia is 8.224 mg/L as N\n")
    assert small == (0, "tank ammonia corrected to 0.8224 mg/L as N\n")
    assert before["value"] == pytest.approx(0.8224, abs=1e-4)
    assert after["value"] == before["value"]
    assert [(each["given"], each["basis"], each["person"]) for each in after["entered"]] == [
        (1.0, "NH3", "deputy")
    ]
    with closing(sqlite3.connect(tmp_path / "journal" / ALARMS_NAME)) as record:
        notes = [
            text
            for (text,) in record.execute(
                "SELECT text FROM note WHERE subject = 'tank ammonia' ORDER BY turn"
            )
        ]
        acts = [name for (name,) in record.execute("SELECT DISTINCT kind FROM act")]
    assert notes == [
        "keeper enters 10 mg/L as NH3, which is 8.224 mg/L as N",
        "deputy corrects 10 mg/L as NH3 (entered by keeper) to 1 mg/L as NH3, which is 0.8224 mg/L as N",
    ]
    assert acts == ["ValueEntered"]
