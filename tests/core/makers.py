"""A good house in ten lines, and a clock to walk it through a story.

`House` holds a state and turns `step` as the engine does: time never goes back, and between two lines of a
story every deadline of the state is met with a `Woken`, so that a test reads like a diary.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

from controller.core.alarms.alarm import QUIET, Alarm
from controller.core.curtain.drive import Drive
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.plan.curtain import Curtain, HoldHeat, LightCeiling
from controller.core.plan.people import CallRules, CallStep, Person, Way
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Mounted, Sensor
from controller.core.plan.site import Site
from controller.core.remember import pack, unpack
from controller.core.sky.almanac import Almanac
from controller.core.state import State
from controller.core.step import first_state, step
from controller.core.units import MINUTE_MS, SECOND_MS, Quantity
from controller.core.vocabulary import (
    AlmanacArrived,
    CurtainReported,
    Effect,
    EffectDone,
    Event,
    Limit,
    MoveCurtain,
    Note,
    ReadingsTaken,
    Run,
    Sample,
    SendMessage,
    Stamp,
    Started,
    Woken,
)

NOON_UTC_MS: Final = 1_750_507_200_000
"""2025-06-21 12:00 UTC. [ms]"""

START_MS: Final = 7_000_000
"""House time at which the stories begin: an odd number, so that mixing up two clocks shows. [ms]"""

LIGHT, INSIDE, OUTSIDE, OXYGEN = "roof light", "house air", "outside air", "tank oxygen"

E = TypeVar("E")


def make_sensor(name: str, quantity: Quantity, unit: str, **changes: Any) -> Sensor:  # noqa: ANN401 - any key
    """Make a sensor that speaks every minute."""
    return Sensor(name=name, quantity=quantity, unit=unit, topic=f"t/{name.replace(' ', '-')}", **changes)


def make_curtain(**changes: Any) -> Curtain:  # noqa: ANN401 - any key
    """Make a curtain of 100 s travel with every rule on."""
    words: dict[str, Any] = {
        "name": "roof",
        "light_sensor": LIGHT,
        "inside_temperature": INSIDE,
        "outside_temperature": OUTSIDE,
        "command_topic": "c/roof/set",
        "report_topic": "c/roof",
        "travel_time_s": 100.0,
        "light_ceiling": LightCeiling(filter_min=0.0),
        "hold_heat": HoldHeat(),
    }
    return Curtain(**(words | changes))


def make_entry(name: str = "tank oxygen low", **changes: Any) -> AlarmEntry:  # noqa: ANN401 - any key
    """Make an emergency on the tank's oxygen, a minute of delay both ways."""
    words: dict[str, Any] = {
        "name": name,
        "kind": Kind.LOW,
        "sensor": OXYGEN,
        "limit": 5.0,
        "deadband": 0.5,
        "response": Response.EMERGENCY,
        "cause": "Air pump stopped.",
        "consequence": "Fish die.",
        "action": "Open the oxygen bottle",
        "time_to_respond_min": 40.0,
    }
    return AlarmEntry(**(words | changes))


def make_missing(name: str = "tank oxygen lost", **changes: Any) -> AlarmEntry:  # noqa: ANN401 - any key
    """Make the entry that says nobody knows the oxygen."""
    return make_entry(name, **({"kind": Kind.MISSING, "limit": None, "deadband": 0.0} | changes))


def make_doubtful(name: str = "tank oxygen doubted", **changes: Any) -> AlarmEntry:  # noqa: ANN401 - any key
    """Make the entry that only writes down that the oxygen cannot be trusted, such as a value that stands still."""
    words = {"kind": Kind.DOUBTFUL, "limit": None, "deadband": 0.0, "response": Response.NOTE}
    return make_entry(name, **(words | changes))


def make_person(name: str) -> Person:
    """Make a person with a mail address."""
    return Person(name=name, email=f"{name}@example.org")


def make_step(
    after_min: float,
    *people: str,
    response: Response = Response.EMERGENCY,
    ways: tuple[Way, ...] = (Way.EMAIL,),
) -> CallStep:
    """Make one step of the call list."""
    return CallStep(response=response, after_min=after_min, people=people, ways=ways)


