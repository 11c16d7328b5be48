"""The curtain's mechanism: a motor, a drive train with play, limit switches, and a feedback that may lie.

The leading bar is pushed by a motor through a drive train. Limit switches sit on the bar and cut the motor in
hardware; the position feedback sits on the motor's shaft and is only as good as the drive train.
"""

import math
from dataclasses import dataclass, field
from enum import Enum


class Direction(Enum):
    """What the motor is told."""

    REST = 0
    DRAW = 1
    OPEN = -1


@dataclass(slots=True, kw_only=True)
class Curtain:
    """The mechanism: travel times, play, limit switches, and what can go wrong with them.

    Parameters
    ----------
    draw_s, open_s : float
        Full travel time in each direction, above 0. [s]
    backlash_percent : float
        Play between shaft and bar, at least 0. [% of travel]
    drawn_percent : float
        Where the bar stands at first, 0 to 100. [%]
    slip_percent_per_reversal : float
        How far the shaft creeps ahead of the bar at every reversal; touching a limit switch undoes it. [%]
    slowing_per_move : float
        Relative growth of the travel time at every start (wear, friction). [1]
    overload_s : float
        A stalled motor trips its thermal overload after this long. [s]

    Attributes
    ----------
    drawn_percent : float
        True position of the bar. [%]
    jam_at_percent : float | None
        The bar cannot pass here, from either side. Settable. [%]
    slowness : float
        Factor on the travel times, 1 when new. Settable. [1]
    drawn_limit_works, open_limit_works : bool
        A dead limit switch neither reports nor cuts; the bar then stalls on its end stop. Settable.
    drawn_limit_stuck, open_limit_stuck : bool
        A stuck limit switch reports and cuts wherever the bar stands. Settable.
    tripped : bool
        The overload is open. `reset` closes it.
    motor_s, starts : float, int
        Running time and number of starts so far.
    """

    draw_s: float = 180.0
    open_s: float = 170.0
    backlash_percent: float = 0.4
    drawn_percent: float = 0.0
    slip_percent_per_reversal: float = 0.0
    slowing_per_move: float = 0.0
    overload_s: float = 20.0
    jam_at_percent: float | None = None
    slowness: float = 1.0
    drawn_limit_works: bool = True
    open_limit_works: bool = True
    drawn_limit_stuck: bool = False
    open_limit_stuck: bool = False
    tripped: bool = field(default=False, init=False)
    motor_s: float = field(default=0.0, init=False)
    starts: int = field(default=0, init=False)
    _shaft: float = field(init=False)
    _slip: float = field(default=0.0, init=False)
    _stalled_s: float = field(default=0.0, init=False)
    _last: Direction = field(default=Direction.REST, init=False)

    def __post_init__(self) -> None:
        if self.draw_s <= 0 or self.open_s <= 0:
            raise ValueError("a travel time must be above 0 s")
        if self.backlash_percent < 0 or not 0 <= self.drawn_percent <= 100:
            raise ValueError("the backlash must be at least 0 %, the position within 0 to 100 %")
        self._shaft = self.drawn_percent

    @property
    def at_drawn_limit(self) -> bool:
        """Whether the switch at the drawn end is pressed and reports it."""
        return self.drawn_limit_stuck or (self.drawn_limit_works and self.drawn_percent >= 100.0)

    @property
    def at_open_limit(self) -> bool:
        """Whether the switch at the open end is pressed and reports it."""
        return self.open_limit_stuck or (self.open_limit_works and self.drawn_percent <= 0.0)

    @property
    def shaft_percent(self) -> float:
        """Position of the shaft, where the feedback sits: the bar's, plus play and slip [%]."""
        return self._shaft + self._slip

    def reset(self) -> None:
        """Close the thermal overload, as a person does by hand."""
        self.tripped = False
        self._stalled_s = 0.0

    def seconds_to_stop(self, direction: Direction) -> float:
        """Time until the bar meets a limit or a jam; infinite at rest [s]."""
        if direction is Direction.REST or self.tripped:
            return math.inf
        return self._way_left(direction) / self._rate(direction)

    def seconds_to_shaft(self, shaft_percent: float, direction: Direction) -> float:
        """Time until the shaft passes a position in this direction; infinite if it lies behind [s]."""
        if direction is Direction.REST or self.tripped:
            return math.inf
        way = (shaft_percent - self.shaft_percent) * direction.value
        return way / self._rate(direction) if way >= 0 else math.inf

    def advance(self, seconds: float, direction: Direction) -> None:
        """Let the motor run in one direction for a while [s]."""
        if direction is Direction.REST or self.tripped or self._cut(direction):
            self._stalled_s = 0.0
            self._last = Direction.REST if self.tripped else self._last
            return
        if direction is not self._last:
            self._start(direction)
        rate, end = self._rate(direction), self._end(direction)
        way = self._way_left(direction)
        # A hair short of the end is the end: rounding must not leave a way that no step can cover.
        moved = way if rate * seconds >= way - 1e-9 else rate * seconds
        self._shaft += direction.value * moved
        half = self.backlash_percent / 2
        pushed = min(max(self.drawn_percent, self._shaft - half), self._shaft + half)
        self.drawn_percent = min(100.0, max(0.0, pushed))
        running_s = moved / rate
        if moved >= way:
            self._arrive(direction, end)
            if not self._cut(direction):
                self._stalled_s += seconds - running_s
                self.tripped = self._stalled_s >= self.overload_s
                running_s = seconds
        self.motor_s += running_s

    def rest(self) -> None:
        """Note that the motor was switched off, so that the next run counts as a start."""
        self._last = Direction.REST
        self._stalled_s = 0.0

    def _rate(self, direction: Direction) -> float:
        return 100.0 / ((self.draw_s if direction is Direction.DRAW else self.open_s) * self.slowness)

    def _cut(self, direction: Direction) -> bool:
        return self.at_drawn_limit if direction is Direction.DRAW else self.at_open_limit

    def _end(self, direction: Direction) -> float:
        """Where the bar must stop in this direction: a jam in its way, or the end [%]."""
        end, jam = (100.0 if direction is Direction.DRAW else 0.0), self.jam_at_percent
        if jam is not None and (jam - self.drawn_percent) * direction.value >= -1e-9:
            return jam
        return end

    def _way_left(self, direction: Direction) -> float:
        """Way of the shaft to the bar's end [%]; what is less than rounding, or cut by a limit switch, is none."""
        far = self._end(direction) + direction.value * self.backlash_percent / 2
        way = (far - self._shaft) * direction.value
        return 0.0 if way < 1e-9 or self._cut(direction) else way

    def _start(self, direction: Direction) -> None:
        self.starts += 1
        self.slowness *= 1.0 + self.slowing_per_move
        self._slip += direction.value * self.slip_percent_per_reversal
        self._stalled_s = 0.0
        self._last = direction

    def _arrive(self, direction: Direction, end: float) -> None:
        """Settle the bar exactly on its end, free of rounding; a limit re-references the shaft."""
        self.drawn_percent = end
        self._shaft = end + direction.value * self.backlash_percent / 2
        if self._cut(direction):
            self._slip = 0.0


class Feedback:
    """Position feedback on the shaft, and the ways it lies.

    Attributes
    ----------
    offset_percent, gain : float
        Reported = gain x shaft + offset. Settable. [%], [1]
    frozen_at_percent : float | None
        Always report this. Settable. [%]
    dead : bool
        Report nothing. Settable.
    """

    __slots__ = ("dead", "frozen_at_percent", "gain", "offset_percent")

    def __init__(self, *, offset_percent: float = 0.0, gain: float = 1.0) -> None:
        self.offset_percent = offset_percent
        self.gain = gain
        self.frozen_at_percent: float | None = None
        self.dead = False

    def read(self, shaft_percent: float) -> float | None:
        """Show what the board sees, in tenths [%]."""
        if self.dead:
            return None
        if self.frozen_at_percent is not None:
            return self.frozen_at_percent
        return round(self.gain * shaft_percent + self.offset_percent, 1)

    def shaft_where_reads(self, drawn_percent: float) -> float | None:
        """Where the shaft must be for the board to see a position; None if it can never see it [%]."""
        if self.dead or self.frozen_at_percent is not None or self.gain <= 0:
            return None
        return (drawn_percent - self.offset_percent) / self.gain
