"""When to move the curtain: what staying put has cost, and what it is about to cost, against a move's price.

Every minute each position is priced (`costs`). What the present position cost more than another is added up and
fades slowly: the regret. What it is expected to cost more over the next half hour, by night much longer, is the
gain, over the clouds remembered (`sky_memory`) on the clear sky to come. The curtain moves when

    gain >= least gain x price,  regret x gain >= enough x price^2  and  some regret >= least regret x price,

with limits that depend on how restless the light is from minute to minute (`Temper`): a steady sky is believed at
once and for longer, while passing clouds, which cost little on average, only make it wait. Regret alone is the rule
for renting skis (Karlin, Manasse, Rudolph & Sleator 1988, Algorithmica 3:79-119, from memory); the gain keeps the
curtain from moving for what is already over.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Final, NamedTuple

from controller.core.curtain.costs import DAY_ABOVE_W_M2, POSITIONS, WARM_ENOUGH_K, Scales, count_minute
from controller.core.curtain.sky_memory import (
    CLEAR_LEAST_W_M2,
    LOST_WEIGHTS,
    NOTHING_SEEN,
    SkyMemory,
    expect_sky,
    mean_index,
    remember_sky,
)
from controller.core.plan.economics import Economics
from controller.core.units import MINUTE_MS, HouseMs

DARK_AHEAD_MIN: Final = 50.0
"""It is night for the balance while even a cloudless sky gives no light now nor so long from now. [min]"""

NIGHT_HORIZON_MIN: Final = 160.0
"""How far ahead a position is judged by night, when no cloud can change anything (tuned in the benchmark). [min]"""

AHEAD: Final = ((0.1127, 0.2778), (0.5, 0.4444), (0.8873, 0.2778))
"""Where in the horizon to look, and with which weight: Gauss-Legendre of three points. [1]"""

REGRET_FADES_MIN: Final = 210.0
"""How fast regret fades: yesterday's clouds are no reason. [min]"""

RESTLESS_FADES_MIN: Final = 5.8
"""How fast the restlessness of the light is forgotten (tuned in the benchmark). [min]"""

RESTLESS: Final = 0.032
"""A change of the clear-sky index from minute to minute by which a sky is no longer steady (tuned likewise). [1]"""

TURN_AFTER_MS: Final = 10 * MINUTE_MS
"""It never turns round sooner than this after it has begun a move. [ms]"""

LONGEST_MINUTE_MS: Final = 10 * MINUTE_MS
"""A gap in time counts as no more than this. [ms]"""

CREDIT_MOST: Final = 350.0
"""Moves that quiet months may save up for busy ones (our choice). [1]"""

DEARER_MOVES: Final = 30.0
"""A debt of this many moves makes a move e times as dear (our choice). [1]"""

CHEAPER_MOVES: Final = 80.0
CHEAPEST: Final = 0.7
"""So many moves saved up make a move e times as cheap, and no cheaper than this share (tuned in the benchmark). [1]"""

BUSY_DAY: Final = 2.0
BUSY_DEARER: Final = 0.1
"""Past so many times the wanted moves within a day each further one is a tenth dearer (tuned in the benchmark). [1]"""

MOMENT_MIN: Final = 15.0
"""A sensor lost for longer leaves the clouds of the last days, not those of the last hour (our choice). [min]"""

USUAL_LIGHT_MIN: Final = 20.0
"""Time constant of the light that is compared with the clamp on heat. [min]"""

DRAWN_FROM_PERCENT: Final = 99.0


class Temper(NamedTuple):
    """How a sky is believed: the limits of a move, in prices of a move, how far to look ahead, and what counts.

    `horizon_min` is how far a position is judged by day [min]; `weights` are those of the memories of the sky.
    """

    enough: float
    least_regret: float
    least_gain: float
    horizon_min: float
    weights: tuple[float, ...]


