"""The curtain's motor and its boards behave as machines do, not as software wishes."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.boards import Refusal, RelayBoard, Selector, TargetBoard
from simulators.motor import Curtain, Direction, Feedback

LATER_MS = 10_000


def draw(board: RelayBoard, run_s: float = 600.0) -> Refusal | None:
    """Tell a board to draw, in time."""
    return board.command(Direction.DRAW, run_s=run_s, now_ms=0, not_after_ms=LATER_MS)


def test_full_travel_takes_the_time_of_its_direction() -> None:
    """Drawing and opening take their own times, plus the play to be taken up."""
    curtain = Curtain(draw_s=180.0, open_s=150.0, backlash_percent=1.0)
    board = RelayBoard(curtain)

    draw(board)
    # The shaft starts in the middle of its play: half of it is taken up.
    assert board.seconds_until_change() == pytest.approx(180.0 * 1.005)
    board.advance(181.0)
    assert curtain.drawn_percent == 100.0
    assert curtain.motor_s == pytest.approx(180.9)
    board.advance(10.0)
    board.command(Direction.OPEN, run_s=600.0, now_ms=0, not_after_ms=LATER_MS)

    # The whole play is taken up after a reversal.
    assert board.seconds_until_change() == pytest.approx(150.0 * 1.01)


@given(st.lists(st.floats(0.01, 90.0), min_size=1, max_size=30), st.floats(0.0, 100.0))
def test_the_size_of_the_steps_does_not_matter(steps: list[float], start: float) -> None:
    """Many small steps and one large one leave the curtain in the same place."""
    fine, coarse = Curtain(drawn_percent=start), Curtain(drawn_percent=start)
    one, two = RelayBoard(fine), RelayBoard(coarse)
    draw(one, 60.0)
    draw(two, 60.0)

    for step in steps:
        one.advance(step)
    two.advance(math.fsum(steps))

    assert fine.drawn_percent == pytest.approx(coarse.drawn_percent, abs=1e-9)
    assert fine.motor_s == pytest.approx(coarse.motor_s, abs=1e-6)


def test_the_board_lets_go_when_the_bounded_time_has_passed() -> None:
    """Nothing but the board's own timer ends a run when nobody sends a stop."""
    curtain = Curtain(draw_s=100.0, backlash_percent=0.0)
    board = RelayBoard(curtain)

    assert draw(board, run_s=30.0) is None
    board.advance(3600.0)

    assert curtain.drawn_percent == pytest.approx(30.0)
    assert board.report().moving is Direction.REST
    assert board.report().timed_out


@pytest.mark.parametrize(
    ("run_s", "now_ms", "selector", "expected"),
    [
        (30.0, 10_001, Selector.REMOTE, Refusal.EXPIRED),
        (30.0, 10_000, Selector.REMOTE, None),
        (601.0, 0, Selector.REMOTE, Refusal.UNBOUNDED),
        (0.0, 0, Selector.REMOTE, Refusal.UNBOUNDED),
        (math.nan, 0, Selector.REMOTE, Refusal.UNBOUNDED),
        (30.0, 0, Selector.LOCAL, Refusal.NOT_REMOTE),
        (30.0, 0, Selector.OFF, Refusal.NOT_REMOTE),
    ],
)
def test_the_board_refuses_what_it_should(
    run_s: float, now_ms: int, selector: Selector, expected: Refusal | None
) -> None:
    """Expired, unbounded and unwanted commands are refused and move nothing."""
    board = RelayBoard(Curtain())
    board.turn_selector(selector)

    refusal = board.command(Direction.DRAW, run_s=run_s, now_ms=now_ms, not_after_ms=10_000)
    board.advance(5.0)

    assert refusal is expected
    assert (board.curtain.drawn_percent > 0) is (expected is None)


def test_the_wall_switch_wins() -> None:
    """Local stops a running command and moves by its own button; off stops both."""
    curtain = Curtain(draw_s=100.0, open_s=100.0, backlash_percent=0.0)
    board = RelayBoard(curtain)
    draw(board)
    board.advance(50.0)

    board.turn_selector(Selector.LOCAL, hand=Direction.OPEN)
    board.advance(2.0 + 10.0)  # the interlock's pause, then ten seconds of motion
    assert curtain.drawn_percent == pytest.approx(40.0)
    board.turn_selector(Selector.OFF)
    board.advance(60.0)
    board.turn_selector(Selector.REMOTE)
    board.advance(60.0)

    assert curtain.drawn_percent == pytest.approx(40.0)


def test_a_reversal_waits_for_the_interlock() -> None:
    """The opposite relay closes only after the pause."""
    curtain = Curtain(draw_s=100.0, open_s=100.0, backlash_percent=0.0)
    board = RelayBoard(curtain, reversal_pause_s=2.0)
    draw(board)
    board.advance(20.0)
    board.command(Direction.OPEN, run_s=10.0, now_ms=0, not_after_ms=LATER_MS)

    board.advance(2.0)
    assert curtain.drawn_percent == pytest.approx(20.0)
    board.advance(60.0)

    # The timer runs through the pause: ten seconds less two.
    assert curtain.drawn_percent == pytest.approx(12.0)


