"""Sensors as they are: noisy, slow, coarse, drifting, dirty, and now and then broken.

A sensor turns a true value into what it would send. Every fault has a figure that is 0 or None by default,
and the defaults of `Sensor` are mild. Faults can be switched on and off at any moment by setting the
attribute.
"""

import random
from dataclasses import dataclass, field
from enum import Enum
from math import exp

from simulators.chance import stream

DAY_S = 86_400.0


class Failure(Enum):
    """Ways to be broken, as against being inaccurate."""

    NONE = "none"
    SILENT = "silent"
    STUCK = "stuck"
    RAIL_LOW = "rail low"
    RAIL_HIGH = "rail high"
    WILD = "wild"
    NOT_A_NUMBER = "not a number"


@dataclass(frozen=True, slots=True)
class Spell:
    """A part of every day by the minute, and what it does; over midnight when the end is before the start.

    Attributes
    ----------
    start_min, end_min : int
        First minute, and the minute after the last, of the day in UTC, 0 to 1439. [min]
    amount : float
        A factor for a shadow, a surplus for a lamp. [1] or the sensor's unit
    """

    start_min: int
    end_min: int
    amount: float

    def holds(self, minute: int) -> bool:
        """Tell whether a minute of the day lies in it."""
        if self.start_min <= self.end_min:
            return self.start_min <= minute < self.end_min
        return minute >= self.start_min or minute < self.end_min


@dataclass(slots=True, kw_only=True)
class Sensor:
    """One sensor, in the unit of what it measures.

    The order is that of the light path and the wires: shadow and lamp, dirt, lag of the element, gain and
    offset with their drift, zero error of the night, noise, range of the electronics, steps of the converter,
    failure.

    Attributes
    ----------
    seed, name : int, str
        The run's seed, and a name unique in the run, which names the stream of noise.
    noise : float
        Standard deviation of one reading. [unit]
    lag_s : float
        Time constant of the element, 0 for none. [s]
    step : float
        Resolution, 0 for none. [unit]
    low, high : float
        Range of the electronics; what is beyond saturates. [unit]
    gain, offset : float
        Error of calibration: reads gain x true + offset. [1], [unit]
    drift_per_day : float
        Growth of the offset since the last calibration. [unit/day]
    fouling_per_day, fouling_most : float
        Share of the signal lost to dirt a day since the last cleaning, and the most that is lost. [1]
    fouled_at : float
        What a wholly fouled sensor reads. [unit]
    night_offset : float
        Zero error of a light sensor in the dark, such as a pyranometer's under a clear sky. [unit]
    night_below : float
        True values below this count as dark. [unit]
    shadows, lamps : tuple[Spell, ...]
        Beams that shade at the same minutes every day (bright values only), and lamps (in the dark too).
    spike_share, spike : float
        Share of readings thrown off, and by how much. [1], [unit]
    failure : Failure
        How it is broken.
    """

    seed: int
    name: str
    noise: float = 0.0
    lag_s: float = 0.0
    step: float = 0.0
    low: float = float("-inf")
    high: float = float("inf")
    gain: float = 1.0
    offset: float = 0.0
    drift_per_day: float = 0.0
    fouling_per_day: float = 0.0
    fouling_most: float = 0.6
    fouled_at: float = 0.0
    night_offset: float = 0.0
    night_below: float = 0.0
    shadows: tuple[Spell, ...] = ()
    lamps: tuple[Spell, ...] = ()
    spike_share: float = 0.0
    spike: float = 0.0
    failure: Failure = Failure.NONE
    _draws: random.Random = field(init=False)
    _element: float | None = field(default=None, init=False)
    _last: float | None = field(default=None, init=False)
    _calibrated_s: float = field(default=0.0, init=False)
    _cleaned_s: float = field(default=0.0, init=False)
    _lag_step_s: float = field(default=-1.0, init=False)
    _lag_kept: float = field(default=0.0, init=False)

    def __post_init__(self) -> None:
        self._draws = stream(self.seed, f"sensor/{self.name}")

    def calibrate(self) -> None:
        """Set gain and offset right and begin the drift anew, as a person with a standard does."""
        self.gain, self.offset, self._calibrated_s = 1.0, 0.0, 0.0

    def clean(self) -> None:
        """Wipe it."""
        self._cleaned_s = 0.0

    def advance(self, seconds: float, true: float, *, minute_of_day: int = 0) -> float | None:
        """Let time pass while the true value stood as given, and read [unit]; None when it sends nothing.

        Parameters
        ----------
        seconds : float
            Time since the last reading, at least 0. [s]
        true : float
            The true value, mean of that time. [unit]
        minute_of_day : int
            Minute of the day in UTC, for shadows and lamps, 0 to 1439. [min]
        """
        self._calibrated_s += seconds
        self._cleaned_s += seconds
        value = true
        if self.shadows or self.lamps:
            value = self._stand_in_light(value, minute_of_day)
        if self.fouling_per_day:
            lost = min(self.fouling_most, self.fouling_per_day * self._cleaned_s / DAY_S)
            value += (self.fouled_at - value) * lost
        if self.lag_s:
            if self._element is None:
                self._element = value
            if seconds != self._lag_step_s:
                self._lag_step_s, self._lag_kept = seconds, exp(-seconds / self.lag_s)
            value = self._element = value + (self._element - value) * self._lag_kept
        value = value * self.gain + self.offset
        if self.drift_per_day:
            value += self.drift_per_day * self._calibrated_s / DAY_S
        if self.night_offset and true < self.night_below:
            value += self.night_offset
        if self.noise:
            value += self._draws.gauss(0.0, self.noise)
        if self.spike_share and self._draws.random() < self.spike_share:
            value += self.spike if self._draws.random() < 0.5 else -self.spike
        if value > self.high:
            value = self.high
        elif value < self.low:
            value = self.low
        if self.step:
            value = round(value / self.step) * self.step
        if self.failure is not Failure.NONE:
            return self._fail(value)
        self._last = value
        return value

    def _stand_in_light(self, value: float, minute: int) -> float:
        for shadow in self.shadows:
            if shadow.holds(minute):
                value *= shadow.amount
        for lamp in self.lamps:
            if lamp.holds(minute):
                value += lamp.amount
        return value

    def _fail(self, value: float) -> float | None:
        """Read as a broken sensor; a rail without a bound is the last step before the electronics give up."""
        match self.failure:
            case Failure.SILENT:
                return None
            case Failure.STUCK:
                if self._last is None:
                    self._last = value
                return self._last
            case Failure.RAIL_LOW:
                return self.low if self.low > float("-inf") else -127.0
            case Failure.RAIL_HIGH:
                return self.high if self.high < float("inf") else 85.0
            case Failure.WILD:
                low = self.low if self.low > float("-inf") else value - 50.0
                high = self.high if self.high < float("inf") else value + 50.0
                return self._draws.uniform(low, high)
            case _:
                return float("nan")


