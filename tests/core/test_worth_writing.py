"""What the card is written for, and what it is spared."""

from __future__ import annotations

from dataclasses import replace

from controller.core.alarms.alarm import Alarm
from controller.core.curtain.drive import Drive, Phase
from controller.core.curtain.hold import Hold
from controller.core.remember import is_worth_writing
from controller.core.state import Durable

RUNNING = Durable(
    drives={"main": Drive(phase=Phase.RUNNING, drawn_percent=10.0, command_id="e1", started_ms=5)}
)


def _with_drive(**changes: object) -> Durable:
    """Return the running house with its motor changed."""
    return replace(RUNNING, drives={"main": replace(RUNNING.drives["main"], **changes)})  # type: ignore[arg-type]


def test_a_motor_that_goes_on_is_not_worth_a_write() -> None:
    """After a restart its position is unknown anyway."""
    assert not is_worth_writing(RUNNING, RUNNING)
    assert not is_worth_writing(RUNNING, _with_drive(drawn_percent=42.0, progress_ms=99, confirmed=True))


def test_the_begin_and_the_end_of_a_run_are_written() -> None:
    """A run that has begun or ended, a fault, a selector: each is remembered."""
    assert is_worth_writing(RUNNING, _with_drive(phase=Phase.IDLE, drawn_percent=100.0))
    assert is_worth_writing(RUNNING, _with_drive(phase=Phase.FAULTED, trouble="jammed"))
    assert is_worth_writing(RUNNING, _with_drive(command_id="e2"))
    assert is_worth_writing(RUNNING, replace(RUNNING, drives={}))
    assert is_worth_writing(Durable(), RUNNING)


def test_alarms_holds_and_counters_are_always_written() -> None:
    """Nothing that a person did or must do is left to memory."""
    for new in (
        replace(RUNNING, alarms={"low": Alarm()}),
        replace(RUNNING, holds={"main": Hold(0.0, 1, "keeper")}),
        replace(RUNNING, effects_made=1),
        replace(RUNNING, occurrences=1),
    ):
        assert is_worth_writing(RUNNING, new)
        assert is_worth_writing(RUNNING, replace(new, drives=_with_drive(drawn_percent=11.0).drives))
