"""Bring the curtains to where the rules want them."""

from __future__ import annotations

from dataclasses import replace
from math import isfinite
from typing import Final

from controller.core import guard, know
from controller.core.curtain import drive as driving
from controller.core.curtain import motor
from controller.core.curtain.choice import choose
from controller.core.curtain.drive import STAGGER_MS, Drive, Phase
from controller.core.curtain.hold import LONGEST_HOLD_MIN, Hold
from controller.core.curtain.view import BLANK, View, reckon_outside_light, smooth, trusted
from controller.core.curtain.wishes import Wish, next_change_ms, remember_ceiling, remember_heat
from controller.core.curtain.wording import describe_position, explain
from controller.core.draft import Draft
from controller.core.listen import look_up_sky
from controller.core.plan.alarm import Watched
from controller.core.plan.curtain import Curtain
from controller.core.plan.sensor import Mounted
from controller.core.signals.sense import NEVER
from controller.core.sky.almanac import sun_height_deg
from controller.core.units import MINUTE_MS, SECOND_MS, HouseMs
from controller.core.vocabulary import (
    CurtainReported,
    FaultCleared,
    HoldAsked,
    HoldReleased,
    Ledger,
    Limit,
    MoveCurtain,
    Run,
    Selector,
    WeatherTold,
)
from controller.core.weigh import weigh_curtain

UNSEEN: Final = Drive()
"""A motor of which nothing has been heard."""

LOOK_EVERY_MS = MINUTE_MS
"""The sun moves on without any sensor speaking; the rules look again at least this often. [ms]"""


def steer_due(draft: Draft) -> None:
    """Look at every curtain that something has happened to or whose time has come."""
    guard.end_weather(draft)
    for name in draft.roll.curtains:
        if name in draft.due_curtains:
            steer(draft, draft.roll.curtains[name])
    if draft.due_curtains:
        _tell_troubles(draft)
        know.tell_learnt(draft)


def steer(draft: Draft, curtain: Curtain) -> None:
    """Renew one curtain's view, choose a rule, and start or stop the motor if that is called for."""
    name, now = curtain.name, draft.now
    drive = draft.drives.get(name, UNSEEN)
    drive, stop_why = motor.pass_time(curtain, drive, now)
    if stop_why:
        _stop(draft, curtain, drive, stop_why)
    hold = draft.holds.get(name)
    if hold is not None and now >= hold.until_ms:
        draft.set_hold(name, None)
        draft.note(
            Ledger.CURTAIN, name, "manual hold", f"the hold of {hold.person} has ended: back to the rules"
        )
        hold = None
    view = guard.see_moves(draft, curtain, see(draft, curtain, drive), drive, hold)
    wish = choose(curtain, view, drive, hold, now, draft.standing)
    if view is not draft.views.get(name):
        draft.views = {**draft.views, name: view}
    _tell_change_of_rule(draft, curtain, drive, wish)
    drive = _act_on(draft, curtain, drive, wish)
    if drive is not draft.drives.get(name):
        draft.set_drive(name, drive)


