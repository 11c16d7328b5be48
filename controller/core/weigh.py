"""Put what is known of the house on the scales of a curtain that has its site's economics."""

from __future__ import annotations

from typing import Final

from controller.core.curtain.balance import (
    AHEAD,
    DARK_AHEAD_MIN,
    EMPTY,
    NIGHT_HORIZON_MIN,
    Balance,
    Sight,
    find_temper,
    keep,
    weigh,
)
from controller.core.curtain.costs import POSITIONS, make_scales
from controller.core.curtain.drive import Drive, Phase, local_day
from controller.core.curtain.sky_memory import CLEAR_LEAST_W_M2, mean_index
from controller.core.curtain.view import View
from controller.core.curtain.zones import list_bands
from controller.core.draft import Draft, with_item
from controller.core.listen import look_up_sky
from controller.core.plan.curtain import Curtain
from controller.core.plan.economics import Economics
from controller.core.plan.sensor import Mounted
from controller.core.sky.almanac import (
    RISE_SET_HEIGHT_DEG,
    clear_sky_sum_j_m2,
    clear_sky_w_m2,
    sun_height_deg,
)
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS, UMOL_PER_JOULE_GLOBAL, HouseMs
from controller.core.vocabulary import Run

KEEP_EVERY_MS: Final = HOUR_MS
"""How often a balance is written, so that a restart loses little and the card is spared. [ms]"""

LEAST_WAIT_MS: Final = MINUTE_MS // 2
"""Readings that come faster than this are weighed together. [ms]"""


NIGHT_WAIT_MS: Final = 5 * MINUTE_MS
"""In the dark nothing changes from minute to minute. [ms]"""


def weigh_curtain(
    draft: Draft, curtain: Curtain, drive: Drive, view: View, *, light_w_m2: float | None, reckoned: bool
) -> View:
    """Gather a reading into the minute under way and, when the minute is over, weigh it.

    `light_w_m2` is the light outside as just read, not smoothed, or as `reckoned` from the almanac. While the
    motor moves the shadow over its own light sensor nothing is weighed.
    """
    economics = curtain.economics
    if economics is None:
        return view
    kept = draft.balances.get(curtain.name)
    # After a start it goes on where it was last kept; how long it has been away is no time that was weighed.
    balance = view.balance or (EMPTY if kept is None else kept._replace(weighed_ms=None))
    sense = draft.senses.get(curtain.light_sensor)
    if not reckoned:
        balance = _gather(balance, light_w_m2, None if sense is None else sense.heard_ms)
    # A fresh reading is weighed at once if the last weighing is not quite recent: waiting would only age it.
    wait_ms = LEAST_WAIT_MS if balance.light_count else MINUTE_MS
    if balance.verdict.horizon_min == NIGHT_HORIZON_MIN:
        wait_ms = NIGHT_WAIT_MS
    due = balance.weighed_ms is None or draft.now - balance.weighed_ms >= wait_ms
    running = drive.phase is Phase.RUNNING
    if due and not (running and _sees_the_shadow(draft, curtain)):
        if balance.light_count and not reckoned:
            light_w_m2 = balance.light_sum / balance.light_count
        # Under way it is judged where it goes to: the clouds do not wait for the motor.
        place = drive.target_percent if running else drive.drawn_percent
        here = 0.0 if place is None else place
        scales = make_scales(
            curtain,
            economics,
            (*POSITIONS, here),
            worth_share=_share_of_worth(draft, curtain, economics, balance),
        )
        sight = _look(draft, economics, drive, view, balance, light_w_m2=light_w_m2, reckoned=reckoned)
        balance = weigh(scales, economics, balance, sight)._replace(light_sum=0.0, light_count=0)
        if kept is None or _is_older(kept, balance):
            draft.balances = with_item(draft.balances, curtain.name, keep(balance))
    return view if balance is view.balance else view._replace(balance=balance)


def _is_older(kept: Balance, balance: Balance) -> bool:
    """Whether what is kept has fallen behind by so much that it is worth a write: not through a night."""
    if kept.weighed_ms is None or balance.weighed_ms is None:
        return True
    has_changed = round(balance.sky.seen_min, 1) != kept.sky.seen_min or balance.local_day != kept.local_day
    return has_changed and not 0 <= balance.weighed_ms - kept.weighed_ms < KEEP_EVERY_MS