def make_plan(**changes: Any) -> Plan:  # noqa: ANN401 - any key
    """Make a good house: four sensors, one curtain, three people, two alarms."""
    words: dict[str, Any] = {
        "site": Site(
            name="Kestrel Wharf",
            id="kestrel",
            latitude_deg=54.0,
            longitude_deg=-1.0,
            time_zone="Europe/London",
        ),
        "sensor": (
            make_sensor(LIGHT, Quantity.LIGHT, "W/m2", mounted=Mounted.OUTSIDE),
            make_sensor(INSIDE, Quantity.TEMPERATURE, "C"),
            make_sensor(OUTSIDE, Quantity.TEMPERATURE, "C"),
            make_sensor(OXYGEN, Quantity.OXYGEN, "mg/L", place="tank 1"),
        ),
        "curtain": (make_curtain(),),
        "alarm": (make_entry(), make_missing()),
        "person": tuple(make_person(name) for name in ("keeper", "deputy", "porter")),
        "call": (
            make_step(0, "keeper"),
            make_step(5, "deputy"),
            make_step(15, "porter"),
            make_step(0, "keeper", response=Response.TODAY),
        ),
        "call_rules": CallRules(),
    }
    return Plan(**(words | changes))


def make_sky(sun_deg: float, clear_w_m2: float = 0.0, days: int = 3) -> Almanac:
    """Make a table of a sun that stands still, from a day before noon on."""
    minutes = days * 1440
    return Almanac(
        NOON_UTC_MS - 1440 * MINUTE_MS,
        array("h", [round(sun_deg * 100)]) * minutes,
        array("H", [round(clear_w_m2)]) * minutes,
    )