def see(draft: Draft, curtain: Curtain, drive: Drive) -> View:
    """Renew what the rules of one curtain see."""
    now, stamp = draft.now, draft.stamp
    before = draft.views.get(curtain.name, BLANK)
    senses = draft.senses
    sun_deg, clear_w_m2 = look_up_sky(draft.almanac, stamp)
    earlier = None
    heat, ceiling = curtain.hold_heat, curtain.light_ceiling
    if heat is not None and sun_deg is not None and draft.almanac is not None:
        earlier = sun_height_deg(
            draft.almanac, stamp.utc_ms - round(heat.latest_after_sunrise_min * MINUTE_MS)
        )
    light = trusted(senses.get(curtain.light_sensor))
    sensor = draft.roll.sensors.get(curtain.light_sensor)
    factor = know.allow_for_shift(draft, curtain)
    if light is not None and sensor is not None and sensor.mounted is not None:
        # A pyranometer reads a little below nothing under a clear night sky.
        light = max(0.0, light)
        if sensor.mounted is Mounted.BELOW_CURTAIN and drive.phase is Phase.RUNNING:
            # The shadow over the sensor is on its way: what was seen before it stands until it has passed.
            light = None if before.light_is_reckoned else before.light_w_m2
        else:
            light = reckon_outside_light(
                light * factor, mounted=sensor.mounted, curtain=curtain, drawn_percent=drive.drawn_percent
            )
    reckoned = light is None
    if light is None and clear_w_m2 is not None:
        # Without a sensor the sky is taken to be as clear as it was of late, so that a gap alone moves nothing.
        light = min(before.day.clearness, 1.0) * clear_w_m2
    unsmoothed = light
    if light is not None:
        tau = ceiling.filter_min if ceiling is not None else 0.0
        previous = before.light_w_m2 if before.light_is_reckoned is reckoned else None
        light = smooth(
            previous=previous, value=light, elapsed_ms=now - before.light_at_ms, time_constant_min=tau
        )
    view = before._replace(
        light_w_m2=light,
        light_at_ms=now,
        light_is_reckoned=reckoned,
        light_factor=1.0 if reckoned else factor,
        inside_c=trusted(senses.get(curtain.inside_temperature)),
        outside_c=trusted(senses.get(curtain.outside_temperature)),
        sun_deg=sun_deg,
        sun_earlier_deg=earlier,
        settled_ms=before.settled_ms or now + _settle_ms(draft, curtain),
        day=guard.see_day(
            draft,
            curtain,
            drive,
            before.day,
            light_w_m2=unsmoothed,
            reckoned=reckoned,
            clear_w_m2=clear_w_m2,
        ),
    )
    watch = know.know_light(
        draft, curtain, drive, before.watch, passed_ms=now - before.light_at_ms, clear_w_m2=clear_w_m2
    )
    if watch is not before.watch:
        view = view._replace(watch=watch)
    view = guard.see_guards(draft, curtain, view)
    if curtain.economics is not None:
        return weigh_curtain(draft, curtain, drive, view, light_w_m2=unsmoothed, reckoned=reckoned)
    if ceiling is not None:
        view = remember_ceiling(ceiling, view, now)
    if heat is not None:
        view = remember_heat(heat, view, now)
    return view


def _settle_ms(draft: Draft, curtain: Curtain) -> int:
    """Return how long sensors may take to speak and rules to make up their minds after a first look [ms]."""
    delays = [0.0]
    if curtain.light_ceiling is not None:
        delays.append(curtain.light_ceiling.draw_delay_min + curtain.light_ceiling.filter_min)
    if curtain.hold_heat is not None:
        delays.append(curtain.hold_heat.draw_delay_min)
    specs = draft.roll.specs
    sensors = (curtain.light_sensor, curtain.inside_temperature, curtain.outside_temperature)
    silence_ms = max((specs[name].stale_after_ms for name in sensors if name in specs), default=0)
    return round(max(delays) * MINUTE_MS) + silence_ms


def _tell_change_of_rule(draft: Draft, curtain: Curtain, drive: Drive, wish: Wish) -> None:
    """Write into the record that another rule has its way now, and why."""
    rule = wish.rule.value
    if draft.rules.get(curtain.name) == rule:
        return
    draft.rules = {**draft.rules, curtain.name: rule}
    text = f"{explain(wish)} ({describe_position(drive)} now)"
    draft.note(Ledger.CURTAIN, curtain.name, rule, text, drive.drawn_percent)


def _act_on(draft: Draft, curtain: Curtain, drive: Drive, wish: Wish) -> Drive:
    """Start a run, or stop one that a person no longer wants."""
    if driving.is_abandoned(drive, wish):
        reason = f"another position is wanted now: {explain(wish)}"
        here = driving.reckoned_position(curtain, drive, draft.now)
        drive = driving.end_run(drive, driving.Trigger.ARRIVED, draft.now, drawn_percent=here)
        _stop(draft, curtain, drive, reason)
        return drive
    if any(
        other.phase is Phase.RUNNING and draft.now - other.started_ms < STAGGER_MS
        for name, other in draft.drives.items()
        if name != curtain.name
    ):
        return drive
    command = driving.plan_run(curtain, drive, wish, draft.stamp)
    if command is None:
        return drive
    life_ms = round(curtain.command_life_s * SECOND_MS)
    effect_id = draft.effect_id()
    moved = driving.begin(
        drive, command, draft.stamp, rule=wish.rule.value, command_id=effect_id, follows=wish.follows
    )
    reason = explain(wish)
    verb = "would run" if curtain.dry_run else "runs"
    draft.effects.append(
        MoveCurtain(
            effect_id,
            curtain.name,
            command.run,
            command.drawn_percent,
            command.run_at_most_ms,
            draft.stamp.utc_ms + life_ms,
            draft.now + life_ms,
            reason,
        )
    )
    text = f"{verb} from {describe_position(drive)} to {command.drawn_percent:.0f} % drawn: {reason}"
    draft.note(Ledger.CURTAIN, curtain.name, wish.rule.value, text, command.drawn_percent)
    return moved


