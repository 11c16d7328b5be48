"""A witness: writes down what the daemon did and where the curtain stood, for expectations and for plots."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from controller.core.vocabulary import (
    Effect,
    Event,
    Ledger,
    MoveCurtain,
    Note,
    PayloadRefused,
    Run,
    SendMessage,
    Stamp,
    Started,
)

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork


class Seen(NamedTuple):
    """Something that happened: at which minute of the run, about what, and in which words [min]."""

    at_min: float
    about: str
    text: str


class Minute(NamedTuple):
    """How a minute ended: light outside [W/m2], air, outside and water [C], oxygen [mg/L], curtain [%]."""

    light_w_m2: float
    inside_c: float
    outside_c: float
    water_c: float
    oxygen_mg_l: float
    drawn_percent: float


class Witness:
    """Writes down alarms that begin and end, calls, moves, rules, refusals and starts, and every minute."""

    def __init__(self) -> None:
        self.minutes: list[Minute] = []
        self.alarms: list[Seen] = []
        self.overs: list[Seen] = []
        self.calls: list[Seen] = []
        self.answers: list[Seen] = []
        self.moves: list[Seen] = []
        self.rules: list[Seen] = []
        self.refusals: list[Seen] = []
        self.starts: list[Seen] = []
        self.faults: list[tuple[float, tuple[str, ...]]] = []

    def turn(self, run: Clockwork, stamp: Stamp, event: Event, effects: tuple[Effect, ...]) -> None:
        """Write down a turn."""
        del stamp
        if not effects and not isinstance(event, PayloadRefused):
            return
        at = (run.now_utc_ms - run.start_utc_ms) / 60_000.0
        if isinstance(event, PayloadRefused):
            self.refusals.append(Seen(at, event.source, event.reason))
        elif isinstance(event, Started):
            self.starts.append(Seen(at, "daemon", "started"))
        for effect in effects:
            match effect:
                case Note():
                    self._read(effect, at)
                case SendMessage():
                    self.calls.append(
                        Seen(at, effect.thread.rpartition("/")[0], f"{effect.person}: {effect.text}")
                    )
                case MoveCurtain() if effect.run is not Run.STOP:
                    self.moves.append(Seen(at, effect.curtain, f"{effect.drawn_percent:.0f}"))
                case _:
                    pass

    def _read(self, note: Note, at: float) -> None:
        """Write down a note of the daemon."""
        if note.ledger is Ledger.ALARM and note.rule == "unacknowledged":
            self.alarms.append(Seen(at, note.subject, note.text))
        elif note.ledger is Ledger.ALARM and note.rule in {"normal", "returned unacknowledged"}:
            self.overs.append(Seen(at, note.subject, note.text))
        elif note.ledger is Ledger.CALL and note.rule == "answered":
            self.answers.append(Seen(at, note.subject, note.text))
        elif note.ledger is Ledger.CURTAIN:
            self.rules.append(Seen(at, note.rule, note.text))

    def handed(self, run: Clockwork, stamp: Stamp, effect: Effect) -> None:
        """See an effect reach the world."""

    def died(self, run: Clockwork, stamp: Stamp, event: Event) -> None:
        """See the daemon lose its power: what was committed has happened."""
        self.turn(run, stamp, event, run.memory.committed)

    def minute(self, run: Clockwork) -> None:
        """Write down how a minute ended."""
        world = run.world
        self.minutes.append(
            Minute(
                world.weather.global_w_m2,
                world.house.air_c,
                world.weather.outdoor_c,
                min(tank.water_c for tank in world.tanks),
                min(tank.oxygen_mg_l for tank in world.tanks),
                world.curtain.drawn_percent,
            )
        )
        troubles = tuple(run.troubles)
        if troubles != (self.faults[-1][1] if self.faults else ()):
            self.faults.append((len(self.minutes), troubles))
