"""A motor command to the bytes a board takes: absolute, bounded and expiring.

A board that knows its position takes a target, `{"command": "1042-0", "drawn_percent": 60.0,
"run_at_most_s": 74.0, "not_after": "2026-03-01T06:30:30.000Z"}`. A pair of relays takes a direction, with
`"run": "draw"`, `"open"` or `"stop"` in place of `drawn_percent`. Every board takes a stop.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from json import dumps
from typing import Final

from controller.core.plan.curtain import Actuator
from controller.core.units import UtcMs
from controller.core.vocabulary import MoveCurtain, Run

COMMAND: Final = re.compile(r"[0-9A-Za-z._:-]{1,64}")
"""The name of a command: a board sends it back in its report."""

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


def render_move(move: MoveCurtain, actuator: Actuator) -> bytes:
    """Render `move` for a board of this kind."""
    if actuator is Actuator.TARGET and move.run is not Run.STOP:
        return render_target(
            command_id=move.effect_id,
            drawn_percent=move.drawn_percent,
            run_at_most_ms=move.run_at_most_ms,
            not_after_utc_ms=move.not_after_utc_ms,
        )
    return render_run(
        command_id=move.effect_id,
        run=move.run,
        run_at_most_ms=move.run_at_most_ms,
        not_after_utc_ms=move.not_after_utc_ms,
    )


def render_target(
    *, command_id: str, drawn_percent: float, run_at_most_ms: int, not_after_utc_ms: UtcMs
) -> bytes:
    """Render a run to `drawn_percent`, 0 open to 100 drawn [%], in at most `run_at_most_ms` [ms]."""
    assert 0.0 <= drawn_percent <= 100.0, "a target lies between open and drawn"
    return _render(
        command_id, {"drawn_percent": round(float(drawn_percent), 1)}, run_at_most_ms, not_after_utc_ms
    )


def render_run(*, command_id: str, run: Run, run_at_most_ms: int, not_after_utc_ms: UtcMs) -> bytes:
    """Render a run in one direction for at most `run_at_most_ms` [ms], or a stop."""
    return _render(command_id, {"run": run.value}, run_at_most_ms, not_after_utc_ms)


def _render(
    command_id: str, order: dict[str, float | str], run_at_most_ms: int, not_after_utc_ms: UtcMs
) -> bytes:
    assert COMMAND.fullmatch(command_id), "a command has a name that a report can give back"
    assert run_at_most_ms >= 0, "a motor runs for no less than no time"
    not_after = _EPOCH + timedelta(milliseconds=not_after_utc_ms)
    document = {
        "command": command_id,
        **order,
        "run_at_most_s": run_at_most_ms / 1000,
        "not_after": not_after.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
    }
    return dumps(document, allow_nan=False).encode("ascii")
