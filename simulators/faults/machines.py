"""Faults of machines: mains, pumps, heaters, water, and the curtain with its motor and board."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from typing import Any, Final

from simulators.boards import Selector, TargetBoard
from simulators.faults.kind import Cast, Kind, Mend
from simulators.motor import Curtain, Direction
from simulators.tank import Tank
from simulators.world import Plant

HOURS: Final = 60.0
MENDED_MS: Final = 5 * 60_000
"""Whoever has mended the motor lets it run again after this. [ms]"""


def _plant(key: str, value: float | bool) -> Callable[[Cast], Mend]:  # noqa: FBT001 - the value of a figure or a switch
    """Make a fault that sets one figure of the plant."""

    def begin(cast: Cast) -> Mend:
        plant = cast.run.world.plant
        setattr(plant, key, value)

        def mend() -> None:
            setattr(plant, key, _find_sound(Plant, key))

        return mend

    return begin


def _mains(cast: Cast) -> Mend:
    """Take the mains away: pumps, heater, vents, and the motor's board; the daemon has a battery."""
    run = cast.run
    run.world.plant.mains = False
    run.world.board.lose_power()

    def mend() -> None:
        run.world.plant.mains = True
        run.world.board.restore_power()
        run.report_now()

    return mend


def _find_sound(of: type[Curtain | Tank | Plant], key: str) -> Any:  # noqa: ANN401 - whatever the figure is
    """Return a figure as it is where nothing is broken: two faults at once may have set it, one after the other."""
    return next(field.default for field in fields(of) if field.name == key)


def _tank(key: str, value: float) -> Callable[[Cast], Mend]:
    """Make a fault of the first or second tank that sets one of its figures."""

    def begin(cast: Cast) -> Mend:
        where = cast.where or cast.dice.choice(("tank 1", "tank 2"))
        tank = cast.run.world.tanks[0 if where == "tank 1" else 1]
        setattr(tank, key, value)

        def mend() -> None:
            setattr(tank, key, _find_sound(Tank, key))

        return mend

    return begin


def _overfed(cast: Cast) -> Mend:
    """Let somebody give the fish a week's feed at once, before a holiday."""
    for tank in cast.run.world.tanks:
        tank.feed(tank.fish_kg * 30.0)
    return lambda: None


def _keeper_away(cast: Cast) -> Mend:
    """Let nobody feed, top up or dose."""
    cast.run.world.keeper_comes = False

    def mend() -> None:
        cast.run.world.keeper_comes = True

    return mend


def _curtain(key: str, value: float | bool) -> Callable[[Cast], Mend]:  # noqa: FBT001 - the value of a figure or a switch
    """Make a fault of the curtain's mechanism that sets one of its figures."""

    def begin(cast: Cast) -> Mend:
        run = cast.run
        setattr(run.world.curtain, key, value)

        def mend() -> None:
            setattr(run.world.curtain, key, _find_sound(Curtain, key))
            _let_run_again(cast)

        return mend

    return begin


def _both_ends(cast: Cast) -> Mend:
    """Let both end switches report at once, as water in a box does."""
    curtain = cast.run.world.curtain
    curtain.drawn_limit_stuck = curtain.open_limit_stuck = True
    cast.run.report_now()

    def mend() -> None:
        curtain.drawn_limit_stuck = curtain.open_limit_stuck = False
        _let_run_again(cast)

    return mend


def _let_run_again(cast: Cast) -> None:
    """Let somebody who has mended the motor say so when the tools are put away."""
    run = cast.run
    run.report_now()
    run.later(run.now_utc_ms + MENDED_MS, lambda: run.staff.look_at_curtain(run, "keeper"))


def _jam(cast: Cast) -> Mend:
    """Jam the curtain on its way."""
    run = cast.run
    run.world.curtain.jam_at_percent = float(cast.where) if cast.where else cast.dice.uniform(5.0, 95.0)

    def mend() -> None:
        run.world.curtain.jam_at_percent = None
        _let_run_again(cast)

    return mend


def _weld(cast: Cast) -> Mend:
    """Weld a relay's contact: the motor drives on whatever it is told, until its end switch."""
    board = cast.run.world.board
    way = cast.where or cast.dice.choice(("draw", "open"))
    board.welded = Direction.DRAW if way == "draw" else Direction.OPEN

    def mend() -> None:
        board.welded = Direction.REST
        _let_run_again(cast)

    return mend


def _feedback(kind: str) -> Callable[[Cast], Mend]:
    """Make a fault of the position feedback."""

    def begin(cast: Cast) -> Mend:
        board = cast.run.world.board
        if not isinstance(board, TargetBoard) or board.feedback is None:
            return lambda: None
        feedback = board.feedback
        match kind:
            case "frozen":
                feedback.frozen_at_percent = feedback.read(cast.run.world.curtain.shaft_percent)
            case "dead":
                feedback.dead = True
            case _:
                feedback.offset_percent = 12.0

        def mend() -> None:
            feedback.frozen_at_percent, feedback.dead, feedback.offset_percent = None, False, 0.0
            _let_run_again(cast)

        return mend

    return begin


