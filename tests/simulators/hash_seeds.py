"""Run a program under different hash seeds: what chance draws must not depend on them."""

from __future__ import annotations

import os
import subprocess
import sys


def print_under_hash_seeds(program: str, *words: str) -> set[str]:
    """Return what a program with these words prints under two hash seeds: one text if both agree."""
    return {
        subprocess.run(
            [sys.executable, "-c", program, *words],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        for seed in ("1", "2")
    }