def _stop(draft: Draft, curtain: Curtain, drive: Drive, reason: str) -> None:
    """Send a stop and write down why."""
    life_ms = round(curtain.command_life_s * SECOND_MS)
    draft.effects.append(
        MoveCurtain(
            draft.effect_id(),
            curtain.name,
            Run.STOP,
            drive.target_percent,
            0,
            draft.stamp.utc_ms + life_ms,
            draft.now + life_ms,
            reason,
        )
    )
    draft.note(Ledger.CURTAIN, curtain.name, "stop", f"stopped: {reason}", drive.drawn_percent)


def _tell_troubles(draft: Draft) -> None:
    """Say which curtains stand on a fault, or that none does."""
    texts = [
        f"curtain {name}: {drive.trouble}"
        for name, drive in draft.drives.items()
        # A mute board stays in trouble while it is tried again, until it has answered.
        if name in draft.roll.curtains
        and (drive.phase in {Phase.FAULTED, Phase.MUTE} or (drive.phase is Phase.RUNNING and drive.trouble))
    ]
    draft.set_trouble(Watched.CURTAIN, "; ".join(texts) or None)


def hear_report(draft: Draft, event: CurtainReported) -> None:
    """Take a board's report in."""
    curtain = draft.roll.curtains.get(event.curtain)
    if curtain is None:
        return
    before = draft.drives.get(curtain.name, UNSEEN)
    drive, stop_why = motor.hear(curtain, before, event, draft.now)
    if drive is before:
        return
    if stop_why:
        _stop(draft, curtain, drive, stop_why)
    if before.phase is Phase.RUNNING and drive.phase is Phase.IDLE:
        ran_s = (draft.now - before.started_ms) / SECOND_MS
        draft.note(
            Ledger.CURTAIN,
            curtain.name,
            before.rule,
            f"{describe_position(drive)} after {ran_s:.0f} s",
            drive.drawn_percent,
        )
        if drive.drawn_percent == before.target_percent:
            know.know_travel(draft, curtain, before)
    if drive.doubt and not before.doubt:
        draft.note(Ledger.CURTAIN, curtain.name, "end switch", describe_position(drive))
    draft.set_drive(curtain.name, drive)
    draft.due_curtains.add(curtain.name)


def take_asked(draft: Draft, event: HoldAsked | HoldReleased | FaultCleared | WeatherTold) -> None:
    """Take what a person wants of the curtains."""
    match event:
        case HoldAsked():
            take_hold(draft, event)
        case HoldReleased():
            release_hold(draft, event)
        case FaultCleared():
            clear_fault(draft, event)
        case WeatherTold():
            guard.take_weather(draft, event)


def take_hold(draft: Draft, event: HoldAsked) -> None:
    """Keep a curtain where a person wants it, for a bounded time."""
    if event.curtain not in draft.roll.curtains:
        return
    if not (isfinite(event.minutes) and isfinite(event.drawn_percent)):
        text = f"{event.person} asked for a hold that is no number"
        draft.note(Ledger.CURTAIN, event.curtain, "manual hold", text)
        return
    minutes = min(max(event.minutes, 1.0), LONGEST_HOLD_MIN)
    percent = min(max(event.drawn_percent, 0.0), 100.0)
    draft.set_hold(event.curtain, Hold(percent, draft.now + round(minutes * MINUTE_MS), event.person))
    text = f"{event.person} wants it {percent:.0f} % drawn for {minutes:.0f} min"
    draft.note(Ledger.CURTAIN, event.curtain, "manual hold", text, percent)
    draft.due_curtains.add(event.curtain)


def release_hold(draft: Draft, event: HoldReleased) -> None:
    """Give a curtain back to the rules."""
    if event.curtain in draft.holds:
        draft.set_hold(event.curtain, None)
        draft.note(Ledger.CURTAIN, event.curtain, "manual hold", f"{event.person} gives it back to the rules")
        draft.due_curtains.add(event.curtain)


