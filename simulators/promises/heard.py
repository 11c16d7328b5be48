"""What the daemon has been told, reckoned from the settings: which condition must, and which may, be true.

For each entry of the alarm list three spans are kept on the house axis: since when every reading has surely
been past the limit, since when every one may have been, and since when every one may have been well. A
reading that leaps, stands still for too long, or comes with a clock of its own is doubtful: it breaks the first
span and neither of the others. The spans never use what the daemon made of a reading.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from controller.core.plan.alarm import AlarmEntry, Kind
from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Sensor
from controller.core.plan.sensor_defaults import (
    fastest_per_min,
    flat_after_ms,
    possible_range,
    stale_after_ms,
)
from controller.core.units import MINUTE_MS, Quantity
from controller.core.vocabulary import ReadingsTaken, Sample

AIR_LEAPS: Final = {Quantity.OXYGEN: 0.8, Quantity.TEMPERATURE: 1.8, Quantity.CONDUCTIVITY: 0.03}
"""How far a probe leaps that is lifted out of the water [mg/L], [C], and below what it is dry [mS/cm]."""

AIR_LEAPS_WITHIN_MIN: Final = 5.5


@dataclass(slots=True)
class Voice:
    """One sensor as it was heard; times on the house axis, None while never [ms].

    While `calm`, all its entries have been well; a sure value between `calm_low` and `calm_high`, and a rate
    between `slowest` and `quickest` [1/min], leave them so. What a light sensor says is never sure, so that one
    more reading of it changes nothing once there has been one.
    """

    sensor: Sensor
    low: float
    high: float
    fastest: float
    flat_ms: int
    stale_ms: int
    cases: list[Case] = field(default_factory=list)
    heard_ms: int | None = None
    surely_heard_ms: int | None = None
    value: float | None = None
    doubtful: bool = True
    in_water: bool = False
    leapt_to: float | None = None
    changed_ms: int = 0
    calm: bool = False
    calm_low: float = float("-inf")
    calm_high: float = float("inf")
    slowest: float = float("-inf")
    quickest: float = float("inf")


@dataclass(slots=True)
class Case:
    """One entry of the alarm list; times on the house axis, None while not so [ms]."""

    entry: AlarmEntry
    surely_ms: int | None = None
    maybe_ms: int | None = None
    well_ms: int | None = None

    def hear(self, now: int, *, true: bool, well: bool, doubtful: bool) -> None:
        """Take in a reading: past the limit, well past the deadband, both only perhaps, or in between."""
        if doubtful:
            self.surely_ms = None
            if self.maybe_ms is None:
                self.maybe_ms = now
            if self.well_ms is None:
                self.well_ms = now
            return
        if true:
            if self.surely_ms is None:
                self.surely_ms = now
            if self.maybe_ms is None:
                self.maybe_ms = now
            self.well_ms = None
            return
        self.surely_ms = self.maybe_ms = None
        if not well:
            self.well_ms = None
        elif self.well_ms is None:
            self.well_ms = now

    def forget(self) -> None:
        """Know nothing any more: what must be and what is well must show themselves anew."""
        self.surely_ms = None
        self.well_ms = None


class Hearing:
    """All sensors and all entries; `restarted_ms` is when the daemon last began [ms]."""

    def __init__(self, plan: Plan, entries: tuple[AlarmEntry, ...]) -> None:
        self.voices: dict[str, Voice] = {}
        self.cases: dict[str, Case] = {}
        self.restarted_ms = 0
        self.follow(plan, entries)

    def follow(self, plan: Plan, entries: tuple[AlarmEntry, ...]) -> None:
        """Follow these settings: what did not change keeps its spans, and nothing is sure."""
        voices, cases = self.voices, self.cases
        self.voices = {}
        wet = plan.thermometers_in_water
        probes = wet | {name for water in plan.water for name in (water.oxygen, water.conductivity)}
        for sensor in plan.sensor:
            in_water = sensor.name in wet
            low, high = possible_range(sensor, in_water=in_water)
            unsure = sensor.quantity is Quantity.LIGHT
            fastest = None if unsure else fastest_per_min(sensor, in_water=in_water)
            self.voices[sensor.name] = Voice(
                sensor,
                low,
                high,
                float("inf") if fastest is None else fastest,
                0 if unsure else flat_after_ms(sensor),
                stale_after_ms(sensor),
                calm_low=low,
                calm_high=high,
                in_water=sensor.name in probes,
            )
            old = voices.get(sensor.name)
            if old is not None and old.sensor == sensor:
                voice = self.voices[sensor.name]
                voice.heard_ms, voice.surely_heard_ms = old.heard_ms, old.surely_heard_ms
                voice.changed_ms, voice.leapt_to = old.changed_ms, old.leapt_to
        self.cases = {}
        for entry in entries:
            before = cases.get(entry.name)
            case = self.cases[entry.name] = Case(entry)
            if before is not None:
                case.maybe_ms, case.well_ms = before.maybe_ms, before.well_ms
            hears = self.voices.get(entry.sensor)
            if hears is not None:
                hears.cases.append(case)
                _narrow(hears, entry)

    def restart(self, now: int) -> None:
        """Follow a start of the daemon: it must hear everything anew."""
        self.restarted_ms = now
        for voice in self.voices.values():
            voice.doubtful = True
            voice.calm = False
            voice.value = None
        for case in self.cases.values():
            case.forget()

    def take(self, event: ReadingsTaken, now: int, *, utc_ms: int) -> None:
        """Take in what the daemon was told at an instant [ms]."""
        voices = self.voices
        for sample in event.samples:
            voice = voices.get(sample.sensor)
            if voice is None or not sample.fresh:
                continue
            if voice.calm and sample.taken_utc_ms is None and _stays_calm(voice, sample.value, now):
                continue
            self._hear(voice, sample, now, utc_ms)

    def _hear(self, voice: Voice, sample: Sample, now: int, utc_ms: int) -> None:
        value = sample.value
        before = voice.heard_ms
        silent = before is not None and now - before > voice.stale_ms
        if silent:
            for case in voice.cases:
                case.forget()
        possible = voice.low <= value <= voice.high
        minutes = 1.0 if before is None else max(1.0, (now - before) / MINUTE_MS)
        leaps = voice.value is None or abs(value - voice.value) > voice.fastest * minutes
        if value != voice.value or silent:
            voice.changed_ms = now
        airy = _may_hang_in_air(voice, value, minutes)
        flat = voice.flat_ms > 0 and now - voice.changed_ms >= voice.flat_ms
        own_time = sample.taken_utc_ms is not None
        late = sample.taken_utc_ms is not None and abs(utc_ms - sample.taken_utc_ms) > MINUTE_MS
        doubtful = (
            not possible or leaps or flat or airy or own_time or voice.sensor.quantity is Quantity.LIGHT
        )
        rate = None
        if (
            not doubtful
            and not voice.doubtful
            and before is not None
            and now > before
            and voice.value is not None
        ):
            rate = (value - voice.value) * MINUTE_MS / (now - before)
        for case in voice.cases:
            _judge(case, value, rate, now, doubtful=doubtful, impossible=not possible and not own_time)
        voice.heard_ms = now
        if not late:
            voice.surely_heard_ms = now
        voice.value = value if possible else None
        voice.doubtful = doubtful
        if voice.sensor.quantity is Quantity.LIGHT:
            voice.calm = possible and not own_time and not silent
        else:
            voice.calm = not doubtful and all(
                case.well_ms is not None and case.maybe_ms is None for case in voice.cases
            )


def _may_hang_in_air(voice: Voice, value: float, minutes: float) -> bool:
    """Tell whether a probe may have been lifted out of the water: it has leapt there, and not come back since."""
    least = AIR_LEAPS.get(voice.sensor.quantity)
    if least is None or not voice.in_water:
        return False
    if voice.sensor.quantity is Quantity.CONDUCTIVITY:
        return value < least
    rise = 0.0 if voice.value is None else value - voice.value
    if voice.leapt_to is not None and abs(value - voice.leapt_to) >= least:
        voice.leapt_to = None
    fell = voice.sensor.quantity is Quantity.OXYGEN and rise < 0.0
    if abs(rise) >= least and not fell and minutes <= AIR_LEAPS_WITHIN_MIN:
        voice.leapt_to = value
    return voice.leapt_to is not None


def _stays_calm(voice: Voice, value: float, now: int) -> bool:
    """Take in the usual reading the quick way, and say whether it was one: nothing anybody watches has changed."""
    before, heard_ms = voice.value, voice.heard_ms
    if before is None or heard_ms is None or not voice.calm_low <= value <= voice.calm_high:
        return False
    silence_ms = now - heard_ms
    if value == before:
        # A rate of nothing is between all rates that are well, or there would be no calm.
        if silence_ms > voice.stale_ms or (voice.flat_ms and now - voice.changed_ms >= voice.flat_ms):
            return False
    else:
        change = value - before
        if voice.in_water and abs(change) >= AIR_LEAPS.get(voice.sensor.quantity, float("inf")):
            return False
        if not -voice.fastest <= change <= voice.fastest or not 0 < silence_ms <= voice.stale_ms:
            return False
        if not voice.slowest <= change * MINUTE_MS / silence_ms <= voice.quickest:
            return False
        voice.changed_ms = now
    voice.heard_ms = voice.surely_heard_ms = now
    voice.value = value
    return True


def _narrow(voice: Voice, entry: AlarmEntry) -> None:
    """Narrow a sensor's calm to where an entry is surely well."""
    limit = entry.limit
    if voice.sensor.quantity is Quantity.LIGHT:
        return
    if entry.kind is Kind.SWITCH:
        if entry.alarm_when == "on":
            voice.calm_high = min(voice.calm_high, 0.49)
        else:
            voice.calm_low = max(voice.calm_low, 0.5)
    elif limit is None:
        return
    elif entry.kind is Kind.HIGH:
        voice.calm_high = min(voice.calm_high, limit - entry.deadband)
    elif entry.kind is Kind.LOW:
        voice.calm_low = max(voice.calm_low, limit + entry.deadband)
    elif entry.kind is Kind.RATE and limit > 0.0:
        voice.quickest = min(voice.quickest, limit - entry.deadband)
    elif entry.kind is Kind.RATE:
        voice.slowest = max(voice.slowest, limit + entry.deadband)
    if not voice.slowest <= 0.0 <= voice.quickest:
        voice.calm_low, voice.calm_high = 1.0, 0.0