def test_a_jam_stalls_the_motor_and_trips_its_overload() -> None:
    """A jammed curtain does not arrive, its motor trips, and a person must reset it."""
    curtain = Curtain(draw_s=100.0, open_s=100.0, backlash_percent=0.0, overload_s=20.0)
    curtain.jam_at_percent = 40.0
    board = RelayBoard(curtain)
    draw(board)

    board.advance(59.0)
    assert not curtain.tripped
    board.advance(2.0)
    assert (curtain.drawn_percent, curtain.tripped) == (40.0, True)
    curtain.jam_at_percent = None
    draw(board)
    board.advance(10.0)
    assert curtain.drawn_percent == 40.0
    curtain.reset()
    draw(board)
    board.advance(10.0)

    assert curtain.drawn_percent == pytest.approx(50.0)


def test_a_jammed_curtain_can_move_away_from_the_jam() -> None:
    """A jam blocks one way only."""
    curtain = Curtain(open_s=100.0, backlash_percent=0.0, drawn_percent=40.0)
    curtain.jam_at_percent = 40.0
    curtain.advance(10.0, Direction.DRAW)
    assert curtain.drawn_percent == 40.0
    curtain.jam_at_percent = 40.5

    curtain.advance(10.0, Direction.OPEN)

    assert curtain.drawn_percent == pytest.approx(30.0)


def test_a_welded_relay_runs_on_to_the_limit_switch() -> None:
    """A stop does not stop a welded contact, but the hard-wired limit does."""
    curtain = Curtain(draw_s=100.0, backlash_percent=0.0)
    board = RelayBoard(curtain)
    draw(board, run_s=10.0)
    board.welded = Direction.DRAW

    board.advance(10.0)
    board.command(Direction.REST, run_s=0.0, now_ms=0, not_after_ms=LATER_MS)
    board.advance(30.0)
    assert curtain.drawn_percent == pytest.approx(40.0)
    assert board.report().moving is Direction.REST
    board.advance(600.0)

    assert (curtain.drawn_percent, curtain.tripped) == (100.0, False)


def test_a_welded_relay_stands_still_while_its_opposite_is_called() -> None:
    """The interlock lets neither direction through when both contacts are closed."""
    curtain = Curtain(draw_s=100.0, open_s=100.0, backlash_percent=0.0, drawn_percent=50.0)
    board = RelayBoard(curtain, reversal_pause_s=0.0)
    board.welded = Direction.DRAW
    board.command(Direction.OPEN, run_s=10.0, now_ms=0, not_after_ms=LATER_MS)

    board.advance(10.0)

    assert curtain.drawn_percent == pytest.approx(50.0)


def test_a_dead_limit_switch_ends_in_a_stall() -> None:
    """Without its limit switch the bar meets the end stop and the overload trips."""
    curtain = Curtain(draw_s=100.0, backlash_percent=0.0, drawn_percent=90.0)
    curtain.drawn_limit_works = False
    board = RelayBoard(curtain)
    draw(board)

    board.advance(100.0)

    assert (curtain.drawn_percent, curtain.tripped, board.report().at_drawn_limit) == (100.0, True, False)


def test_wear_slows_the_travel_and_slip_shifts_the_feedback() -> None:
    """Every start adds a little time; every reversal a little error, until a limit is touched."""
    curtain = Curtain(draw_s=100.0, open_s=100.0, backlash_percent=0.0, drawn_percent=50.0)
    curtain.slowing_per_move, curtain.slip_percent_per_reversal = 0.01, 0.5
    feedback = Feedback()

    curtain.advance(10.1, Direction.DRAW)
    assert curtain.drawn_percent == pytest.approx(60.0)
    assert feedback.read(curtain.shaft_percent) == 60.5
    curtain.advance(200.0, Direction.DRAW)

    assert feedback.read(curtain.shaft_percent) == 100.0


