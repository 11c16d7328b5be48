"""What the daemon cannot do for itself is done by the service file that comes with it, and the guide says so."""

from __future__ import annotations

import re
from pathlib import Path

DEPLOY = Path(__file__).parents[2] / "deploy"


def read_unit() -> dict[str, str]:
    """Read the keys of the service file; no key of interest stands twice."""
    lines = (DEPLOY / "duskbell.service").read_text(encoding="utf-8").splitlines()
    return dict(line.split("=", 1) for line in lines if re.match(r"[A-Z]\w*=", line))


def test_a_daemon_that_hangs_is_ended_and_started_again() -> None:
    """Without a beat for 30 s it is aborted (systemd.service(5), WatchdogSec), and always started again, for ever."""
    unit = read_unit()

    assert 0 < int(unit["WatchdogSec"]) <= 30
    assert unit["WatchdogSignal"] == "SIGABRT"
    assert unit["Restart"] == "always"
    assert int(unit["RestartSec"]) <= 10
    assert unit["StartLimitIntervalSec"] == "0"


def test_a_daemon_that_grows_is_ended_and_started_again() -> None:
    """What grows past its bound is killed (systemd.resource-control(5), MemoryMax) before the board suffers."""
    unit = read_unit()

    assert re.fullmatch(r"\d+M", unit["MemoryMax"])
    assert 100 <= int(unit["MemoryMax"][:-1]) <= 512


def test_the_guide_says_who_notices_a_dead_board() -> None:
    """The guide names the board's own watchdog, in at most 15 s; who misses the sign of life is another test's."""
    guide = (DEPLOY / "README.md").read_text(encoding="utf-8")
    found = re.search(r"RuntimeWatchdogSec=(\d+)", guide)

    assert found is not None
    assert int(found[1]) <= 15