STEADY: Final = Temper(0.144, 0.023, 1.04, 50.0, (0.249, 0.531, 0.22, 0.0))
BROKEN: Final = Temper(0.757, 0.21, 1.612, 25.0, (0.078, 0.437, 0.485, 0.0))
"""A sky whose light does not change, and one that changes without end (tuned in the benchmark)."""


def find_temper(restless: float) -> Temper:
    """Find how to believe a sky whose index changes by `restless` from minute to minute on average [1]."""
    return _mix_temper(round(100.0 * math.exp(-restless / RESTLESS)))


@lru_cache(maxsize=101)
def _mix_temper(steady_percent: int) -> Temper:
    """Mix the two tempers, so many hundredths of the steady one."""
    steady = steady_percent / 100.0
    return Temper(
        BROKEN.enough + steady * (STEADY.enough - BROKEN.enough),
        BROKEN.least_regret + steady * (STEADY.least_regret - BROKEN.least_regret),
        BROKEN.least_gain + steady * (STEADY.least_gain - BROKEN.least_gain),
        BROKEN.horizon_min + steady * (STEADY.horizon_min - BROKEN.horizon_min),
        tuple(
            broken + steady * (calm - broken)
            for calm, broken in zip(STEADY.weights, BROKEN.weights, strict=True)
        ),
    )


class Sight(NamedTuple):
    """What is seen when a minute is over. None: not known.

    `light_w_m2` is the minute's mean outside, `light_is_reckoned` says the almanac stood in for the sensor;
    `clear_ahead_w_m2` are the cloudless skies at the moments of `AHEAD` within `horizon_min`; `risen_long_ago`
    that the sun has been up for the longest wait; `drawn_percent` where the curtain stands; `turned_ms` when
    its last move began and `was_drawing` which way it went.
    """

    now_ms: HouseMs
    light_w_m2: float | None
    light_is_reckoned: bool = False
    clear_w_m2: float | None = None
    horizon_min: float = BROKEN.horizon_min
    clear_ahead_w_m2: tuple[float | None, ...] = (None, None, None)
    outside_c: float | None = None
    inside_c: float | None = None
    sun_is_up: bool | None = None
    risen_long_ago: bool = False
    drawn_percent: float | None = None
    turned_ms: HouseMs | None = None
    was_drawing: bool = False
    local_day: int = 0
    moves_today: int = 0
    moves_total: int = 0


class Verdict(NamedTuple):
    """What the last minute said: go to `drawn_percent`, or stay where it is if None.

    `regret` and `gain` are in prices of a move, for the position that would gain most; `dearness` is the price of
    a move in costs of a move, `horizon_min` how far the gain looks ahead, `enough` and `least_gain` the limits for
    the product of both and for the gain. `by_clamp` says that light is owed to
    the house, whatever the prices.
    """

    drawn_percent: float | None = None
    best_percent: float | None = None
    regret: float = 0.0
    gain: float = 0.0
    dearness: float = 1.0
    horizon_min: float = BROKEN.horizon_min
    enough: float = BROKEN.enough
    least_gain: float = BROKEN.least_gain
    light_w_m2: float | None = None
    by_clamp: bool = False


class Balance(NamedTuple):
    """What one curtain's balance remembers between minutes.

    `lost_min` is how long the almanac has stood in for the sensor [min]; `day_mol` is the light at the canopy
    since midnight [mol/m2]; `restless` how much the index changes from minute to minute, `last_index` what it was
    last [1]; `credit` the moves saved up, negative in debt; `light_sum`, `light_count` and
    `heard_ms` gather the readings of the minute under way.
    """

    weighed_ms: HouseMs | None = None
    sky: SkyMemory = NOTHING_SEEN
    restless: float = RESTLESS
    last_index: float | None = None
    usual_w_m2: float | None = None
    regrets: tuple[float, ...] = (0.0,) * len(POSITIONS)
    here_percent: float | None = None
    local_day: int | None = None
    day_mol: float = 0.0
    lost_min: float = 0.0
    moves_before: int = 0
    credit: float = 0.0
    verdict: Verdict = Verdict()
    light_sum: float = 0.0
    light_count: int = 0
    heard_ms: HouseMs | None = None


