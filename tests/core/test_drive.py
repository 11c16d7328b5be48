"""The motor's table, its waits and its bounds: what software may ask of a motor, and when."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import NOON_UTC_MS, make_curtain

from controller.core.curtain.drive import (
    START_QUIET_MS,
    TABLE,
    UNASKED_GRACE_MS,
    Drive,
    Phase,
    Trigger,
    begin,
    end_run,
    is_abandoned,
    local_day,
    plan_run,
    reckoned_position,
    restart,
    travel_ms,
    waits_until_ms,
    wanted_percent,
)
from controller.core.curtain.wishes import Rule, Wish
from controller.core.plan.curtain import Actuator
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from controller.core.vocabulary import Run, Selector, Stamp

CURTAIN = make_curtain(dwell_min=20, rest_before_reversal_s=10, duty_s_per_hour=300, moves_per_day=4)
RELAYS = make_curtain(actuator=Actuator.RELAYS)
DRAW, OPEN = Wish(Rule.LIGHT_CEILING, 100.0), Wish(Rule.OPEN, 0.0)
HAND_DRAW, HAND_OPEN = Wish(Rule.MANUAL_HOLD, 100.0, urgent=True), Wish(Rule.MANUAL_HOLD, 0.0, urgent=True)
NOW = 10 * HOUR_MS


def at(house_ms: int = NOW, utc_ms: int = NOON_UTC_MS) -> Stamp:
    """Make a stamp of British summer time."""
    return Stamp(house_ms, utc_ms, 60, utc_trusted=True)


def test_a_fault_is_left_by_a_person_alone() -> None:
    """No second automatic try after a jam: of all that can happen, only a clearing leads out, and no restart does."""
    assert {
        trigger: phase for trigger, phase in TABLE[Phase.FAULTED].items() if phase is not Phase.FAULTED
    } == {Trigger.CLEARED: Phase.IDLE}


def test_a_locked_motor_runs_for_nobody() -> None:
    """Local and off win: nothing leads from locked to running, and a restart does not turn the selector."""
    assert Phase.RUNNING not in TABLE[Phase.LOCKED].values()
    assert Phase.LOCKED is restart(Drive(Phase.LOCKED, selector=Selector.LOCAL), NOW).phase


def test_running_begins_by_a_command_alone() -> None:
    """No other trigger starts a motor, from anywhere."""
    assert {Trigger.COMMANDED} == {
        trigger
        for phase, row in TABLE.items()
        for trigger, to in row.items()
        if to is Phase.RUNNING and phase is not Phase.RUNNING
    }


@pytest.mark.parametrize(
    ("here", "wish", "wanted"),
    [
        (0.0, DRAW, 100.0),
        (99.5, DRAW, None),
        (98.5, DRAW, 100.0),
        (1.0, OPEN, None),
        (1.1, OPEN, 0.0),
        (50.0, Wish(Rule.MANUAL_HOLD, 54.0), None),
        (50.0, Wish(Rule.MANUAL_HOLD, 56.0), 56.0),
        (50.0, Wish(Rule.NOTHING_KNOWN, None), None),
        (None, Wish(Rule.MANUAL_HOLD, 40.0), 40.0),
    ],
)
def test_drawn_means_drawn_to_a_percent(here: float | None, wish: Wish, wanted: float | None) -> None:
    """An end is met to 1 %, as a gap costs a third of the saving; the middle need not be met more closely."""
    assert wanted == wanted_percent(CURTAIN, Drive(drawn_percent=here), wish)


@pytest.mark.parametrize(("asked", "first"), [(40.0, 0.0), (60.0, 100.0), (100.0, 100.0), (0.0, 0.0)])
def test_a_relay_motor_finds_an_end_first(asked: float, first: float) -> None:
    """A board that cannot report a position is first run to the nearer end."""
    assert first == wanted_percent(RELAYS, Drive(), Wish(Rule.MANUAL_HOLD, asked))


@pytest.mark.parametrize("phase", [Phase.RUNNING, Phase.FAULTED, Phase.LOCKED])
def test_nothing_is_asked_of_a_motor_that_runs_or_may_not(phase: Phase) -> None:
    """A run under way is not asked again, and a stopped one not at all."""
    assert plan_run(CURTAIN, Drive(phase, drawn_percent=0.0), HAND_DRAW, at()) is None


def test_the_way_is_timed_by_its_share() -> None:
    """Half the way takes half the time, and an unknown start the whole of it."""
    assert [
        travel_ms(CURTAIN, from_percent=from_percent, to_percent=to_percent)
        for from_percent, to_percent in ((0.0, 50.0), (100.0, 50.0), (None, 0.0))
    ] == [50_000, 50_000, 100_000]


@given(
    st.none() | st.floats(0.0, 100.0),
    st.sampled_from([0.0, 30.0, 70.0, 100.0]),
    st.sampled_from(Actuator),
    st.floats(5.0, 3600.0),
    st.floats(1.05, 2.0),
)
def test_a_run_is_always_bounded(
    here: float | None, target: float, actuator: Actuator, travel_s: float, ceiling: float
) -> None:
    """No run is longer than the whole travel times the ceiling, and two seconds for the least slack."""
    curtain = make_curtain(actuator=actuator, travel_time_s=travel_s, running_time_ceiling=ceiling)
    command = plan_run(curtain, Drive(drawn_percent=here), Wish(Rule.MANUAL_HOLD, target, urgent=True), at())
    if command is not None:
        assert 0 < command.run_at_most_ms <= max(travel_s * ceiling, travel_s + 2) * SECOND_MS + 1
        assert here is None or (command.run is Run.DRAW) is (command.drawn_percent > here)


def after_draw(ended_ms: int, **changes: object) -> Drive:
    """Make a motor that has drawn the curtain."""
    words: dict[str, object] = {"drawn_percent": 100.0, "run": Run.DRAW, "ended_ms": ended_ms}
    return Drive(**(words | changes))  # type: ignore[arg-type]  # names are checked by the dataclass


def test_a_motor_rests_before_it_turns_round() -> None:
    """Ten seconds before a reversal, even for a hand; none before going on the same way."""
    drive = after_draw(NOW)
    assert waits_until_ms(CURTAIN, drive, HAND_OPEN, at(NOW + 1)) == NOW + 10_000
    assert waits_until_ms(CURTAIN, drive, HAND_OPEN, at(NOW + 10_000)) is None
    assert waits_until_ms(CURTAIN, after_draw(NOW, drawn_percent=60.0), HAND_DRAW, at(NOW + 1)) is None


def test_a_motor_rests_before_it_turns_round_from_an_unknown_position() -> None:
    """That nobody knows where it is does not make the motor colder."""
    drive = after_draw(NOW, drawn_percent=None)

    assert waits_until_ms(CURTAIN, drive, HAND_OPEN, at(NOW + 1)) == NOW + 10_000
    assert waits_until_ms(CURTAIN, drive, HAND_DRAW, at(NOW + 1)) is None


def test_comfort_dwells_and_a_hand_does_not() -> None:
    """Rules of comfort wait 20 minutes between moves; a person does not."""
    drive = after_draw(NOW)

    assert waits_until_ms(CURTAIN, drive, OPEN, at(NOW + MINUTE_MS)) == NOW + 20 * MINUTE_MS
    assert waits_until_ms(CURTAIN, drive, HAND_OPEN, at(NOW + MINUTE_MS)) is None


def test_the_days_moves_are_spent_until_local_midnight() -> None:
    """The budget is of the local day: at 13:00 in British summer time it is eleven hours to midnight."""
    spent = Drive(drawn_percent=100.0, moves_today=4, moves_day=local_day(at()))

    assert waits_until_ms(CURTAIN, spent, OPEN, at()) == NOW + 11 * HOUR_MS
    assert waits_until_ms(CURTAIN, spent, HAND_OPEN, at()) is None
    assert waits_until_ms(CURTAIN, spent, OPEN, at(NOW, NOON_UTC_MS + 11 * HOUR_MS)) is None


def test_midnight_does_not_shorten_the_dwell() -> None:
    """A move just before midnight dwells past it."""
    late = NOON_UTC_MS + 11 * HOUR_MS - MINUTE_MS
    drive = after_draw(NOW, moves_today=4, moves_day=local_day(at(NOW, late)))

    assert (
        waits_until_ms(CURTAIN, drive, OPEN, at(NOW + 2 * MINUTE_MS, late + 2 * MINUTE_MS))
        == NOW + 20 * MINUTE_MS
    )


def test_a_new_day_counts_from_one() -> None:
    """The first move of a day is its first, whatever yesterday's were."""
    command = plan_run(CURTAIN, Drive(drawn_percent=0.0), HAND_DRAW, at())
    assert command is not None
    drive = begin(
        Drive(moves_today=4, moves_day=local_day(at()) - 1), command, at(), rule="x", command_id="e1"
    )

    assert (drive.moves_today, drive.moves_total) == (1, 1)


