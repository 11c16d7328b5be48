"""Judge a sample: is it possible, does it move as it can move, does the sun allow it.

The tests and their order follow the usual quality checks for unattended sensors (gross range, rate of change,
flat line; IOOS QARTOD manuals) and, for light, the limits of Long & Dutton's BSRN quality control. A value
over a clear sky is never called a fault by itself: cloud edges give more than 1.5 times clear sky for
minutes (Yordanov et al. 2013, IEEE J. Photovolt. 3:271).
"""

from __future__ import annotations

import math
from typing import Final

from controller.core.ranges import name_rail
from controller.core.signals.sense import NEVER, Sense, Spec
from controller.core.units import MINUTE_MS, HouseMs
from controller.core.vocabulary import Sample, Stamp, Trust

SOLAR_CONSTANT_MOST_W_M2: Final = 1361.0 * 1.034
"""Sunlight above the air in early January, when it is strongest. [W/m2]"""

NIGHT_SUN_DEG: Final = -6.0
"""Sun height of civil dusk, under which daylight is under about 4 lx of sky glow. [deg]"""

NIGHT_LIGHT_MOST_W_M2: Final = 4.0
"""Light at night above this is a lamp, a torch or an offset (BSRN allows 4 W/m2 of offset). [W/m2]"""

DARK_SHARE: Final = 0.015
"""Share of clear sky below which a day sensor is covered, dead or unplugged (our choice)."""

DARK_SUN_DEG: Final = 10.0
"""Sun height above which the dark test is made. [deg]"""

DARK_FOR_MS: Final = 20 * MINUTE_MS
"""How long it must be that dark. [ms]"""

FLAT_SKY_LEAST_W_M2: Final = 50.0
"""A light sensor may be flat unless the clear sky is brighter than this; at night it is flat. [W/m2]"""

NEVER_SET_BEFORE_UTC_MS: Final = 1_577_836_800_000
"""2020-01-01: a sensor whose own time is earlier has a clock that was never set. [ms]"""

FUTURE_MOST_MS: Final = 60_000
"""How far in the future a sensor's own time may lie before its clock is called wrong. [ms]"""


def most_possible_light_w_m2(sun_height_deg: float) -> float:
    """Return the most global irradiance that is physically possible at this sun height [W/m2].

    1.5 Sa mu^1.2 + 100 with mu the cosine of the zenith angle (Long & Dutton, BSRN Global Network recommended
    QC tests v2.0; Long & Shi 2008, Open Atmos. Sci. J. 2:23-37).
    """
    mu = math.sin(math.radians(sun_height_deg))
    if mu <= 0.0:
        return 100.0
    return float(1.5 * SOLAR_CONSTANT_MOST_W_M2 * mu**1.2 + 100.0)