EMPTY: Final = Balance()


def keep(balance: Balance) -> Balance:
    """Return what of a balance is worth a write to the card: the account, the day's light, the sky, all rounded."""
    rows = tuple(tuple(round(share, 4) for share in row) for row in balance.sky.rows)
    return Balance(
        weighed_ms=balance.weighed_ms,
        sky=SkyMemory(rows, round(balance.sky.seen_min, 1)),
        restless=round(balance.restless, 4),
        usual_w_m2=None if balance.usual_w_m2 is None else round(balance.usual_w_m2, 1),
        local_day=balance.local_day,
        day_mol=round(balance.day_mol, 4),
        moves_before=balance.moves_before,
        credit=balance.credit,
    )


def weigh(scales: Scales, economics: Economics, balance: Balance, sight: Sight) -> Balance:
    """Weigh the minutes since the last time, and say where the curtain should go.

    `scales` holds the `POSITIONS` and, as its last, the present position. Total: where nothing can be known of
    the light, or the position is unknown, the verdict is to stay.
    """
    elapsed_ms = MINUTE_MS if balance.weighed_ms is None else sight.now_ms - balance.weighed_ms
    minutes = min(elapsed_ms, LONGEST_MINUTE_MS) / MINUTE_MS
    balance = _turn_day(balance, economics, sight)._replace(weighed_ms=sight.now_ms)
    light, here = sight.light_w_m2, sight.drawn_percent
    if light is None:
        return balance._replace(verdict=Verdict())
    sky, usual = balance.sky, balance.usual_w_m2
    lost_min = balance.lost_min + minutes if sight.light_is_reckoned else 0.0
    if lost_min and sight.clear_w_m2 is not None:
        # Lost for a moment, by a spike or a pause, the clouds are still as they were; later, as they usually are.
        remembered = mean_index(sky, _weights(balance._replace(lost_min=lost_min)))
        light = light if remembered is None else remembered * sight.clear_w_m2
    if sight.clear_w_m2 is not None and not sight.light_is_reckoned:
        sky = remember_sky(sky, light, sight.clear_w_m2, minutes)
        balance = _feel(balance, light, sight.clear_w_m2, minutes)
    share = 1.0 - math.exp(-minutes / USUAL_LIGHT_MIN)
    usual = light if usual is None else usual + share * (light - usual)
    seen_mol = 0.0 if here is None else light * scales.umol_per_w * scales.through[-1] * 60.0 * minutes / 1e6
    balance = balance._replace(
        sky=sky, usual_w_m2=usual, lost_min=lost_min, day_mol=balance.day_mol + seen_mol
    )
    if here is None:
        # Nothing is known of the present position, so the best one is as good as any to make it known at.
        expected = expect_costs(scales, balance, sight)[:-1]
        best = POSITIONS[expected.index(min(expected))]
        return balance._replace(
            here_percent=None, verdict=Verdict(drawn_percent=best, best_percent=best, light_w_m2=light)
        )
    regrets = _regret(scales, balance, sight, light, minutes)
    dearness = find_dearness(economics, balance, sight)
    price = economics.move_cost * dearness
    balance = balance._replace(regrets=regrets, here_percent=here)
    temper = find_temper(balance.restless)
    verdict = Verdict(
        dearness=dearness,
        horizon_min=sight.horizon_min,
        enough=temper.enough,
        least_gain=temper.least_gain,
        light_w_m2=light,
    )
    if _owes_light(scales, economics, balance, sight):
        return balance._replace(verdict=_pay_light(verdict, sight))
    if max(regrets) < temper.least_regret * price:
        return balance._replace(verdict=verdict)
    expected = expect_costs(scales, balance, sight)
    worth_it = [
        (expected[-1] - expected[at], at)
        for at, percent in enumerate(POSITIONS)
        if abs(percent - here) > 1.0
        and expected[-1] - expected[at] >= temper.least_gain * price
        and _may_turn(sight, percent)
    ]
    enough = [(gain, at) for gain, at in worth_it if regrets[at] * gain >= temper.enough * price * price]
    if worth_it:
        gain, at = max(enough or worth_it)
        verdict = verdict._replace(
            drawn_percent=POSITIONS[at] if enough else None,
            best_percent=POSITIONS[at],
            regret=regrets[at] / price,
            gain=gain / price,
        )
    return balance._replace(verdict=verdict)