def test_the_duty_is_of_the_rolling_hour() -> None:
    """300 s used are given back as they leave the hour, and a run long out of it does not help."""
    runs = ((NOW - 100 * MINUTE_MS, NOW - 99 * MINUTE_MS), (NOW - 50 * MINUTE_MS, NOW - 44 * MINUTE_MS))
    drive = Drive(drawn_percent=100.0, recent_runs=runs)
    free = waits_until_ms(CURTAIN, drive, HAND_OPEN, at())

    # 360 s were run from minute -50; 60 s of them must have left the hour, and one instant.
    assert free == NOW - 50 * MINUTE_MS + 60_000 + 1 + HOUR_MS
    assert waits_until_ms(CURTAIN, drive, HAND_OPEN, at(free)) is None
    assert waits_until_ms(CURTAIN, drive, HAND_OPEN, at(free - 1)) == free


@given(st.lists(st.tuples(st.integers(1, 1200), st.integers(1, 600)), max_size=12), st.integers(0, 7200))
def test_when_the_duty_is_free_it_is_free(pauses_and_runs: list[tuple[int, int]], later_s: int) -> None:
    """Whatever was run, the wait ends at the first instant at which less than the allowance is left in the hour."""
    clock, runs = 0, []
    for pause_s, run_s in pauses_and_runs:
        runs.append((clock + pause_s * SECOND_MS, clock + (pause_s + run_s) * SECOND_MS))
        clock = runs[-1][1]
    now = clock + later_s * SECOND_MS
    drive = Drive(drawn_percent=100.0, recent_runs=tuple(runs))

    def used(instant: int) -> int:
        return sum(max(0, end - max(start, instant - HOUR_MS)) for start, end in runs)

    free = waits_until_ms(CURTAIN, drive, HAND_OPEN, at(now))
    assert used(now if free is None else free) < 300 * SECOND_MS
    if free is not None:
        assert used(free - 1) >= 300 * SECOND_MS