def clear_fault(draft: Draft, event: FaultCleared) -> None:
    """Let a motor run again because a person has looked at it."""
    drive = draft.drives.get(event.curtain)
    if drive is None or drive.phase is not Phase.FAULTED:
        return
    cleared = driving.fire(
        drive,
        driving.Trigger.CLEARED,
        trouble="",
        drawn_percent=None,
        rests_on=Limit.NONE,
        doubt="",
        referenced_ms=None,
    )
    if drive.selector is not Selector.REMOTE:
        cleared = driving.fire(cleared, driving.Trigger.LOCKED)
    draft.set_drive(event.curtain, cleared)
    draft.note(
        Ledger.CURTAIN, event.curtain, "stop on fault", f"{event.person} has looked and lets it run again"
    )
    draft.due_curtains.add(event.curtain)


def forget_positions(draft: Draft) -> None:
    """After a start no position is known and no command is repeated."""
    for name in draft.roll.curtains:
        draft.set_drive(name, driving.restart(draft.drives.get(name, UNSEEN), draft.now))
        draft.due_curtains.add(name)
    _forget_removed(draft)


def expect_curtains(draft: Draft) -> None:
    """Follow a change of settings: new and rewired motors begin unknown, those that are gone are stopped."""
    old, new = draft.state.roll.curtains, draft.roll.curtains
    for name, drive in draft.drives.items():
        if name in old and drive.phase is Phase.RUNNING and _is_rewired(old[name], new.get(name)):
            _stop(draft, old[name], drive, "the settings of its motor have changed")
    for name, curtain in new.items():
        if name not in old or _is_rewired(old[name], curtain):
            draft.set_drive(name, driving.restart(draft.drives.get(name, UNSEEN), draft.now))
    _forget_removed(draft)
    draft.views = {name: view for name, view in draft.views.items() if new.get(name) == old.get(name)}
    draft.rules = {name: rule for name, rule in draft.rules.items() if name in new}
    draft.holds = {name: hold for name, hold in draft.holds.items() if name in new}
    draft.due_curtains.update(new)
    _tell_troubles(draft)


def _is_rewired(before: Curtain, after: Curtain | None) -> bool:
    """Whether another motor may be meant, or none, or an imagined one."""
    return after is None or any(
        getattr(before, key) != getattr(after, key)
        for key in ("actuator", "command_topic", "report_topic", "dry_run")
    )


def _forget_removed(draft: Draft) -> None:
    """Forget the motors of curtains that the settings no longer have."""
    if draft.drives.keys() - draft.roll.curtains.keys():
        draft.drives = {name: drive for name, drive in draft.drives.items() if name in draft.roll.curtains}


def next_look_ms(draft: Draft, curtain: Curtain) -> HouseMs:
    """Return when a curtain must be looked at again without new input [ms]."""
    name = curtain.name
    drive = draft.drives.get(name, UNSEEN)
    view = draft.views.get(name, BLANK)
    change = next_change_ms(curtain, view)
    hold = draft.holds.get(name)
    times = (
        view.light_at_ms + LOOK_EVERY_MS,
        view.settled_ms,
        motor.next_check_ms(curtain, drive),
        NEVER if change is None else change,
        NEVER if hold is None else hold.until_ms,
        NEVER if draft.standing is None else draft.standing.until_ms,
        drive.not_before_ms if drive.not_before_ms > draft.now else NEVER,
        drive.ended_ms + round(curtain.rest_before_reversal_s * SECOND_MS) if drive.ended_ms else NEVER,
    )
    return min((time for time in times if time > draft.now), default=NEVER)


def refuse_command(draft: Draft, effect_id: str, reason: str) -> bool:
    """Take in that a motor command did not reach its board; say whether it was one."""
    for name, drive in draft.drives.items():
        curtain = draft.roll.curtains.get(name)
        if curtain is not None and drive.command_id == effect_id and drive.phase is Phase.RUNNING:
            draft.set_drive(name, replace(motor.refuse(drive, effect_id, draft.now), trouble=""))
            draft.note(Ledger.CURTAIN, name, drive.rule, f"the command did not reach the board: {reason}")
            draft.due_curtains.add(name)
            return True
    return False
