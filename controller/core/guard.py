"""What a curtain's rules see besides light and temperature: weather, moisture, the light of the day."""

from __future__ import annotations

from math import isfinite
from typing import Final

from controller.core.curtain.choice import choose_comfort, find_wish
from controller.core.curtain.climate import remember_cold, remember_heat_and_light
from controller.core.curtain.drive import Drive, local_day
from controller.core.curtain.gap import remember_gap, remember_moisture
from controller.core.curtain.hold import Hold
from controller.core.curtain.light_day import LightDay, count_light
from controller.core.curtain.light_sum import remember_band
from controller.core.curtain.stages import remember_staging
from controller.core.curtain.view import View, trusted
from controller.core.curtain.weather import LONGEST_H, Standing, remember_weather
from controller.core.curtain.zones import list_bands, tell_place
from controller.core.draft import Draft, with_item
from controller.core.plan.curtain import Curtain
from controller.core.units import HOUR_MS
from controller.core.vocabulary import Ledger, Weather, WeatherTold

KEEP_EVERY_MS: Final = HOUR_MS
"""How often the light of the day is written, so that a restart loses little and the card is spared. [ms]"""


def see_day(
    draft: Draft,
    curtain: Curtain,
    drive: Drive,
    before: LightDay,
    *,
    light_w_m2: float | None,
    reckoned: bool,
    clear_w_m2: float | None,
) -> LightDay:
    """Add to the day's light at the canopy; when a day is over, write its sum into the record."""
    name = curtain.name
    kept = draft.days.get(name)
    if before.at_ms is None and kept is not None:
        before = kept  # after a start the day goes on where it was last kept
    day = count_light(
        before,
        curtain,
        light_w_m2=light_w_m2,
        is_seen=not reckoned,
        clear_w_m2=clear_w_m2,
        drawn_percent=drive.drawn_percent,
        local_day=local_day(draft.stamp),
        now=draft.now,
    )
    if before.local_day is not None and day.local_day != before.local_day and before.lit_ms:
        draft.note(Ledger.HOUSE, curtain.name, "day's light", tell_sum(curtain, before), before.mol)
    if day.mol > 0.0 and (kept is None or kept.local_day != day.local_day or _is_older(kept, day)):
        draft.days = with_item(draft.days, name, day)
    return day


def _is_older(kept: LightDay, day: LightDay) -> bool:
    """Whether what is kept has fallen behind by so much that it is worth a write."""
    if kept.at_ms is None or day.at_ms is None or kept.mol == day.mol:
        return False
    return day.at_ms - kept.at_ms >= KEEP_EVERY_MS


def tell_sum(curtain: Curtain, day: LightDay) -> str:
    """Say what a day has brought to the canopy, and how it lies to the band of each crop."""
    text = f"{day.mol:.1f} mol/m2 of light at the canopy, {day.coverage_percent or 0.0:.0f} % of the daylight seen"
    band = curtain.light_sum
    if curtain.zone:
        for zone in list_bands(curtain):
            mol = zone.light_share * day.mol
            text += f"; {zone.crop} {mol:.1f}, {tell_place(zone, mol)}"
    elif band is not None:
        crop = f" of {band.crop}" if band.crop else ""
        place = "in"
        if day.mol < band.low_mol_m2:
            place = "below"
        elif day.mol > band.high_mol_m2:
            place = "above"
        text += f", {place} the band{crop} of {band.low_mol_m2:g} to {band.high_mol_m2:g}"
    return text


def see_guards(draft: Draft, curtain: Curtain, view: View) -> View:
    """Bring the memories of the rules up to date that have tables of their own."""
    now, senses = draft.now, draft.senses
    storm, gap = curtain.storm_and_snow, curtain.humidity_gap
    if storm is not None:
        wind = trusted(senses.get(storm.wind_sensor))
        snow = trusted(senses.get(storm.snow_sensor))
        snows = None if snow is None else snow > 0.5
        marks = remember_weather(storm, view.marks, wind_m_s=wind, snows=snows, now=now)
        view = view if marks is view.marks else view._replace(marks=marks)
    if curtain.too_hot is not None:
        view = remember_heat_and_light(curtain.too_hot, view, now)
    if curtain.too_cold is not None:
        view = remember_cold(curtain.too_cold, view, now)
    if gap is not None:
        marks = remember_moisture(
            gap,
            view.marks,
            inside_c=view.inside_c,
            humidity_percent=trusted(senses.get(gap.humidity_sensor)),
            surface_c=trusted(senses.get(gap.surface_temperature)),
            now=now,
        )
        view = view._replace(marks=marks)
    # With economics the balance rules; what its zones come to is foreseen all the same.
    rule = curtain.light_sum if curtain.economics is None else None
    if rule is not None or curtain.zone:
        view = remember_band(rule, curtain, view, draft.almanac, draft.stamp)
    return view


def see_moves(draft: Draft, curtain: Curtain, view: View, drive: Drive, hold: Hold | None) -> View:
    """Bring the memories up to date that hang on what the rules wish for: the gap and the opening in steps."""
    if curtain.humidity_gap is not None:
        base = choose_comfort(curtain, view, draft.now)
        view = remember_gap(curtain, view, drive, base, draft.stamp)
    if curtain.staged_opening is not None:
        wish = find_wish(curtain, view, drive, hold, draft.now, draft.standing)
        view = remember_staging(curtain.staged_opening, view, drive, wish)
    return view


def end_weather(draft: Draft) -> None:
    """End what a person said of the weather when its time is over."""
    standing = draft.standing
    if standing is not None and draft.now >= standing.until_ms:
        draft.standing = None
        draft.due_curtains.update(draft.roll.curtains)
        text = f"what {standing.person} said of the weather ({standing.weather.value}) has run out"
        draft.note(Ledger.HOUSE, "weather", "storm or snow", text)


def take_weather(draft: Draft, event: WeatherTold) -> None:
    """Take what a person says of storm and snow, for a bounded time."""
    hours = event.hours
    if not isfinite(hours) or (hours <= 0.0 and event.weather is not Weather.NONE):
        text = f"{event.person} said {event.weather.value} for a time that is none"
        draft.note(Ledger.HOUSE, "weather", "storm or snow", text)
        return
    hours = min(hours, LONGEST_H)
    draft.due_curtains.update(draft.roll.curtains)
    if hours <= 0.0:
        draft.standing = None
        text = f"{event.person} ends what was said of the weather"
    else:
        draft.standing = Standing(event.weather, draft.now + round(hours * HOUR_MS), event.person)
        text = f"{event.person} says {event.weather.value} for {hours:.1f} h"
        if event.weather is Weather.NONE:
            text = f"{event.person} lets nothing be done for wind and snow for {hours:.1f} h, whatever sensors say"
        elif event.weather is Weather.SNOW:
            text += ": curtains open; raise the heating by hand before it begins"
    draft.note(Ledger.HOUSE, "weather", "storm or snow", text)
