"""The two kinds of board that drive the curtain's motor.

A board obeys its selector before any command, refuses what has expired, and lets go by itself when a bounded
run has passed. Between two calls of `advance` the motion is integrated exactly: one call of 60 s and sixty
calls of 1 s end at the same place.
"""

import math
from enum import Enum
from typing import NamedTuple

from simulators.motor import Curtain, Direction, Feedback


class Selector(Enum):
    """The switch on the wall. Off and local always win over a command."""

    REMOTE = "remote"
    LOCAL = "local"
    OFF = "off"


class Refusal(Enum):
    """Why a board did not take a command."""

    EXPIRED = "expired"
    NOT_REMOTE = "not remote"
    UNBOUNDED = "unbounded"
    OUT_OF_RANGE = "out of range"
    NO_POWER = "no power"


class Report(NamedTuple):
    """What a board says about itself.

    Attributes
    ----------
    drawn_percent : float | None
        Position by the feedback, 0 open to 100 drawn, possibly wrong; None where there is no feedback. [%]
    moving : Direction
        Which relay is commanded on. A welded contact does not show here.
    at_open_limit, at_drawn_limit : bool
        State of the limit switches.
    selector : Selector
        Position of the wall switch.
    tripped : bool
        The motor's thermal overload has opened; a person must reset it.
    timed_out : bool
        The last run ended by the board's timer before its target was reached.
    """

    drawn_percent: float | None
    moving: Direction
    at_open_limit: bool
    at_drawn_limit: bool
    selector: Selector
    tripped: bool
    timed_out: bool


class _Board:
    """What both boards share: power, selector, interlock with a pause, the let-go timer, a welded contact."""

    def __init__(
        self, curtain: Curtain, *, feedback: Feedback | None, reversal_pause_s: float, longest_run_s: float
    ) -> None:
        self.curtain = curtain
        self.feedback = feedback
        self.reversal_pause_s = reversal_pause_s
        self.longest_run_s = longest_run_s
        self.selector = Selector.REMOTE
        self.hand = Direction.REST
        self.welded = Direction.REST
        self.powered = True
        self.timed_out = False
        self._relay = Direction.REST
        self._last_run = Direction.REST
        self._rested_s = math.inf
        self._let_go_s = 0.0

    @property
    def rested_s(self) -> float:
        """How long no contact has been closed; infinite before the first run [s]."""
        return self._rested_s

    @property
    def last_run(self) -> Direction:
        """Which way a contact last drove the motor; rest before the first run."""
        return self._last_run

    def report(self) -> Report:
        """Say what the board would publish now."""
        curtain = self.curtain
        return Report(
            None if self.feedback is None else self.feedback.read(curtain.shaft_percent),
            self._wanted(),
            curtain.at_open_limit,
            curtain.at_drawn_limit,
            self.selector,
            curtain.tripped,
            self.timed_out,
        )

    def seconds_until_change(self) -> float:
        """Time until the board does something of its own accord; infinite when idle [s]."""
        wanted = self._wanted()
        if wanted is Direction.REST:
            return math.inf
        return max(0.0, min(self._let_go_left(), self._pause_left(wanted) + self._run_left(wanted)))

    def advance(self, seconds: float) -> None:
        """Let time pass, stopping and starting the motor at the exact instants within [s]."""
        while seconds > 0.0:
            wanted = self._wanted()
            if wanted is Direction.REST and self.welded is Direction.REST:
                self._pass(seconds, Direction.REST)
                return
            pause = self._pause_left(wanted)
            span = min(seconds, self._let_go_left() if wanted is not Direction.REST else math.inf)
            contact = wanted if pause <= 0.0 else Direction.REST
            span = min(span, pause if pause > 0.0 else self._run_left(wanted))
            # A welded contact drives on until the limit switch cuts it; with both contacts closed the
            # interlock lets neither through.
            if self.powered and self.welded is not Direction.REST:
                opposed = contact not in (Direction.REST, self.welded)
                contact = Direction.REST if opposed else self.welded
            self._pass(span, contact)
            seconds -= span
            if wanted is not Direction.REST and self.selector is Selector.REMOTE:
                self._let_go_s -= span
                self._settle(wanted)

    def _pass(self, seconds: float, contact: Direction) -> None:
        if contact is Direction.REST:
            self._rested_s += seconds
            self.curtain.rest()
        else:
            self._last_run = contact
            self._rested_s = 0.0
            self.curtain.advance(seconds, contact)

    def _wanted(self) -> Direction:
        if not self.powered or self.selector is Selector.OFF:
            return Direction.REST
        return self.hand if self.selector is Selector.LOCAL else self._relay

    def _pause_left(self, wanted: Direction) -> float:
        if wanted is self._last_run or self._last_run is Direction.REST or wanted is Direction.REST:
            return 0.0
        return max(0.0, self.reversal_pause_s - self._rested_s)

    def _let_go_left(self) -> float:
        return self._let_go_s if self.selector is Selector.REMOTE else math.inf

    def _run_left(self, wanted: Direction) -> float:
        """Time until the run meets its own end, here the limit; infinite at the end itself [s]."""
        left = self.curtain.seconds_to_stop(wanted)
        return left if left > 0.0 else math.inf

    def _settle(self, wanted: Direction) -> None:
        """Drop the relay when the bar has met its limit or the timer has run out."""
        curtain = self.curtain
        if curtain.at_drawn_limit if wanted is Direction.DRAW else curtain.at_open_limit:
            self._relay = Direction.REST
        elif self._let_go_s <= 0.0:
            self._relay = Direction.REST
            self.timed_out = True

    def _why_not(self, *, now_ms: int, not_after_ms: int) -> Refusal | None:
        if not self.powered:
            return Refusal.NO_POWER
        if self.selector is not Selector.REMOTE:
            return Refusal.NOT_REMOTE
        return Refusal.EXPIRED if now_ms > not_after_ms else None

    def lose_power(self) -> None:
        """Drop every relay and forget the running command."""
        self.powered = False
        self._relay = Direction.REST

    def restore_power(self) -> None:
        """Power the board again; it stays at rest until told."""
        self.powered = True

    def turn_selector(self, selector: Selector, hand: Direction = Direction.REST) -> None:
        """Turn the wall switch, and hold its button; a running command is forgotten."""
        self.selector = selector
        self.hand = hand
        self._relay = Direction.REST