@given(st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_a_target_board_arrives(start: float, target: float) -> None:
    """With sound feedback the bar ends within the play and the nearness of any target."""
    curtain = Curtain(drawn_percent=start)
    board = TargetBoard(curtain)

    assert board.command(target, now_ms=0, not_after_ms=LATER_MS) is None
    board.advance(600.0)

    assert abs(curtain.drawn_percent - target) <= 0.2 + 0.55 + 1e-6
    assert not board.report().timed_out


def test_wrong_feedback_stops_a_target_board_in_the_wrong_place() -> None:
    """The board believes its feedback; the curtain does not."""
    curtain = Curtain(backlash_percent=0.0)
    board = TargetBoard(curtain, feedback=Feedback(offset_percent=12.0))
    board.command(50.0, now_ms=0, not_after_ms=LATER_MS)

    board.advance(600.0)

    assert board.report().drawn_percent == 50.0
    assert curtain.drawn_percent == pytest.approx(38.0)


def test_frozen_feedback_runs_into_the_limit() -> None:
    """A frozen feedback never shows the target: the limit switch ends the run."""
    curtain = Curtain()
    board = TargetBoard(curtain)
    assert board.feedback is not None
    board.feedback.frozen_at_percent = 10.0
    board.command(50.0, now_ms=0, not_after_ms=LATER_MS)

    board.advance(600.0)

    assert (board.report().drawn_percent, curtain.drawn_percent) == (10.0, 100.0)


def test_a_slow_target_board_times_out() -> None:
    """A board whose travel has grown past its timer says so and stands still."""
    curtain = Curtain(draw_s=180.0)
    curtain.slowness = 2.0
    board = TargetBoard(curtain, longest_run_s=270.0)
    board.command(100.0, now_ms=0, not_after_ms=LATER_MS)

    board.advance(3600.0)

    assert board.report().timed_out
    assert curtain.drawn_percent == pytest.approx(100.0 * 270.0 / 360.0, abs=0.3)


def test_power_loss_forgets_the_run() -> None:
    """After power returns the board rests until it is told again."""
    curtain = Curtain(draw_s=100.0, backlash_percent=0.0)
    board = TargetBoard(curtain)
    board.command(100.0, now_ms=0, not_after_ms=LATER_MS)
    board.advance(10.0)

    board.lose_power()
    board.advance(10.0)
    refused = board.command(0.0, now_ms=0, not_after_ms=LATER_MS)
    board.restore_power()
    board.advance(60.0)

    assert refused is Refusal.NO_POWER
    assert curtain.drawn_percent == pytest.approx(10.0)


ACTION = st.tuples(
    st.sampled_from(
        ["draw", "open", "stop", "wait", "local", "remote", "off", "weld", "jam", "free", "reset"]
    ),
    st.floats(0.01, 400.0),
    st.integers(0, 100),
)


def act(board: RelayBoard | TargetBoard, action: str, percent: int) -> None:
    """Do one thing to a board."""
    curtain = board.curtain
    match action:
        case "draw" | "open" | "stop" if isinstance(board, RelayBoard):
            way = {"draw": Direction.DRAW, "open": Direction.OPEN, "stop": Direction.REST}[action]
            board.command(way, run_s=3.0 * percent, now_ms=0, not_after_ms=LATER_MS)
        case "draw" | "open" if isinstance(board, TargetBoard):
            board.command(percent, now_ms=0, not_after_ms=LATER_MS)
        case "stop" if isinstance(board, TargetBoard):
            board.stop()
        case "local":
            board.turn_selector(Selector.LOCAL, Direction.DRAW if percent > 50 else Direction.OPEN)
        case "remote" | "off":
            board.turn_selector(Selector[action.upper()])
        case "weld":
            board.welded = (Direction.REST, Direction.DRAW, Direction.OPEN)[percent % 3]
        case "jam":
            curtain.jam_at_percent = percent
        case "free":
            curtain.jam_at_percent = None
        case "reset":
            curtain.reset()
        case _:
            pass


@given(st.lists(ACTION, max_size=25))
def test_whatever_is_done_a_relay_board_moves_the_same_in_any_steps(
    actions: list[tuple[str, float, int]],
) -> None:
    """Through any story of commands and faults two boards stepped differently keep together, within 0 to 100 %."""
    boards = (RelayBoard(Curtain()), RelayBoard(Curtain()))
    for action, seconds, percent in actions:
        for board, parts in zip(boards, (1, 7), strict=True):
            act(board, action, percent)
            for _ in range(parts):
                board.advance(seconds / parts)
            assert 0.0 <= board.curtain.drawn_percent <= 100.0
            assert board.seconds_until_change() >= 0.0
        one, two = (board.curtain.drawn_percent for board in boards)
        assert one == pytest.approx(two, abs=1e-6)


@given(st.lists(ACTION, max_size=25), st.floats(0.5, 1.5), st.floats(-20.0, 20.0))
def test_whatever_is_done_a_target_board_stays_on_its_rails(
    actions: list[tuple[str, float, int]], gain: float, offset: float
) -> None:
    """Through any story, with feedback as wrong as can be, every step ends, and no run outlasts the timer.

    Steps of another size may differ here: the feedback is in tenths, and a hair decides which tenth is seen.
    """
    board = TargetBoard(Curtain(), feedback=Feedback(gain=gain, offset_percent=offset))
    for action, seconds, percent in actions:
        act(board, action, percent)
        board.advance(seconds)
        assert 0.0 <= board.curtain.drawn_percent <= 100.0
        assert board.seconds_until_change() >= 0.0
    if board.selector is Selector.REMOTE:
        board.advance(board.longest_run_s + 1.0)
        assert board.report().moving is Direction.REST
