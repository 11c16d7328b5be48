"""Waiting for what another thread or process will do: on a condition, with a deadline, never for a while."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")


def wait_until(condition: Callable[[], T], what: str, *, within_s: float = 45.0) -> T:
    """Ask `condition` again and again until it is true, and give what it gave; fail after `within_s` [s]."""
    deadline = time.monotonic() + within_s
    while not (outcome := condition()):
        assert time.monotonic() < deadline, f"waited {within_s} s in vain until {what}"
        time.sleep(0.005)
    return outcome