class RelayBoard(_Board):
    """A pair of interlocked relays: draw, open or stop, for a bounded time.

    Parameters
    ----------
    curtain : Curtain
        What it moves.
    feedback : Feedback | None
        Position feedback, where there is any.
    reversal_pause_s : float
        The interlock's pause between opposite directions. [s]
    longest_run_s : float
        A run command for longer than this is refused. [s]
    """

    def __init__(
        self,
        curtain: Curtain,
        *,
        feedback: Feedback | None = None,
        reversal_pause_s: float = 2.0,
        longest_run_s: float = 600.0,
    ) -> None:
        super().__init__(
            curtain, feedback=feedback, reversal_pause_s=reversal_pause_s, longest_run_s=longest_run_s
        )

    def command(
        self, direction: Direction, *, run_s: float, now_ms: int, not_after_ms: int
    ) -> Refusal | None:
        """Take a command, or say why not. A stop is always taken while the board has power.

        Parameters
        ----------
        direction : Direction
            Draw, open, or rest for stop.
        run_s : float
            Let go after this time, above 0; not looked at for a stop. [s]
        now_ms, not_after_ms : int
            The board's clock, and the last instant the command is good for. [ms]
        """
        if direction is Direction.REST:
            self._relay = Direction.REST
            return None if self.powered else Refusal.NO_POWER
        refusal = self._why_not(now_ms=now_ms, not_after_ms=not_after_ms)
        if refusal is not None:
            return refusal
        if not 0.0 < run_s <= self.longest_run_s:
            return Refusal.UNBOUNDED
        curtain = self.curtain
        there = curtain.at_drawn_limit if direction is Direction.DRAW else curtain.at_open_limit
        self._relay = Direction.REST if there else direction
        self._let_go_s = run_s
        self.timed_out = False
        return None


class TargetBoard(_Board):
    """A board with its own positioner: takes a target and steers by its feedback.

    Fully open and fully drawn run to the limit switch; any other target stops where the feedback shows it.
    When the target is not met within `longest_run_s` the board lets go and reports that it timed out.

    Parameters
    ----------
    curtain : Curtain
        What it moves.
    feedback : Feedback | None
        Position feedback; a sound one when left out.
    reversal_pause_s : float
        The interlock's pause between opposite directions. [s]
    longest_run_s : float
        The let-go timer of every run. [s]
    near_percent : float
        A target this close to the feedback is taken as met. [%]
    """

    def __init__(
        self,
        curtain: Curtain,
        *,
        feedback: Feedback | None = None,
        reversal_pause_s: float = 2.0,
        longest_run_s: float = 270.0,
        near_percent: float = 0.5,
    ) -> None:
        own = Feedback() if feedback is None else feedback
        super().__init__(
            curtain, feedback=own, reversal_pause_s=reversal_pause_s, longest_run_s=longest_run_s
        )
        self.near_percent = near_percent
        self._feedback = own
        self._target = curtain.drawn_percent

    def command(self, drawn_percent: float, *, now_ms: int, not_after_ms: int) -> Refusal | None:
        """Take a target, or say why not.

        Parameters
        ----------
        drawn_percent : float
            Where to go, 0 open to 100 drawn. [%]
        now_ms, not_after_ms : int
            The board's clock, and the last instant the command is good for. [ms]
        """
        refusal = self._why_not(now_ms=now_ms, not_after_ms=not_after_ms)
        if refusal is not None:
            return refusal
        if not 0.0 <= drawn_percent <= 100.0:
            return Refusal.OUT_OF_RANGE
        self._target = drawn_percent
        self._let_go_s = self.longest_run_s
        self.timed_out = False
        self._relay = self._way_to_go()
        return None

    def stop(self) -> Refusal | None:
        """Stop where it is. Always taken while the board has power."""
        self._relay = Direction.REST
        return None if self.powered else Refusal.NO_POWER

    def _way_to_go(self) -> Direction:
        curtain = self.curtain
        if self._target >= 100.0:
            return Direction.REST if curtain.at_drawn_limit else Direction.DRAW
        if self._target <= 0.0:
            return Direction.REST if curtain.at_open_limit else Direction.OPEN
        seen = self._feedback.read(curtain.shaft_percent)
        if seen is None or abs(seen - self._target) <= self.near_percent:
            return Direction.REST
        return Direction.DRAW if seen < self._target else Direction.OPEN

    def _run_left(self, wanted: Direction) -> float:
        left = super()._run_left(wanted)
        if self.selector is Selector.REMOTE and 0.0 < self._target < 100.0:
            shaft = self._feedback.shaft_where_reads(self._target)
            if shaft is not None:
                left = min(left, self.curtain.seconds_to_shaft(shaft, wanted))
        return left

    def _settle(self, wanted: Direction) -> None:
        if 0.0 < self._target < 100.0:
            shaft = self._feedback.shaft_where_reads(self._target)
            if shaft is not None and (shaft - self.curtain.shaft_percent) * wanted.value <= 1e-9:
                self._relay = Direction.REST
                return
        super()._settle(wanted)
