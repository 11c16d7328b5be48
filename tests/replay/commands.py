"""Run a command as a user would."""

from __future__ import annotations

import subprocess
import sys


def run(*words: str) -> subprocess.CompletedProcess[str]:
    """Run `duskbell` with these words and return what it printed and how it ended."""
    return subprocess.run(
        [sys.executable, "-m", "controller.main", *words],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