def _feel(balance: Balance, light_w_m2: float, clear_w_m2: float, minutes: float) -> Balance:
    """Take in how much the light has changed since the minute before, against a cloudless sky."""
    if clear_w_m2 < CLEAR_LEAST_W_M2:
        return balance if balance.last_index is None else balance._replace(last_index=None)
    index = light_w_m2 / clear_w_m2
    if balance.last_index is None:
        return balance._replace(last_index=index)
    share = 1.0 - math.exp(-minutes / RESTLESS_FADES_MIN)
    restless = balance.restless + share * (abs(index - balance.last_index) - balance.restless)
    return balance._replace(restless=restless, last_index=index)


def find_dearness(economics: Economics, balance: Balance, sight: Sight) -> float:
    """Return how many times its cost a move counts: less with moves saved up, more in debt and on a busy day."""
    saved = balance.credit
    by_account = (
        math.exp(-saved / CHEAPER_MOVES) if saved > 0.0 else math.exp(min(-saved / DEARER_MOVES, 4.0))
    )
    busy = max(0.0, sight.moves_today - BUSY_DAY * economics.moves_wanted_per_day)
    return max(by_account, CHEAPEST) * (1.0 + BUSY_DEARER * busy)


def expect_costs(scales: Scales, balance: Balance, sight: Sight) -> list[float]:
    """Reckon what each position is expected to cost over the horizon [per m2 of floor]."""
    totals = [0.0] * len(scales.positions)
    sky = expect_sky(balance.sky, _weights(balance))
    wanted_above_c = None if sight.inside_c is None else sight.inside_c - WARM_ENOUGH_K
    for (_, weight), clear in zip(AHEAD, sight.clear_ahead_w_m2, strict=True):
        weight_min = weight * sight.horizon_min
        for light, likely in _expect_light(sky, clear, balance, sight):
            is_day = (
                sight.sun_is_up if clear is None and sight.sun_is_up is not None else light > DAY_ABOVE_W_M2
            )
            set_point = scales.day_c if is_day else scales.night_c
            wanted = wanted_above_c is None or wanted_above_c < set_point
            costs = count_minute(
                scales, light, outside_c=sight.outside_c, is_day=is_day, heat_is_wanted=wanted
            )
            share = weight_min * likely
            totals = [total + share * cost for total, cost in zip(totals, costs, strict=True)]
    return totals


def _expect_light(
    sky: list[tuple[float, float]], clear_w_m2: float | None, balance: Balance, sight: Sight
) -> list[tuple[float, float]]:
    """Return the lights to expect under a cloudless sky to come, each with its likelihood."""
    if clear_w_m2 is None:
        # No almanac: what it usually was of late is the best guess.
        return [(balance.usual_w_m2 or 0.0, 1.0)]
    if clear_w_m2 <= 0.0:
        return [(0.0, 1.0)]
    if not sky:
        index = 0.6
        if sight.light_w_m2 is not None and sight.clear_w_m2:
            index = min(sight.light_w_m2 / sight.clear_w_m2, 1.0)
        return [(index * clear_w_m2, 1.0)]
    return [(index * clear_w_m2, likely) for index, likely in sky]


def _weights(balance: Balance) -> tuple[float, ...]:
    """Return which memories of the sky count, by how restless it is and how long the sensor has been lost."""
    return find_temper(balance.restless).weights if balance.lost_min < MOMENT_MIN else LOST_WEIGHTS


