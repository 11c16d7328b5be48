"""The motor's board as the daemon has it: commands go there after a while, reports come back.

A board reports when it has been told something, every few seconds while its motor runs, and now and then while
it rests.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.vocabulary import CurtainReported, Limit, MoveCurtain, Selector
from simulators.boards import Report
from simulators.motor import Direction
from simulators.world import World

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

REPORT_RUNNING_MS: Final = 10_000
"""The board reports this often while the motor runs. [ms]"""

BOARD_LAG_MS: Final = 300
"""A command needs this long to the board, a report as long back. [ms]"""


class BoardWire:
    """What goes between the daemon and the board of a world.

    Attributes
    ----------
    reporting : bool
        The motor runs, and the board goes on reporting.
    """

    def __init__(self, world: World, now_ms: int) -> None:
        self.reporting = False
        self._world = world
        self._board_ms = now_ms
        self._last_command: str | None = None

    def advance(self, to_ms: int) -> None:
        """Let the board's time pass up to an instant [ms]."""
        if to_ms > self._board_ms:
            self._world.board.advance((to_ms - self._board_ms) / 1000.0)
            self._board_ms = to_ms

    def send(self, run: Clockwork, move: MoveCurtain) -> None:
        """Send a command; the board has it after its lag, if the way is open then."""
        run.later(run.now_utc_ms + BOARD_LAG_MS, lambda: self._command(run, move))

    def _command(self, run: Clockwork, move: MoveCurtain) -> None:
        """Let the board have a command."""
        if run.link.board_down:
            return
        now = run.now_utc_ms
        self.advance(now)
        self._last_command = move.effect_id
        run.world.command(
            move.run.value,
            move.drawn_percent,
            move.run_at_most_ms / 1000.0,
            now_ms=now + run.clocks.utc_error_ms,
            not_after_ms=move.not_after_utc_ms,
        )
        self.report(run)

    def report(self, run: Clockwork) -> None:
        """Let the board report, and go on reporting while the motor runs."""
        self.advance(run.now_utc_ms)
        board = self._world.board
        if not board.powered or run.link.board_down or run.link.down:
            self.reporting = False
            return
        report = board.report()
        self.reporting = report.moving is not Direction.REST
        run.turn(to_event(run.curtain, report, self._last_command))
        if self.reporting:
            wait = round(min(REPORT_RUNNING_MS, board.seconds_until_change() * 1000.0 + 50.0))
            run.later(run.now_utc_ms + wait, lambda: self.report(run))


def to_event(curtain: str, report: Report, command_id: str | None = None) -> CurtainReported:
    """Write a board's report in the daemon's words."""
    if report.at_open_limit and report.at_drawn_limit:
        limit = Limit.BOTH
    elif report.at_drawn_limit:
        limit = Limit.DRAWN
    else:
        limit = Limit.OPEN if report.at_open_limit else Limit.NONE
    moving = report.moving is not Direction.REST
    drawn = None if report.drawn_percent is None else min(100.0, max(0.0, report.drawn_percent))
    return CurtainReported(curtain, drawn, moving, limit, Selector(report.selector.value), command_id)
