"""A broken promise, with its story."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork


class PromiseBroken(Exception):  # noqa: N818 - named by what happened
    """A promise was broken; the text holds promise, seed, time, and the ten events before."""

    def __init__(self, run: Clockwork, promise: str, what: str) -> None:
        self.promise = promise
        self.what = what
        self.at_ms = run.now_utc_ms
        lines = [
            f"broken promise: {promise}",
            f"  {what}",
            f"  seed {run.seed}, {_write_time(run.now_utc_ms)}, minute {run.tally.minutes} of the run",
            f"  faults in force: {', '.join(run.troubles) or 'none'}",
            "  the events before, the last one at the end:",
            *(f"    {_write_time(at)} {_shorten(event)}" for at, event in run.last_events),
        ]
        super().__init__("\n".join(lines))


def _write_time(utc_ms: int) -> str:
    return datetime.fromtimestamp(utc_ms / 1000, tz=UTC).isoformat(timespec="seconds")


def _shorten(event: object) -> str:
    text = repr(event)
    return text if len(text) <= 300 else f"{text[:300]} ..."
