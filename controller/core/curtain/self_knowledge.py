"""What a curtain learns of itself: its travel times, its light sensor against clear skies, its transmissions.

Nothing here changes a setting: what has been learnt is compared with the settings and told.

Clear skies are found in the site's own minutes by the criteria of Reno & Hansen 2016, Renewable Energy 90:520-531, on
windows of ten minutes: line length, standard deviation of the slopes and largest deviation of a slope as published;
the two criteria on the level (mean and greatest value) are put on a clear sky scaled by the window's own quotient in
place of the published search for one scale, since that quotient is just what is to be found out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median, pstdev
from typing import Final, NamedTuple

from controller.core.curtain.light_shift import Shift
from controller.core.plan.curtain import Curtain
from controller.core.vocabulary import Run

RUNS_LEAST: Final = 3
"""Fewer full runs tell nothing of the travel time. [1]"""

RUN_SHARE: Final = 0.2
"""How much the latest run counts, once there are a few. [1]"""

DRIFT_TOLD: Final = 0.10
DRIFT_OVER: Final = 0.05
"""A travel time this share off its setting is told, and is over within the second (our choice). [1]"""

WINDOW_MIN: Final = 10
MEAN_MOST_W_M2: Final = 75.0
LINE_LENGTH: Final = (-5.0, 10.0)
SLOPE_SPREAD_MOST: Final = 0.005
SLOPE_MOST_W_M2: Final = 8.0
"""The published criteria of a clear window."""

CLEAR_LEAST_W_M2: Final = 150.0
"""Under a lower sun, trees and the cosine of a sensor count for more than its dirt (our choice). [W/m2]"""

QUOTIENTS: Final = (0.5, 1.4)
"""A window whose light is not within this of a clear sky is none (our choice). [1]"""

WINDOWS_LEAST: Final = 6
"""Clear windows, an hour, that make a clear day (our choice). [1]"""

SPREAD_MOST: Final = 0.08
"""The middle half of a clear day's quotients lie within this: an even layer of cloud does not (our choice). [1]"""

DAYS_KEPT: Final = 40
FALL_TOLD: Final = 0.08
FALL_OVER: Final = 0.04
LEVEL: Final = (0.75, 1.25)
"""Clear-sky models differ by 5 to 10 % among themselves; what is told lies beyond (our choice). [1]"""

