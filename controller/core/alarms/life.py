"""What time, conditions and people do to an alarm. Pure functions from an alarm to an alarm."""

from __future__ import annotations

from dataclasses import replace

from controller.core.alarms.alarm import Alarm, Truth
from controller.core.alarms.lifecycle import ACTIVE, SILENCED, SOUNDING, Phase, Trigger, follow
from controller.core.alarms.remind import next_reminder_ms
from controller.core.plan.alarm import AlarmEntry
from controller.core.signals.sense import NEVER
from controller.core.units import MINUTE_MS, SECOND_MS, HouseMs
from controller.core.vocabulary import Stamp


def remember_truth(alarm: Alarm, truth: Truth, now: HouseMs) -> Alarm:
    """Bring up to date since when the condition has been true or over.

    Unknown is never normal: a condition that nobody can judge must show anew that it is over.
    """
    if truth is Truth.UNKNOWN:
        return alarm if alarm.over_ms is None else replace(alarm, over_ms=None)
    if truth is Truth.BETWEEN:
        # Not past the limit and not back past the deadband: what was, goes on.
        if alarm.phase in ACTIVE:
            return alarm if alarm.over_ms is None else replace(alarm, over_ms=None)
        return alarm if alarm.true_ms is None else replace(alarm, true_ms=None)
    if truth is Truth.TRUE:
        if alarm.true_ms is not None and alarm.over_ms is None:
            return alarm
        return replace(alarm, true_ms=now if alarm.true_ms is None else alarm.true_ms, over_ms=None)
    if alarm.over_ms is not None and alarm.true_ms is None:
        return alarm
    return replace(alarm, true_ms=None, over_ms=now if alarm.over_ms is None else alarm.over_ms)


def live(
    entry: AlarmEntry,
    alarm: Alarm,
    truth: Truth,
    stamp: Stamp,
    next_occurrence: int,
    caused: bool = False,  # noqa: FBT001, FBT002 - most alarms have no cause among the others
) -> tuple[Alarm, Trigger | None]:
    """Let condition and time act on the alarm; return it and what happened, if something did.

    `caused` says that an alarm which is its cause is open. One thing at most happens a call; the caller calls
    again while something happens.
    """
    now = stamp.house_ms
    alarm = remember_truth(alarm, truth, now)
    if alarm.phase in SILENCED:
        ends = not caused if alarm.phase is Phase.SUPPRESSED else now >= alarm.shelved_until_ms
        return release(entry, alarm, stamp, next_occurrence) if ends else (alarm, None)
    if caused and alarm.phase is Phase.UNACKNOWLEDGED:
        return suppress(alarm), Trigger.SUPPRESS
    true_ms, over_ms = alarm.true_ms, alarm.over_ms
    if true_ms is not None and now - true_ms >= entry.on_delay_s * SECOND_MS and alarm.phase not in ACTIVE:
        if truth is Truth.UNKNOWN:
            return alarm, None
        if caused and alarm.phase is Phase.NORMAL:
            hidden = replace(suppress(alarm), raised_ms=now, raised_utc_ms=stamp.utc_ms, answered_by="")
            return hidden, Trigger.SUPPRESS
        return raise_alarm(alarm, stamp, next_occurrence), Trigger.RAISE
    if over_ms is not None and alarm.phase in ACTIVE and now - over_ms >= entry.off_delay_s * SECOND_MS:
        trigger = Trigger.RETURN_LATCHED if entry.latching else Trigger.RETURN
        after = follow(alarm.phase, trigger)
        keep = after in SOUNDING
        return replace(
            alarm, phase=after, again_ms=NEVER, next_call_ms=alarm.next_call_ms if keep else NEVER
        ), trigger
    if alarm.phase is Phase.ACKNOWLEDGED and now >= alarm.again_ms:
        after = follow(alarm.phase, Trigger.SOUND_AGAIN)
        again = replace(
            alarm,
            phase=after, again_ms=NEVER, rung=0, turn_of_list=0, ladder_ms=now, next_call_ms=now,
            answered_by="", answered_utc_ms=0, lapsed_by=alarm.answered_by,
        )  # fmt: skip
        return again, Trigger.SOUND_AGAIN
    return alarm, None