def judge(
    spec: Spec, sense: Sense, sample: Sample, stamp: Stamp, sun_deg: float | None, clear_w_m2: float | None
) -> Sense:
    """Judge one sample and return what is known of the sensor now.

    A retained message (`fresh` False) has unknown age and changes nothing. A message whose own time is older
    than one already heard, or older than the sensor's staleness, changes nothing either, and neither does one
    that was delivered twice. A sensor whose own clock has never been set, or runs ahead, is timed by arrival.
    """
    now: HouseMs = stamp.house_ms
    taken = sample.taken_utc_ms
    clock_wrong = False
    if not sample.fresh:
        return sense
    if taken is not None:
        clock_wrong = taken < NEVER_SET_BEFORE_UTC_MS or (
            stamp.utc_trusted and taken > stamp.utc_ms + FUTURE_MOST_MS
        )
        if not clock_wrong:
            if taken == sense.taken_utc_ms and sample.value == sense.last:
                return sense
            if taken < sense.taken_utc_ms and stamp.utc_ms >= sense.taken_utc_ms:
                return sense
            if stamp.utc_trusted and stamp.utc_ms - taken > spec.stale_after_ms:
                return sense
    else:
        taken = 0
    if clock_wrong:
        taken = 0

    value = sample.value
    stale_ms = now + spec.stale_after_ms
    if not spec.low <= value <= spec.high:
        why = f"{value:.6g} {spec.unit} is outside what is possible ({spec.low:g} to {spec.high:g})"
        if spec.unit == "C" and (rail := name_rail(value)):
            why = f"{value:.6g} C is {rail}"
        return sense._replace(
            trust=Trust.DOUBTFUL,
            why=why,
            heard_ms=now,
            stale_ms=stale_ms,
            last=None,
            refused=sense.refused + 1,
        )

    last = sense.last
    # Nobody knows whether a value stood still while nothing was heard of it.
    silent = sense.trust is Trust.STALE or sense.trust is Trust.MISSING
    changed_ms = now if last is None or value != last or silent else sense.changed_ms
    trust = Trust.GOOD
    why = "its own clock is wrong; the time of arrival is used" if clock_wrong else ""
    rate = 0.0
    if last is not None:
        minutes = (now - sense.heard_ms) / MINUTE_MS
        change = value - last
        if minutes > 0.0:
            rate = change / minutes
        # Within one minute a change counts as if it had taken the minute, so
        # that noise between two quick samples is not called a fast change.
        if change and abs(change) > spec.fastest_per_min * (max(1.0, minutes)):
            trust = Trust.DOUBTFUL
            why = f"changed by {change:+.3g} {spec.unit} in {max(minutes, 1.0):.0f} min, faster than possible"

    dark_ms = None
    if spec.is_light and sun_deg is not None:
        trust, why, dark_ms = _judge_light(spec, sense, value, now, sun_deg, clear_w_m2, trust, why)
    if trust is Trust.GOOD and spec.flat_after_ms and now - changed_ms >= spec.flat_after_ms:
        if not spec.is_light or (
            clear_w_m2 is not None and clear_w_m2 > FLAT_SKY_LEAST_W_M2 and value < spec.ceiling
        ):
            trust = Trust.DOUBTFUL
        if trust is Trust.DOUBTFUL:
            why = f"has stood at {value:.6g} {spec.unit} for {(now - changed_ms) // MINUTE_MS} min"
    return Sense(value, trust, why, now, changed_ms, stale_ms, rate, taken, dark_ms, value, sense.refused)


def _judge_light(  # noqa: PLR0917 - the parts of one sample and of one sky
    spec: Spec,
    sense: Sense,
    value: float,
    now: HouseMs,
    sun_deg: float,
    clear_w_m2: float | None,
    trust: Trust,
    why: str,
) -> tuple[Trust, str, HouseMs | None]:
    """Compare a light sample with the sun; return trust, reason and since when it has been dark."""
    if sun_deg < NIGHT_SUN_DEG:
        if value > NIGHT_LIGHT_MOST_W_M2:
            return Trust.DOUBTFUL, f"shows {value:.0f} W/m2 at night: a lamp or an offset", None
        return trust, why, None
    most = most_possible_light_w_m2(sun_deg)
    if value > most:
        return Trust.DOUBTFUL, f"shows {value:.0f} W/m2, more than the sun can give ({most:.0f})", None
    if (
        not spec.is_outside
        or clear_w_m2 is None
        or sun_deg < DARK_SUN_DEG
        or value >= DARK_SHARE * clear_w_m2
    ):
        return trust, why, None
    dark_ms = now if sense.dark_ms is None else sense.dark_ms
    if now - dark_ms >= DARK_FOR_MS:
        return (
            Trust.DOUBTFUL,
            f"shows {value:.0f} W/m2 under a sky that could give {clear_w_m2:.0f}: covered?",
            dark_ms,
        )
    return trust, why, dark_ms


def turn_stale(spec: Spec, sense: Sense) -> Sense:
    """Return what is known of a sensor that has been silent for too long. Its value is not to be used."""
    trust = Trust.MISSING if sense.last is None and sense.value is None else Trust.STALE
    return sense._replace(
        trust=trust, why=f"silent for more than {spec.stale_after_ms / 1000:.0f} s", stale_ms=NEVER
    )
