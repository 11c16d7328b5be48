"""Motor commands as boards read them."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.curtain import Actuator
from controller.core.vocabulary import MoveCurtain, Run
from controller.wire.command import render_move, render_run, render_target

# 2026-03-01T06:30:30.000Z; checked with the standard library below.
NOT_AFTER_MS = 1_772_346_630_000


def move(run: Run) -> MoveCurtain:
    """Make a move to 60 % in at most 74 s."""
    return MoveCurtain(
        effect_id="1042-0",
        curtain="main",
        run=run,
        drawn_percent=60.0,
        run_at_most_ms=0 if run is Run.STOP else 74_000,
        not_after_utc_ms=NOT_AFTER_MS,
        not_after_house_ms=5,
        reason="too bright",
    )


@pytest.mark.parametrize("run", [Run.DRAW, Run.OPEN])
def test_a_target_is_absolute_bounded_and_expiring(run: Run) -> None:
    """A board that knows its position gets the position, the longest run and the last instant."""
    expected = {
        "command": "1042-0",
        "drawn_percent": 60.0,
        "run_at_most_s": 74.0,
        "not_after": "2026-03-01T06:30:30.000Z",
    }

    assert expected == json.loads(render_move(move(run), Actuator.TARGET))
    assert datetime(2026, 3, 1, 6, 30, 30, tzinfo=UTC).timestamp() * 1000 == NOT_AFTER_MS


@pytest.mark.parametrize(("run", "word"), [(Run.DRAW, "draw"), (Run.OPEN, "open")])
def test_a_pair_of_relays_gets_a_direction(run: Run, word: str) -> None:
    """A board that only knows directions gets one, with the longest run and the last instant."""
    expected = {
        "command": "1042-0",
        "run": word,
        "run_at_most_s": 74.0,
        "not_after": "2026-03-01T06:30:30.000Z",
    }

    assert expected == json.loads(render_move(move(run), Actuator.RELAYS))


@pytest.mark.parametrize("actuator", Actuator)
def test_every_board_gets_the_same_stop(actuator: Actuator) -> None:
    """A stop has no target and no running time, whatever the board."""
    expected = {
        "command": "1042-0",
        "run": "stop",
        "run_at_most_s": 0.0,
        "not_after": "2026-03-01T06:30:30.000Z",
    }

    assert expected == json.loads(render_move(move(Run.STOP), actuator))


@given(st.floats(0, 100), st.integers(0, 10_000_000), st.integers(0, 253_402_300_799_999))
def test_a_board_reads_what_was_meant(
    drawn_percent: float, run_at_most_ms: int, not_after_utc_ms: int
) -> None:
    """Target to a tenth of a percent, running time and instant to the millisecond reach the board."""
    payload = render_target(
        command_id="7-1",
        drawn_percent=drawn_percent,
        run_at_most_ms=run_at_most_ms,
        not_after_utc_ms=not_after_utc_ms,
    )

    assert payload.isascii()
    read = json.loads(payload)
    assert read["drawn_percent"] == pytest.approx(drawn_percent, abs=0.0501)
    assert run_at_most_ms == round(read["run_at_most_s"] * 1000)
    not_after = datetime.strptime(read["not_after"], "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
    assert not_after_utc_ms == round((not_after - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() * 1000)


@pytest.mark.parametrize("drawn_percent", [-0.1, 100.1, float("nan"), float("inf")])
def test_a_target_outside_the_travel_is_our_bug(drawn_percent: float) -> None:
    """A position that no curtain has never reaches a board."""
    with pytest.raises(AssertionError):
        render_target(
            command_id="1-0", drawn_percent=drawn_percent, run_at_most_ms=1, not_after_utc_ms=NOT_AFTER_MS
        )


def test_a_command_without_name_or_with_negative_time_is_our_bug() -> None:
    """Every command can be named in a report and is bounded."""
    for command_id in ("", "a b", "1" * 65, "\u0661"):
        with pytest.raises(AssertionError):
            render_run(command_id=command_id, run=Run.OPEN, run_at_most_ms=1, not_after_utc_ms=NOT_AFTER_MS)
    with pytest.raises(AssertionError):
        render_run(command_id="1-0", run=Run.OPEN, run_at_most_ms=-1, not_after_utc_ms=NOT_AFTER_MS)