def raise_alarm(alarm: Alarm, stamp: Stamp, next_occurrence: int) -> Alarm:
    """Sound: a new occurrence with a code of its own, unless the last one still waits for its answer."""
    after = follow(alarm.phase, Trigger.RAISE)
    if alarm.phase in {Phase.RETURNED, Phase.LATCHED_UNACKNOWLEDGED}:
        # People have been told that it is over, so they are told at once that it is not.
        return replace(alarm, phase=after, next_call_ms=stamp.house_ms)
    return replace(
        alarm,
        phase=after, occurrence=next_occurrence, code="",
        raised_ms=stamp.house_ms, raised_utc_ms=stamp.utc_ms, answered_by="", answered_utc_ms=0,
        again_ms=NEVER, rung=0, turn_of_list=0, failures=0, ladder_ms=stamp.house_ms,
        next_call_ms=stamp.house_ms, told=(), heard=(), missed=(), lapsed_by="",
    )  # fmt: skip


def answer(entry: AlarmEntry, alarm: Alarm, stamp: Stamp, person: str) -> Alarm:
    """Take a person's answer: the calls stop, and begin again if it is still wrong for too long."""
    after = follow(alarm.phase, Trigger.ACKNOWLEDGE)
    again = (
        next_reminder_ms(entry, stamp.house_ms + round(entry.sound_again_min * MINUTE_MS), stamp)
        if after is Phase.ACKNOWLEDGED
        else NEVER
    )
    return replace(
        alarm,
        phase=after,
        answered_by=person,
        answered_utc_ms=stamp.utc_ms,
        lapsed_by="",
        again_ms=again,
        next_call_ms=NEVER,
    )


def shelve(alarm: Alarm, until_ms: HouseMs) -> Alarm:
    """Silence the alarm until an instant. It goes on being judged."""
    return replace(
        alarm,
        phase=follow(alarm.phase, Trigger.SHELVE),
        shelved_until_ms=until_ms,
        next_call_ms=NEVER,
        again_ms=NEVER,
    )


def suppress(alarm: Alarm) -> Alarm:
    """Call nobody while the cause calls. It goes on being judged."""
    return replace(alarm, phase=follow(alarm.phase, Trigger.SUPPRESS), next_call_ms=NEVER, again_ms=NEVER)


def take_out(alarm: Alarm, *, by: str, replacement: str) -> Alarm:
    """Take the alarm out of service; something else stands in its place. It goes on being judged."""
    return replace(
        alarm,
        phase=follow(alarm.phase, Trigger.TAKE_OUT),
        shelved_until_ms=NEVER,
        next_call_ms=NEVER,
        again_ms=NEVER,
        out_by=by,
        replacement=replacement,
    )


def release(entry: AlarmEntry, alarm: Alarm, stamp: Stamp, next_occurrence: int) -> tuple[Alarm, Trigger]:
    """End a silence: sound if it is still wrong and has been for the on-delay, else back to normal."""
    alarm = replace(alarm, shelved_until_ms=NEVER, out_by="", replacement="")
    true_ms = alarm.true_ms
    if true_ms is None or stamp.house_ms - true_ms < entry.on_delay_s * SECOND_MS:
        return replace(alarm, phase=follow(alarm.phase, Trigger.RELEASE_NORMAL)), Trigger.RELEASE_NORMAL
    return raise_alarm(replace(alarm, phase=Phase.NORMAL), stamp, next_occurrence), Trigger.RELEASE_ACTIVE


def next_due_ms(entry: AlarmEntry, alarm: Alarm, now: HouseMs) -> HouseMs:
    """Return when time alone next has something to do with the alarm [ms]; NEVER if nothing.

    Only instants after `now` count: what was due and did not happen waits for the sensor, not for time.
    """
    times = [alarm.next_call_ms, alarm.again_ms, alarm.shelved_until_ms]
    if alarm.phase not in SILENCED:
        if alarm.true_ms is not None and alarm.phase not in ACTIVE:
            times.append(alarm.true_ms + round(entry.on_delay_s * SECOND_MS))
        if alarm.over_ms is not None and alarm.phase in ACTIVE:
            times.append(alarm.over_ms + round(entry.off_delay_s * SECOND_MS))
    return min((time for time in times if time > now), default=NEVER)