def mild_light(seed: int, name: str) -> Sensor:
    """Make a usual pyranometer in the open [W/m2]: 1 % noise of a bright sky, -2 W/m2 in a clear night.

    Zero offset of the size of class B of ISO 9060:2018 (from memory).
    """
    return Sensor(
        seed=seed,
        name=name,
        noise=1.0,
        lag_s=15.0,
        step=0.1,
        low=-10.0,
        high=2000.0,
        night_offset=-2.0,
        night_below=1.0,
        gain=1.01,
    )


def mild_air_temperature(seed: int, name: str) -> Sensor:
    """Make a usual digital air thermometer [C]: 0.05 C noise, 0.06 C steps, two minutes of lag."""
    return Sensor(
        seed=seed, name=name, noise=0.05, lag_s=120.0, step=0.0625, low=-55.0, high=125.0, offset=0.1
    )


def mild_humidity(seed: int, name: str) -> Sensor:
    """Make a usual capacitive humidity sensor [%]: 0.3 % noise, one minute of lag, saturating at 100."""
    return Sensor(seed=seed, name=name, noise=0.3, lag_s=60.0, step=0.1, low=0.0, high=100.0, offset=1.0)


def mild_water_temperature(seed: int, name: str) -> Sensor:
    """Make a usual digital water thermometer [C]: 0.02 C noise, 0.06 C steps; its rails are -127 and 85."""
    return Sensor(seed=seed, name=name, noise=0.02, lag_s=60.0, step=0.0625, low=-127.0, high=85.0)


def mild_oxygen(seed: int, name: str) -> Sensor:
    """Make a usual optical oxygen probe [mg/L]: 0.03 noise, one minute of lag, biofilm that reads low."""
    return Sensor(
        seed=seed,
        name=name,
        noise=0.03,
        lag_s=60.0,
        step=0.01,
        low=0.0,
        high=20.0,
        fouling_per_day=0.002,
        fouling_most=0.5,
    )


def mild_ph(seed: int, name: str) -> Sensor:
    """Make a usual glass electrode [1]: 0.01 noise, 0.002 drift a day (0.02 to 0.1 a month, from memory)."""
    return Sensor(
        seed=seed, name=name, noise=0.01, lag_s=30.0, step=0.01, low=0.0, high=14.0, drift_per_day=0.002
    )


def mild_level(seed: int, name: str) -> Sensor:
    """Make a usual ultrasonic level sensor [m]: 2 mm noise, 1 mm steps."""
    return Sensor(seed=seed, name=name, noise=0.002, step=0.001, low=0.0, high=3.0)