PAIR_LEAST_W_M2: Final = 100.0
PAIR_LEAST_MIN: Final = 60.0
PAIR_TOLD: Final = 0.15
"""Pairs of light sensors are compared above this light, for this long a day, and told from this share (our choice)."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """What one curtain has learnt, kept over restarts.

    `draw_s`, `open_s` are learnt travel times from so many full runs; `clear_days` the quotients of the light sensor
    to a clear sky, by local day, `shift` what it shows otherwise since; `cover` and `curtain` the transmissions from
    so many days of pairs. `told` holds what is told and not over, by matter.
    """

    draw_s: float | None = None
    draw_runs: int = 0
    open_s: float | None = None
    open_runs: int = 0
    clear_days: tuple[tuple[int, float], ...] = ()
    cover: float | None = None
    cover_days: int = 0
    curtain: float | None = None
    curtain_days: int = 0
    shift: Shift | None = None
    told: tuple[tuple[str, str], ...] = ()


UNLEARNT: Final = Learnt()


class Watch(NamedTuple):
    """The minutes under way: light and clear sky of the last ten, the clear windows of today, sums of pairs.

    `open_pair` and `drawn_pair` are minutes and light outside and at the second sensor, with the curtain open and
    drawn [min, W/m2 min, W/m2 min].
    """

    local_day: int | None = None
    minute: int = 0
    light_sum: float = 0.0
    light_count: int = 0
    clear_w_m2: float = 0.0
    lights: tuple[float, ...] = ()
    clears: tuple[float, ...] = ()
    quotients: tuple[tuple[int, float], ...] = ()
    open_pair: tuple[float, float, float] = (0.0, 0.0, 0.0)
    drawn_pair: tuple[float, float, float] = (0.0, 0.0, 0.0)


NO_WATCH: Final = Watch()


# --- travel time ----------------------------------------------------------------------------------------


def learn_travel(learnt: Learnt, run: Run, ran_s: float) -> Learnt:
    """Take in how long a full run took [s]: a mean at first, later one that forgets slowly."""
    seconds, runs = (
        (learnt.draw_s, learnt.draw_runs) if run is Run.DRAW else (learnt.open_s, learnt.open_runs)
    )
    share = max(RUN_SHARE, 1.0 / (runs + 1))
    new = ran_s if seconds is None else seconds + share * (ran_s - seconds)
    if run is Run.DRAW:
        return replace(learnt, draw_s=new, draw_runs=runs + 1)
    return replace(learnt, open_s=new, open_runs=runs + 1)


def judge_travel(learnt: Learnt, curtain: Curtain, run: Run) -> str | None:
    """Say how a travel time has drifted from its setting; an empty text that it is over; None for no news."""
    seconds, runs = (
        (learnt.draw_s, learnt.draw_runs) if run is Run.DRAW else (learnt.open_s, learnt.open_runs)
    )
    if seconds is None or runs < RUNS_LEAST:
        return None
    off = seconds / curtain.travel_time_s - 1.0
    if abs(off) <= DRIFT_OVER:
        return ""
    if abs(off) <= DRIFT_TOLD:
        return None
    verb = "draw" if run is Run.DRAW else "open"
    cause = "friction, ice, a stretched cable" if off > 0 else "a slipped cable, a moved end switch"
    more = "longer" if off > 0 else "less"
    return (
        f"takes {abs(off) * 100:.0f} % {more} to {verb} than set: {seconds:.0f} s over {runs} full runs, set "
        f"{curtain.travel_time_s:.0f} s; {cause}?"
    )


# --- the light sensor -----------------------------------------------------------------------------------


def find_clear_quotient(lights: Sequence[float], clears: Sequence[float]) -> float | None:
    """Return the quotient of a sensor to a clear sky in ten minutes that were clear, or None [1].

    Parameters
    ----------
    lights, clears
        Means of minutes in a row, the sensor's and those of a cloudless sky. [W/m2]
    """
    clear_mean = sum(clears) / len(clears)
    quotient = sum(lights) / len(lights) / clear_mean if clear_mean > 0.0 else 0.0
    if min(clears) < CLEAR_LEAST_W_M2 or not QUOTIENTS[0] <= quotient <= QUOTIENTS[1]:
        return None
    scaled = [quotient * clear for clear in clears]
    slopes = [after - before for before, after in pairwise(lights)]
    expected = [after - before for before, after in pairwise(scaled)]
    longer = sum(math.hypot(slope, 1.0) for slope in slopes) - sum(
        math.hypot(slope, 1.0) for slope in expected
    )
    clear = (
        abs(max(lights) - max(scaled)) < MEAN_MOST_W_M2
        and LINE_LENGTH[0] < longer < LINE_LENGTH[1]
        and pstdev(slopes) / (sum(lights) / len(lights)) < SLOPE_SPREAD_MOST
        and max(abs(slope - own) for slope, own in zip(slopes, expected, strict=True)) < SLOPE_MOST_W_M2
    )
    return quotient if clear else None


def watch_light(watch: Watch, *, light_w_m2: float, clear_w_m2: float, minute: int, local_day: int) -> Watch:
    """Add a reading of an outside light sensor; with each ten whole minutes in a row look whether they were clear."""
    if watch.local_day != local_day:
        watch = Watch(local_day=local_day, minute=minute)
    if minute == watch.minute:
        return watch._replace(
            light_sum=watch.light_sum + light_w_m2, light_count=watch.light_count + 1, clear_w_m2=clear_w_m2
        )
    if clear_w_m2 < CLEAR_LEAST_W_M2:
        # No window of such a minute is clear: nothing is gathered.
        return watch._replace(lights=(), clears=(), light_count=0) if watch.light_count else watch
    lights, clears, quotients = watch.lights, watch.clears, watch.quotients
    if minute - watch.minute != 1 or not watch.light_count:
        lights = clears = ()
    else:
        lights = (*lights, watch.light_sum / watch.light_count)
        clears = (*clears, watch.clear_w_m2)
    if len(lights) >= WINDOW_MIN:
        quotient = find_clear_quotient(lights, clears)
        if quotient is not None:
            quotients = (*quotients, (watch.minute, quotient))
        lights = clears = ()
    return Watch(
        local_day,
        minute,
        light_w_m2,
        1,
        clear_w_m2,
        lights,
        clears,
        quotients,
        watch.open_pair,
        watch.drawn_pair,
    )


def find_clear_day(quotients: Sequence[float]) -> float | None:
    """Return a day's quotient of the sensor to a clear sky, or None if the day was not clear enough to tell [1]."""
    if len(quotients) < WINDOWS_LEAST:
        return None
    ordered = sorted(quotients)
    quarter = len(ordered) // 4
    if ordered[-1 - quarter] - ordered[quarter] > SPREAD_MOST:
        return None
    return median(ordered)