def _board_silent(cast: Cast) -> Mend:
    """Take the board off the network."""
    run = cast.run
    run.link.board_down = True

    def mend() -> None:
        run.link.board_down = False
        _let_run_again(cast)

    return mend


def _board_dark(cast: Cast) -> Mend:
    """Take the board's power."""
    run = cast.run
    run.world.board.lose_power()

    def mend() -> None:
        run.world.board.restore_power()
        _let_run_again(cast)

    return mend


def _weather(key: str, value: float | bool) -> Callable[[Cast], Mend]:  # noqa: FBT001 - the value of a figure or a switch
    """Make weather that the sky of the run does not bring by itself."""

    def begin(cast: Cast) -> Mend:
        world = cast.run.world
        setattr(world, key, value)

        def mend() -> None:
            setattr(world, key, type(value)())

        return mend

    return begin


def _selector(cast: Cast) -> Mend:
    """Let somebody turn the switch at the motor to local, draw by hand, and leave it there."""
    run = cast.run
    off = cast.where == "off" or (not cast.where and cast.dice.random() < 0.3)
    hand = Direction.REST if off else cast.dice.choice((Direction.DRAW, Direction.OPEN))
    run.world.board.turn_selector(Selector.OFF if off else Selector.LOCAL, hand)
    run.report_now()

    def mend() -> None:
        run.world.board.turn_selector(Selector.REMOTE)
        run.report_now()

    return mend


KINDS: Final = (
    Kind("mains lost", "the power goes; daemon and network live from a battery", _mains, 1.0, 180.0),
    Kind("air pump stops", "the air pump stops", _plant("air_pump", False), 5.0, 180.0),
    Kind("vents stuck", "the vents stay as they are", _plant("vents", False), 60.0, 12 * HOURS, breaks=False),
    Kind("water pump stops", "the loop's pump stops", _plant("water_pump", False), 5.0, 240.0),
    Kind(
        "strainer clogs", "the strainer lets half the flow through", _plant("clogged", 0.5), 30.0, 12 * HOURS
    ),
    Kind(
        "air stones clog",
        "the stones let hardly any air through",
        _plant("aeration_per_h", 0.2),
        60.0,
        8 * HOURS,
    ),
    Kind("tank leaks", "a tank loses 40 L a minute", _tank("leak_l_min", 40.0), 10.0, 60.0),
    Kind("tank seeps", "a tank loses 2 L a minute", _tank("leak_l_min", 2.0), 60.0, 12 * HOURS),
    Kind("fish overfed", "the fish get a week's feed at once", _overfed, 10.0, 20.0),
    Kind("keeper away", "nobody feeds, tops up or doses", _keeper_away, 24 * HOURS, 72 * HOURS),
    Kind("curtain jams", "the curtain cannot pass a place", _jam, 60.0, 24 * HOURS),
    Kind(
        "motor slow", "the motor needs half as long again", _curtain("slowness", 1.5), 12 * HOURS, 48 * HOURS
    ),
    Kind(
        "drawn end switch dead",
        "the switch at the drawn end does nothing",
        _curtain("drawn_limit_works", False),
    ),
    Kind(
        "open end switch dead", "the switch at the open end does nothing", _curtain("open_limit_works", False)
    ),
    Kind("drawn end switch stuck", "the drawn end is reported for ever", _curtain("drawn_limit_stuck", True)),
    Kind("open end switch stuck", "the open end is reported for ever", _curtain("open_limit_stuck", True)),
    Kind("both end switches", "both ends are reported at once", _both_ends),
    Kind("relay welded", "the motor drives on whatever it is told", _weld, 30.0, 12 * HOURS),
    Kind("feedback frozen", "the position shown stands still", _feedback("frozen"), 60.0, 24 * HOURS),
    Kind("feedback dead", "no position is shown", _feedback("dead"), 60.0, 24 * HOURS),
    Kind("feedback off", "the position shown is 12 % too high", _feedback("off"), 60.0, 24 * HOURS),
    Kind("board silent", "the motor's board is off the network", _board_silent, 10.0, 12 * HOURS),
    Kind("board without power", "the motor's board has no power", _board_dark, 10.0, 12 * HOURS),
    Kind("storm", "it blows a gale", _weather("gale_m_s", 20.0), 30.0, 12 * HOURS, breaks=False),
    Kind("snow", "it snows", _weather("snows", True), 30.0, 12 * HOURS, breaks=False),
    Kind("selector turned", "somebody works the curtain by hand", _selector, 10.0, 12 * HOURS),
)
"""What can go wrong with machines."""