def _count(scales: Scales, sight: Sight, light_w_m2: float, *, is_day: bool) -> list[float]:
    """Count a minute at this light with the air as it is now."""
    set_point = scales.day_c if is_day else scales.night_c
    wanted = sight.inside_c is None or sight.inside_c < set_point + WARM_ENOUGH_K
    return count_minute(scales, light_w_m2, outside_c=sight.outside_c, is_day=is_day, heat_is_wanted=wanted)


def _regret(
    scales: Scales, balance: Balance, sight: Sight, light_w_m2: float, minutes: float
) -> tuple[float, ...]:
    """Add what the present position has cost more than each other; begin anew where the curtain has moved."""
    lights = [(light_w_m2, 1.0)]
    if balance.lost_min and sight.clear_w_m2 is not None:
        # What is not seen may have been any of what is usual.
        sky = expect_sky(balance.sky, _weights(balance))
        lights = _expect_light(sky, sight.clear_w_m2, balance, sight)
    is_day = light_w_m2 > DAY_ABOVE_W_M2 if sight.sun_is_up is None else sight.sun_is_up
    costs = [0.0] * len(scales.positions)
    for light, likely in lights:
        for at, cost in enumerate(_count(scales, sight, light, is_day=is_day)):
            costs[at] += likely * cost
    mine = costs[-1]
    before = balance.here_percent
    if before is None or sight.drawn_percent is None or abs(before - sight.drawn_percent) > 1.0:
        return tuple(max(0.0, minutes * (mine - cost)) for cost in costs[:-1])
    keep = math.exp(-minutes / REGRET_FADES_MIN)
    return tuple(
        max(0.0, keep * old + minutes * (mine - cost))
        for old, cost in zip(balance.regrets, costs[:-1], strict=True)
    )


def _may_turn(sight: Sight, percent: float) -> bool:
    """Whether a move to this position may begin now: the same way at once, the other way after a while."""
    if sight.turned_ms is None or sight.drawn_percent is None:
        return True
    same_way = (percent > sight.drawn_percent) is sight.was_drawing
    return same_way or sight.now_ms - sight.turned_ms >= TURN_AFTER_MS


def _owes_light(scales: Scales, economics: Economics, balance: Balance, sight: Sight) -> bool:
    """Whether it stands drawn for heat alone, in a light that the house must have at any price of heat."""
    usual = balance.usual_w_m2
    if (
        not sight.risen_long_ago
        or sight.drawn_percent is None
        or sight.drawn_percent < DRAWN_FROM_PERCENT
        or usual is None
        or usual <= economics.open_above_w_m2
    ):
        return False
    without_air = sight._replace(outside_c=None)
    if _count(scales, sight, usual, is_day=True) == _count(scales, without_air, usual, is_day=True):
        return False
    in_all = expect_costs(scales, balance, sight)
    if in_all[-1] >= in_all[0]:
        return False
    by_light = expect_costs(scales, balance, without_air)[:-1]
    return by_light[0] <= min(by_light)


def _pay_light(verdict: Verdict, sight: Sight) -> Verdict:
    """Open, as soon as it may turn round."""
    goal = 0.0 if _may_turn(sight, 0.0) else None
    return verdict._replace(drawn_percent=goal, best_percent=0.0, by_clamp=True)


def _turn_day(balance: Balance, economics: Economics, sight: Sight) -> Balance:
    """Settle the account of moves when a day is over."""
    if balance.local_day == sight.local_day:
        return balance
    if balance.local_day is None:
        return balance._replace(local_day=sight.local_day, moves_before=sight.moves_total)
    made = sight.moves_total - balance.moves_before
    credit = min(CREDIT_MOST, balance.credit + economics.moves_wanted_per_day - made)
    return balance._replace(
        local_day=sight.local_day, day_mol=0.0, moves_before=sight.moves_total, credit=credit
    )