def _judge(
    case: Case, value: float, rate: float | None, now: int, *, doubtful: bool, impossible: bool
) -> None:
    """Let an entry take a reading in."""
    entry = case.entry
    match entry.kind:
        case Kind.MISSING:
            # It speaks: whatever it says, it is not missing.
            case.hear(now, true=False, well=True, doubtful=False)
        case Kind.DOUBTFUL:
            if impossible:
                case.hear(now, true=True, well=False, doubtful=False)
            elif doubtful:
                case.hear(now, true=True, well=True, doubtful=True)
            else:
                case.hear(now, true=False, well=True, doubtful=False)
        case Kind.SWITCH:
            wrong = (value >= 0.5) is (entry.alarm_when == "on")
            case.hear(now, true=wrong, well=not wrong, doubtful=doubtful)
        case Kind.RATE:
            if rate is None:
                case.hear(now, true=True, well=True, doubtful=True)
            else:
                _compare(case, rate, now, rising=(entry.limit or 0.0) > 0.0, doubtful=doubtful)
        case Kind.HIGH | Kind.LOW:
            _compare(case, value, now, rising=entry.kind is Kind.HIGH, doubtful=doubtful)
        case _:
            pass


def _compare(case: Case, value: float, now: int, *, rising: bool, doubtful: bool) -> None:
    """Compare a value with limit and deadband."""
    limit = case.entry.limit
    if limit is None:
        return
    past = value - limit if rising else limit - value
    case.hear(now, true=past > 0.0, well=past <= -case.entry.deadband, doubtful=doubtful)