def judge_light(days: Sequence[tuple[int, float]]) -> str | None:
    """Say what the clear days tell of the light sensor; an empty text that all is well; None for no news.

    A slow fall is told over ten days or more, a wrong level from three days on; a shift is told in its own hour
    (`light_shift`).
    """
    values = [value for _, value in days]
    if len(values) >= 6 and days[-1][0] - days[0][0] >= 10:
        first, last = median(values[:3]), median(values[-3:])
        if last < (1.0 - FALL_TOLD) * first:
            return (
                f"has fallen slowly, by {(1.0 - last / first) * 100:.0f} % over its clear days: dirty? "
                f"{last * 100:.0f} % of a clear sky, {first * 100:.0f} % before; wipe it"
            )
        if last < (1.0 - FALL_OVER) * first:
            return None
    if len(values) >= 3:
        level = median(values[-3:])
        if not LEVEL[0] <= level <= LEVEL[1]:
            return f"shows {level * 100:.0f} % of a clear sky on clear days: its unit, place or calibration?"
        return ""
    return None


def keep_day(
    days: tuple[tuple[int, float], ...], local_day: int, value: float
) -> tuple[tuple[int, float], ...]:
    """Add a clear day to those that are kept."""
    return (*days, (local_day, value))[-DAYS_KEPT:]


# --- transmissions --------------------------------------------------------------------------------------


def add_pair(
    pair: tuple[float, float, float], *, minutes: float, outside_w_m2: float, second_w_m2: float
) -> tuple[float, float, float]:
    """Add minutes in which both light sensors spoke."""
    return pair[0] + minutes, pair[1] + minutes * outside_w_m2, pair[2] + minutes * second_w_m2


def learn_transmissions(learnt: Learnt, watch: Watch, *, second_is_below: bool) -> Learnt:
    """Take in a day of pairs: the cover from an open curtain, or from above one; the curtain from a drawn one."""
    minutes, outside, second = watch.open_pair
    if minutes >= PAIR_LEAST_MIN:
        learnt = replace(
            learnt,
            cover=_mix(learnt.cover, second / outside, learnt.cover_days),
            cover_days=learnt.cover_days + 1,
        )
    minutes, outside, second = watch.drawn_pair
    if second_is_below and minutes >= PAIR_LEAST_MIN and learnt.cover:
        value = second / outside / learnt.cover
        learnt = replace(
            learnt,
            curtain=_mix(learnt.curtain, value, learnt.curtain_days),
            curtain_days=learnt.curtain_days + 1,
        )
    return learnt


def _mix(before: float | None, value: float, days: int) -> float:
    """Mix a day into what is known: a mean at first, later one that forgets slowly."""
    return value if before is None else before + max(0.2, 1.0 / (days + 1)) * (value - before)


def judge_transmission(name: str, learnt: float | None, days: int, setting: float) -> str | None:
    """Say that a transmission is not what is set; an empty text that it is; None for no news."""
    if learnt is None or days < RUNS_LEAST:
        return None
    if abs(learnt / setting - 1.0) <= PAIR_TOLD:
        return ""
    return f"the {name} lets {learnt:.2f} of the light through by its own sensors over {days} days, set {setting:.2f}"
