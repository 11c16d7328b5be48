"""Promises of the motor that moves nothing."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.curtain import Actuator, Curtain
from controller.core.plan.plan import Plan
from controller.core.plan.site import Site
from controller.core.vocabulary import CurtainReported, Limit, MoveCurtain, Run
from controller.edges.null_motor import NullMotor

SITE = Site(name="House", id="house", latitude_deg=54.0, longitude_deg=-1.0, time_zone="Europe/London")


def _motor(**keys: object) -> NullMotor:
    curtain = Curtain.model_validate(
        {
            "name": "main",
            "light_sensor": "lamp",
            "command_topic": "m/do",
            "report_topic": "m/is",
            "travel_time_s": 100.0,
            **keys,
        }
    )
    return NullMotor(Plan(site=SITE, curtain=(curtain,)))


def _move(
    effect_id: str, run: Run, drawn_percent: float, *, at_most_ms: int = 120_000, not_after_ms: int = 10**9
) -> MoveCurtain:
    return MoveCurtain(effect_id, "main", run, drawn_percent, at_most_ms, 0, not_after_ms, "test")


def _report(drawn_percent: float | None, moving: bool, limit: Limit, command: str) -> CurtainReported:  # noqa: FBT001 - a report's own order
    return CurtainReported("main", drawn_percent, moving, limit, command_id=command)


def test_a_run_is_reported_at_once_and_when_it_has_arrived() -> None:
    """Sixty percent of a travel of 100 s take 60 s."""
    motor = _motor()
    assert motor.next_due_ms() is None
    motor.act(_move("1-0", Run.DRAW, 60.0), 5_000)
    assert motor.next_due_ms() == 5_000
    assert motor.due(5_000) == (_report(0.0, True, Limit.OPEN, "1-0"),)
    assert motor.next_due_ms() == 65_000
    assert motor.due(64_999) == ()
    assert motor.due(65_000) == (_report(60.0, False, Limit.NONE, "1-0"),)
    assert motor.next_due_ms() is None


def test_the_end_switches_are_reported_at_the_ends() -> None:
    """Wholly drawn presses one, wholly open the other."""
    motor = _motor()
    motor.act(_move("1-0", Run.DRAW, 100.0), 0)
    assert motor.due(100_000)[-1] == _report(100.0, False, Limit.DRAWN, "1-0")
    motor.act(_move("2-0", Run.OPEN, 0.0), 100_000)
    assert motor.due(200_000)[-1] == _report(0.0, False, Limit.OPEN, "2-0")


def test_a_board_without_end_switches_reports_none() -> None:
    """The settings say whether the board reports its end switches."""
    motor = _motor(has_limit_report=False)
    motor.act(_move("1-0", Run.DRAW, 100.0), 0)
    assert {report.limit for report in motor.due(100_000)} == {Limit.NONE}


def test_the_longest_run_ends_it_early() -> None:
    """Thirty seconds of a travel of 100 s are thirty percent."""
    motor = _motor()
    motor.act(_move("1-0", Run.DRAW, 100.0, at_most_ms=30_000), 0)
    assert motor.due(30_000)[-1] == _report(30.0, False, Limit.NONE, "1-0")


def test_a_stop_holds_it_where_it_is() -> None:
    """Stopped half way: the arrival does not come, and the next run starts from there."""
    motor = _motor()
    motor.act(_move("1-0", Run.DRAW, 100.0), 0)
    motor.act(_move("2-0", Run.STOP, 0.0, at_most_ms=0), 50_000)
    assert motor.due(200_000) == (
        _report(0.0, True, Limit.OPEN, "1-0"),
        _report(50.0, False, Limit.NONE, "2-0"),
    )
    motor.act(_move("3-0", Run.OPEN, 20.0), 300_000)
    assert motor.due(330_000)[-1] == _report(20.0, False, Limit.NONE, "3-0")


def test_a_new_command_on_the_way_replaces_the_old_one() -> None:
    """Reports of the past stay due; those of a run that will not be finished are gone."""
    motor = _motor()
    motor.act(_move("1-0", Run.DRAW, 100.0), 0)
    motor.act(_move("2-0", Run.OPEN, 0.0), 40_000)
    assert motor.due(10**6) == (
        _report(0.0, True, Limit.OPEN, "1-0"),
        _report(40.0, True, Limit.NONE, "2-0"),
        _report(0.0, False, Limit.OPEN, "2-0"),
    )


def test_a_target_already_reached_is_reported_as_rest() -> None:
    """Nothing to run: one report, at rest."""
    motor = _motor()
    motor.act(_move("1-0", Run.OPEN, 0.0), 0)
    assert motor.due(0) == (_report(0.0, False, Limit.OPEN, "1-0"),)


def test_relays_run_towards_the_end_and_do_not_know_where_they_are() -> None:
    """A pair of relays runs for its time; only an end switch tells where it is."""
    motor = _motor(actuator=Actuator.RELAYS)
    motor.act(_move("1-0", Run.DRAW, 50.0, at_most_ms=50_000), 0)
    assert motor.due(50_000) == (
        _report(None, True, Limit.OPEN, "1-0"),
        _report(None, False, Limit.NONE, "1-0"),
    )
    motor.act(_move("2-0", Run.DRAW, 100.0), 60_000)
    assert motor.due(110_000)[-1] == _report(None, False, Limit.DRAWN, "2-0")


@pytest.mark.parametrize("name", ["main", "side"])
def test_a_command_that_has_expired_or_is_for_nobody_does_nothing(name: str) -> None:
    """Neither is reported."""
    motor = _motor()
    late = MoveCurtain("1-0", name, Run.DRAW, 60.0, 120_000, 0, 999 if name == "main" else 10**9, "test")
    motor.act(late, 1_000)
    assert motor.next_due_ms() is None


@given(
    steps=st.lists(
        st.tuples(
            st.integers(0, 150_000),
            st.sampled_from(Run),
            st.floats(0.0, 100.0),
            st.integers(0, 120_000),
        ),
        max_size=12,
    )
)
def test_it_never_leaves_the_travel_nor_outruns_it(steps: list[tuple[int, Run, float, int]]) -> None:
    """Positions stay within 0 and 100; no two reports are farther apart than the motor can run; all ends at rest."""
    motor = _motor()
    now_ms = 0
    seen: list[tuple[int, CurtainReported]] = []
    for number, (gap_ms, run, drawn_percent, at_most_ms) in enumerate(steps):
        now_ms += gap_ms
        motor.act(_move(f"{number}-0", run, drawn_percent, at_most_ms=at_most_ms), now_ms)
    while (due_ms := motor.next_due_ms()) is not None:
        seen.extend((due_ms, report) for report in motor.due(due_ms))
    for (before_ms, before), (after_ms, after) in itertools.pairwise(seen):
        assert before_ms <= after_ms
        assert before.drawn_percent is not None
        assert after.drawn_percent is not None
        assert 0.0 <= after.drawn_percent <= 100.0
        assert abs(after.drawn_percent - before.drawn_percent) <= (after_ms - before_ms) / 1_000 + 0.001
    assert not seen or not seen[-1][1].moving