def test_a_motor_that_still_turns_is_not_started() -> None:
    """While the board says it moves, the next run waits for the grace of the last."""
    drive = after_draw(NOW - HOUR_MS, unasked_since_ms=NOW)

    assert waits_until_ms(CURTAIN, drive, HAND_OPEN, at()) == NOW + UNASKED_GRACE_MS


def test_a_restart_forgets_the_position_and_counts_the_broken_run() -> None:
    """Nothing moves for half a minute, nothing is known, and the motor's time is not lost."""
    running = Drive(
        Phase.RUNNING,
        drawn_percent=40.0,
        run=Run.DRAW,
        started_ms=NOW,
        run_until_ms=NOW + 120_000,
        moves_total=3,
    )
    drive = restart(running, NOW + 30_000)

    assert (
        drive.phase,
        drive.drawn_percent,
        drive.not_before_ms,
    ) == (Phase.IDLE, None, NOW + 30_000 + START_QUIET_MS)
    assert (drive.motor_total_ms, drive.recent_runs, drive.moves_total) == (30_000, ((NOW, NOW + 30_000),), 3)
    assert drive.unasked_since_ms == NOW + 120_000


def test_a_long_absence_counts_the_broken_run_to_its_bound() -> None:
    """The board let go when the run's time was over, however late the daemon came back."""
    running = Drive(Phase.RUNNING, run=Run.DRAW, started_ms=NOW, run_until_ms=NOW + 120_000)
    drive = restart(running, NOW + DAY_MS)

    assert (drive.motor_total_ms, drive.ended_ms, drive.unasked_since_ms) == (120_000, NOW + 120_000, None)


def test_the_list_of_runs_is_kept_to_an_hour() -> None:
    """What is out of the hour is dropped when the next run ends."""
    running = Drive(Phase.RUNNING, started_ms=NOW, recent_runs=((0, 1), (NOW - MINUTE_MS, NOW)))

    assert end_run(running, Trigger.ARRIVED, NOW + 5).recent_runs == ((NOW - MINUTE_MS, NOW), (NOW, NOW + 5))


@pytest.mark.parametrize(
    ("run", "target", "wish", "abandoned"),
    [
        (Run.DRAW, 100.0, HAND_OPEN, True),
        (Run.OPEN, 0.0, HAND_DRAW, True),
        (Run.DRAW, 100.0, HAND_DRAW, False),
        (Run.DRAW, 50.0, HAND_DRAW, False),
        (Run.DRAW, 100.0, OPEN, False),
        (Run.DRAW, 100.0, Wish(Rule.MANUAL_HOLD, None, urgent=True), False),
    ],
)
def test_only_a_hand_breaks_a_run_off(run: Run, target: float, wish: Wish, abandoned: bool) -> None:  # noqa: FBT001
    """A rule of comfort lets a run end; a person who wants the other way does not."""
    assert abandoned is is_abandoned(Drive(Phase.RUNNING, run=run, target_percent=target), wish)


@given(st.floats(0, 100), st.floats(0, 100), st.integers(0, 10**6))
def test_reckoning_stays_between_start_and_target(start: float, target: float, elapsed_ms: int) -> None:
    """Dead reckoning never leaves the way of the run."""
    run = Run.DRAW if target > start else Run.OPEN
    drive = Drive(Phase.RUNNING, from_percent=start, target_percent=target, run=run, started_ms=NOW)
    here = reckoned_position(CURTAIN, drive, NOW + elapsed_ms)

    assert here is not None
    assert min(start, target) <= here <= max(start, target)