@dataclass
class House:
    """A state on its way through a story. `effects` are those of the last line."""

    plan: Plan = field(default_factory=make_plan)
    start: bool = True
    now: int = START_MS
    utc_ms: int = NOON_UTC_MS
    utc_offset_min: int = 60
    utc_trusted: bool = True
    effects: list[Effect] = field(default_factory=list)
    turns: int = 0

    def __post_init__(self) -> None:
        """Begin with a start."""
        self.state: State = first_state(self.plan)
        if self.start:
            self.tell(Started())

    @property
    def stamp(self) -> Stamp:
        """All clocks, now."""
        return Stamp(self.now, self.utc_ms, self.utc_offset_min, self.utc_trusted)

    def turn(self, event: Event) -> tuple[Effect, ...]:
        """Take one turn and gather its effects."""
        self.state, effects = step(self.state, self.stamp, event)
        self.turns += 1
        self.effects.extend(effects)
        return effects

    def tell(self, *events: Event) -> House:
        """Let events happen now; only their effects are kept."""
        self.effects = []
        for event in events:
            self.turn(event)
        return self

    def read(self, **values: float) -> House:
        """Let sensors speak; an underscore stands for a space."""
        return self.tell(say(**values))

    def wait(
        self, minutes: float = 0.0, *, seconds: float = 0.0, speaking: dict[str, float] | None = None
    ) -> House:
        """Let time pass, meeting every deadline; sensors in `speaking` say their value every half minute."""
        self.effects = []
        end = self.now + round(minutes * MINUTE_MS + seconds * SECOND_MS)
        next_word = self.now + 30 * SECOND_MS
        while True:
            due = max(self.state.wake_ms, self.now)
            if speaking and next_word <= min(due, end):
                self.move_to(next_word)
                next_word += 30 * SECOND_MS
                self.turn(say(**speaking))
            elif due <= end:
                self.move_to(due)
                self.turn(Woken())
            else:
                break
        self.move_to(end)
        return self

    def until_move(self, speaking: dict[str, float], *, most_min: float = 60.0) -> House:
        """Let time pass until a run is asked for; the sensors speak all the while."""
        end = self.now + round(most_min * MINUTE_MS)
        while self.now < end:
            self.wait(seconds=5)
            if not self.moves:
                self.read(**speaking)
            if self.moves:
                return self
        raise AssertionError(f"no move within {most_min} min: {self.rule}, {self.drive}")

    def move_to(self, house_ms: int) -> None:
        """Move all clocks on together."""
        self.utc_ms += house_ms - self.now
        self.now = house_ms

    def restart(self, away_min: float = 0.0) -> House:
        """Lose everything but what is durable, stay away for a while, and start again."""
        self.state = first_state(self.state.plan, unpack(pack(self.state.durable)))
        self.move_to(self.now + round(away_min * MINUTE_MS))
        return self.tell(Started(round(away_min * MINUTE_MS)))

    def sky(self, sun_deg: float, clear_w_m2: float = 0.0) -> House:
        """Put the sun somewhere."""
        return self.tell(AlmanacArrived(make_sky(sun_deg, clear_w_m2)))

    def report(self, drawn_percent: float | None, *, moving: bool = False, **words: Any) -> House:  # noqa: ANN401
        """Let the board of the curtain speak, with its end switches true to the position."""
        limit = {0.0: Limit.OPEN, 100.0: Limit.DRAWN}.get(-1.0 if drawn_percent is None else drawn_percent)
        words.setdefault("limit", limit or Limit.NONE)
        return self.tell(CurtainReported("roof", drawn_percent, moving, **words))

    def obey(self) -> House:
        """Let the board carry out the run under way, in the time it takes, and report."""
        drive = self.drive
        begun = drive.drawn_percent if drive.drawn_percent is not None else 100.0 - drive.target_percent
        way = drive.target_percent - begun
        gathered: list[Effect] = []
        for share in (0.02, 0.25, 0.5, 0.75, 1.0):
            self.wait(seconds=abs(way) * (0.02 if share == 0.02 else 0.25 if share > 0.25 else 0.23))
            gathered.extend(self.effects)
            self.report(begun + way * share, moving=share < 1.0, command_id=drive.command_id)
            gathered.extend(self.effects)
        self.effects = gathered
        return self

    def accept(self) -> House:
        """Let the mail server accept every message of the last line."""
        return self.tell(*(EffectDone(message.effect_id) for message in self.messages))

    @property
    def drive(self) -> Drive:
        """The motor of the one curtain."""
        return self.state.durable.drives["roof"]

    def alarm(self, name: str = "tank oxygen low") -> Alarm:
        """Return what is remembered of an alarm."""
        return self.state.durable.alarms.get(name, QUIET)

    @property
    def rule(self) -> str:
        """The rule that has its way with the curtain."""
        return self.state.rules.get("roof", "")

    @property
    def moves(self) -> list[MoveCurtain]:
        """Runs the last line asked for."""
        return [move for move in gather(self.effects, MoveCurtain) if move.run is not Run.STOP]

    @property
    def stops(self) -> list[MoveCurtain]:
        """Stops the last line asked for."""
        return [move for move in gather(self.effects, MoveCurtain) if move.run is Run.STOP]

    @property
    def messages(self) -> list[SendMessage]:
        """Messages of the last line."""
        return gather(self.effects, SendMessage)

    @property
    def told(self) -> list[str]:
        """Whom the last line told, in order."""
        return [message.person for message in self.messages]

    @property
    def notes(self) -> list[str]:
        """Lines of the record."""
        return [f"{note.subject}: {note.rule}: {note.text}" for note in gather(self.effects, Note)]


def moves_while(house: House, minutes: int, speaking: dict[str, float]) -> list[float]:
    """Let the board obey for some minutes; return where it was sent."""
    goals: list[float] = []
    end = house.now + minutes * MINUTE_MS
    while house.now < end:
        house.wait(seconds=5)
        asked = list(house.moves)
        if not asked:
            house.read(**speaking)
            asked = list(house.moves)
        if asked:
            goals.append(asked[0].drawn_percent)
            house.obey()
    return goals


def say(**values: float) -> ReadingsTaken:
    """Make an event of sensors speaking; an underscore in a name stands for a space."""
    return ReadingsTaken(tuple(Sample(name.replace("_", " "), value) for name, value in values.items()))


def gather(effects: Iterable[Effect], kind: type[E]) -> list[E]:
    """Pick the effects of one kind."""
    return [effect for effect in effects if isinstance(effect, kind)]
