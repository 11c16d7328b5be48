"""Faults of sensors: silent, stuck, wild, drifting, off the rails, or telling of lamps and shadows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from controller.core.vocabulary import FaultCleared
from simulators.faults.kind import Cast, Kind, Mend
from simulators.instruments import Instrument
from simulators.sensors import Failure, Spell

LIGHT: Final = "outdoor light"
HOURS: Final = 60.0


def _find(cast: Cast, *choices: str) -> Instrument:
    """Return the instrument to break."""
    name = cast.sensor(*choices)
    return next(instrument for instrument in cast.run.instruments if instrument.name == name)


def _fail(failure: Failure) -> Callable[[Cast], Mend]:
    """Make a fault of an outright failure."""

    def begin(cast: Cast) -> Mend:
        sensor = _find(cast).sensor
        sensor.failure = failure

        def mend() -> None:
            sensor.failure = Failure.NONE

        return mend

    return begin


def _set(key: str, value: float, *choices: str) -> Callable[[Cast], Mend]:
    """Make a fault that sets one figure of a sensor."""

    def begin(cast: Cast) -> Mend:
        sensor = _find(cast, *choices).sensor
        before = getattr(sensor, key)
        setattr(sensor, key, value)

        def mend() -> None:
            setattr(sensor, key, before)

        return mend

    return begin


def _say_looked(cast: Cast, name: str) -> None:
    """Let the person at the probe say, some minutes later, that it hangs in the water."""
    run = cast.run

    def say() -> None:
        run.turn(FaultCleared(name, "keeper"))

    run.later(run.now_utc_ms + 300_000, say)


def _drift(cast: Cast) -> Mend:
    """Let a probe creep away, as a membrane that dries out."""
    sensor = _find(cast, "tank 1 oxygen", "tank 2 oxygen", "tank 1 pH", "tank 2 pH").sensor
    before, offset = sensor.drift_per_day, sensor.offset
    sensor.calibrate()
    sensor.drift_per_day = -24.0 if "oxygen" in sensor.name else -6.0

    def mend() -> None:
        sensor.calibrate()
        sensor.drift_per_day, sensor.offset = before, offset
        _say_looked(cast, sensor.name)

    return mend


def _chatter(cast: Cast) -> Mend:
    """Let a reading swing round its limit from one minute to the next."""
    instrument = _find(cast, "tank 1 oxygen", "tank 2 oxygen", "pump flow")
    entry = next(
        (one for one in cast.run.entries if one.sensor == instrument.name and one.limit is not None), None
    )
    sensor = instrument.sensor
    before = (sensor.gain, sensor.offset, sensor.noise)
    limit = 1.0 if entry is None or entry.limit is None else entry.limit
    band = 0.1 * limit if entry is None else entry.deadband
    sensor.gain, sensor.offset, sensor.noise = 0.0, limit + 0.1 * band, 0.3 * band

    def mend() -> None:
        sensor.gain, sensor.offset, sensor.noise = before

    return mend


def _spike(cast: Cast) -> Mend:
    """Throw one reading off, and no more."""
    instrument = _find(cast, "tank 1 oxygen", "tank 2 oxygen", "tank 1 pH", "air temperature")
    sensor = instrument.sensor
    before = sensor.offset
    sensor.offset = before - (6.0 if "oxygen" in sensor.name else 4.0)

    def mend() -> None:
        sensor.offset = before

    # One reading and no more: the next minute is well again.
    cast.run.later(cast.run.now_utc_ms + 60_000 * instrument.every_min, mend)
    return lambda: None


def _spikes(cast: Cast) -> Mend:
    """Throw one reading in ten far off, up or down."""
    sensor = _find(cast).sensor
    sensor.spike_share, sensor.spike = 0.1, 25.0

    def mend() -> None:
        sensor.spike_share, sensor.spike = 0.0, 0.0

    return mend


def _lamp(cast: Cast) -> Mend:
    """Shine a lamp on the roof sensor, every night."""
    sensor = _find(cast, LIGHT).sensor
    sensor.lamps = (Spell(0, 1439, 60.0),)

    def mend() -> None:
        sensor.lamps = ()

    return mend


def _shadow(cast: Cast) -> Mend:
    """Let a beam shade the roof sensor at the same minutes every day."""
    sensor = _find(cast, LIGHT).sensor
    sensor.shadows = (Spell(660, 700, 0.3),)

    def mend() -> None:
        sensor.shadows = ()

    return mend


def _lift(cast: Cast) -> Mend:
    """Lift an oxygen probe out of its tank and let it hang in the air of the house; who hangs it back says so."""
    instrument = _find(cast, "tank 1 oxygen", "tank 2 oxygen")
    before = instrument.shows
    instrument.shows = "oxygen in air"

    def mend() -> None:
        instrument.shows = before
        _say_looked(cast, instrument.name)

    return mend


KINDS: Final = (
    Kind("sensor silent", "a sensor stops speaking", _fail(Failure.SILENT), 5.0, 12 * HOURS),
    Kind("sensor stuck", "a sensor repeats its last value", _fail(Failure.STUCK), 30.0, 30 * HOURS),
    Kind("sensor at its lower rail", "a broken wire reads the lowest code", _fail(Failure.RAIL_LOW)),
    Kind("sensor at its upper rail", "a shorted wire reads the highest code", _fail(Failure.RAIL_HIGH)),
    Kind("sensor wild", "a sensor jumps all over its range", _fail(Failure.WILD)),
    Kind("sensor sends NaN", "a sensor sends a word that is no number", _fail(Failure.NOT_A_NUMBER)),
    Kind("sensor drifts", "a probe creeps past its limit", _drift, 6 * HOURS, 24 * HOURS),
    Kind("reading chatters", "a reading swings round its limit", _chatter, 60.0, 8 * HOURS),
    Kind("one spike", "a single reading is far off", _spike, 5.0, 10.0),
    Kind(
        "two sensors disagree",
        "one of two thermometers reads 8 C too much",
        _set("offset", 8.0, "air temperature"),
    ),
    Kind("lamp on the light sensor", "a lamp shines on the roof sensor", _lamp, 6 * HOURS, 48 * HOURS),
    Kind("shadow on the light sensor", "a beam shades the roof sensor", _shadow, 24 * HOURS, 48 * HOURS),
    Kind(
        "light sensor covered",
        "snow or a bag lies on the roof sensor",
        _set("gain", 0.0, LIGHT),
        60.0,
        36 * HOURS,
    ),
    Kind(
        "light sensor doubled",
        "the roof sensor reads twice the sun",
        _set("gain", 2.4, LIGHT),
        60.0,
        24 * HOURS,
    ),
    Kind("probe in air", "an oxygen probe hangs beside its tank", _lift, 60.0, 12 * HOURS, random=False),
    Kind("spikes", "one reading in ten is thrown far off", _spikes, 60.0, 24 * HOURS),
)
"""What can go wrong with sensors."""
