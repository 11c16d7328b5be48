"""What the waters' outlook is, for whoever asks: the words of a call, the status, a person at the command line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from controller.core.curtain.drive import Drive
from controller.core.plan.alarm import AlarmEntry, Kind
from controller.core.roll import Roll
from controller.core.signals.sense import Sense
from controller.core.state import State, Tended
from controller.core.water.diagnosis import Around, Finding, diagnose
from controller.core.water.mirror import Comparison, compare
from controller.core.water.outlook import Matter, Outlook, Scene, find_sensor, foresee

SUPPORT = frozenset({Matter.OXYGEN, Matter.PH, Matter.TEMPERATURE, Matter.AMMONIA})
"""What is in danger when air, flow or heat is lost; a level has its own sensor."""

LIMITS = frozenset({Kind.HIGH, Kind.LOW, Kind.RATE})


@dataclass(frozen=True, slots=True)
class Foresight:
    """Everything an outlook hangs on, whether of a state or of a turn that is under way."""

    roll: Roll
    senses: Mapping[str, Sense]
    tended: Tended
    drives: Mapping[str, Drive]
    doubts: Mapping[str, str]

    @property
    def scene(self) -> Scene:
        """What the waters are judged from."""
        return Scene(self.senses, self.tended.traces, self.doubts, self.roll.harms)


def see_state(state: State) -> Foresight:
    """Gather from a state everything an outlook hangs on."""
    durable = state.durable
    return Foresight(state.roll, state.senses, state.tended, durable.drives, durable.doubts)


def foresee_waters(sight: Foresight) -> tuple[Outlook, ...]:
    """Judge every matter of every body of water."""
    scene = sight.scene
    return tuple(outlook for water in sight.roll.waters.values() for outlook in foresee(water, scene))


def foresee_alarm(sight: Foresight, entry: AlarmEntry) -> Outlook | None:
    """Return the soonest harm that an alarm stands for; None where nothing is known of it.

    An alarm on a reading stands for that reading's own matter; one on a switch or the flow for all that hangs
    on it.
    """
    scene = sight.scene
    found: list[Outlook] = []
    for name in sight.roll.waters_of_sensor.get(entry.sensor, ()):
        water = sight.roll.waters[name]
        shown = {find_sensor(water, matter): matter for matter in Matter}
        if entry.sensor in shown:
            wanted = {shown[entry.sensor]}
        elif entry.sensor in {*water.air, water.flow, water.heater} and entry.kind in LIMITS | {Kind.SWITCH}:
            wanted = set(SUPPORT)
        else:
            wanted = set[Matter]()
        if wanted:
            found.extend(outlook for outlook in foresee(water, scene) if outlook.matter in wanted)
    if entry.kind in {Kind.MISSING, Kind.DOUBTFUL}:
        # Of what cannot be seen nothing is foretold, but harm that had begun has not ended by that.
        found = [outlook for outlook in found if outlook.minutes == 0.0]
    known = [outlook for outlook in found if outlook.minutes is not None]
    return min(known, key=lambda outlook: outlook.least_minutes or 0.0) if known else None


def diagnose_waters(sight: Foresight, names: tuple[str, ...] | None = None) -> tuple[Finding, ...]:
    """Name the likely causes of what the readings show, for all waters or for those named."""
    scene = sight.scene
    findings: list[Finding] = []
    for name, water in sight.roll.waters.items():
        if names is not None and name not in names:
            continue
        drive = sight.drives.get(water.curtain)
        findings.extend(diagnose(water, scene, Around(None if drive is None else drive.drawn_percent)))
    return tuple(findings)


def diagnose_alarm(sight: Foresight, entry: AlarmEntry) -> tuple[Finding, ...]:
    """Name the likely causes for the waters that an alarm is about."""
    names = sight.roll.waters_of_sensor.get(entry.sensor, ())
    return diagnose_waters(sight, names) if names else ()


def compare_mirrors(sight: Foresight) -> tuple[Comparison, ...]:
    """Compare each water that has a mirror with it."""
    waters = sight.roll.waters
    return tuple(
        comparison
        for water in waters.values()
        if water.mirror in waters
        for comparison in compare(water, waters[water.mirror], sight.senses, sight.tended.traces)
    )