def _sees_the_shadow(draft: Draft, curtain: Curtain) -> bool:
    """Whether the curtain's own shadow passes over its light sensor."""
    sensor = draft.roll.sensors.get(curtain.light_sensor)
    return sensor is not None and sensor.mounted is Mounted.BELOW_CURTAIN


def _gather(balance: Balance, light_w_m2: float | None, heard_ms: HouseMs | None) -> Balance:
    """Add a reading that has not been counted yet."""
    if light_w_m2 is None or heard_ms is None or heard_ms == balance.heard_ms:
        return balance
    return balance._replace(
        light_sum=balance.light_sum + light_w_m2, light_count=balance.light_count + 1, heard_ms=heard_ms
    )


def _look(
    draft: Draft,
    economics: Economics,
    drive: Drive,
    view: View,
    balance: Balance,
    *,
    light_w_m2: float | None,
    reckoned: bool,
) -> Sight:
    """Look at sun, air and motor as they are now."""
    stamp, almanac = draft.stamp, draft.almanac
    sun_deg, clear_w_m2 = look_up_sky(almanac, stamp)
    ahead: tuple[float | None, ...] = (None,) * len(AHEAD)
    earlier_deg = None
    horizon_min = find_temper(balance.restless).horizon_min
    if almanac is not None and sun_deg is not None:
        if _is_dark(clear_w_m2) and _is_dark(clear_sky_w_m2(almanac, stamp.utc_ms + _ms(DARK_AHEAD_MIN))):
            horizon_min = NIGHT_HORIZON_MIN
        ahead = tuple(clear_sky_w_m2(almanac, stamp.utc_ms + _ms(share * horizon_min)) for share, _ in AHEAD)
        earlier_deg = sun_height_deg(almanac, stamp.utc_ms - _ms(economics.latest_after_sunrise_min))
    day = local_day(stamp)
    return Sight(
        now_ms=draft.now,
        light_w_m2=light_w_m2,
        light_is_reckoned=reckoned,
        clear_w_m2=clear_w_m2,
        horizon_min=horizon_min,
        clear_ahead_w_m2=ahead,
        outside_c=view.outside_c,
        inside_c=view.inside_c,
        sun_is_up=None if sun_deg is None else sun_deg > RISE_SET_HEIGHT_DEG,
        risen_long_ago=earlier_deg is not None and earlier_deg > RISE_SET_HEIGHT_DEG,
        drawn_percent=drive.target_percent if drive.phase is Phase.RUNNING else drive.drawn_percent,
        turned_ms=drive.started_ms if drive.run is not Run.STOP else None,
        was_drawing=drive.run is Run.DRAW,
        local_day=day,
        moves_today=drive.moves_today if drive.moves_day == day else 0,
        moves_total=drive.moves_total,
    )


def _is_dark(clear_w_m2: float | None) -> bool:
    """Whether even a cloudless sky would give no light to speak of."""
    return clear_w_m2 is not None and clear_w_m2 <= CLEAR_LEAST_W_M2


def _ms(minutes: float) -> int:
    """Turn minutes into milliseconds."""
    return round(minutes * MINUTE_MS)


def _share_of_worth(draft: Draft, curtain: Curtain, economics: Economics, balance: Balance) -> float:
    """Return what light keeps of its worth today: all up to the band's low end, the set share from its high end.

    Judged by the sum at the canopy so far and by what an open curtain would add until midnight under the clouds
    of the last hours.
    """
    if economics.beyond_band_worth >= 1.0 or draft.almanac is None:
        return 1.0
    index = mean_index(balance.sky)
    if index is None:
        return 1.0
    stamp = draft.stamp
    midnight_ms = stamp.utc_ms + DAY_MS - (stamp.utc_ms + stamp.utc_offset_min * MINUTE_MS) % DAY_MS
    clear_j_m2 = clear_sky_sum_j_m2(draft.almanac, from_utc_ms=stamp.utc_ms, to_utc_ms=midnight_ms)
    to_come_mol = index * clear_j_m2 * UMOL_PER_JOULE_GLOBAL * curtain.cover_transmission / 1e6
    low, high = economics.day_light_low_mol_m2, economics.day_light_high_mol_m2
    if curtain.zone:
        ruler = list_bands(curtain)[0]
        low, high = ruler.canopy_low_mol, ruler.canopy_high_mol
    total_mol = balance.day_mol + to_come_mol
    if total_mol <= low:
        return 1.0
    beyond = 1.0 if total_mol >= high else (total_mol - low) / (high - low)
    return 1.0 - beyond * (1.0 - economics.beyond_band_worth)
