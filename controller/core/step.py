"""The one function: a state, a stamp and an event make a new state and some effects.

All events go through here. `step` is total: any event in any state returns. Live daemon, replay of a
recording and simulated greenhouse all drive this same function.
"""

from __future__ import annotations

from typing import Final

from controller.core import converse, enter, listen, outcomes, silence, sound, steer, supervise, tend
from controller.core.alarms.alarm import CODES
from controller.core.announce import announce
from controller.core.draft import Draft
from controller.core.plan.alarm import Watched
from controller.core.plan.plan import Plan
from controller.core.roll import call_roll
from controller.core.signals.sense import NEVER
from controller.core.sky.almanac import covers
from controller.core.state import Durable, State
from controller.core.units import HOUR_MS, SECOND_MS, HouseMs
from controller.core.vocabulary import (
    AlarmPutBack,
    AlarmReset,
    AlarmShelved,
    AlarmTakenOut,
    AlmanacArrived,
    AnswerGiven,
    CurtainReported,
    Effect,
    EffectDone,
    EffectFailed,
    Event,
    FaultCleared,
    GuessesSeen,
    HoldAsked,
    HoldReleased,
    Ledger,
    MessageDelivered,
    PayloadRefused,
    ReadingsTaken,
    ReplyReceived,
    SettingsChanged,
    SirenReported,
    Stamp,
    Started,
    TestCallAsked,
    TroubleSeen,
    ValueEntered,
    WayTried,
    WeatherTold,
)

HOUSEKEEPING_MS: Final = HOUR_MS
"""Nothing in the state sleeps longer than this, so that a wrong deadline cannot be for ever. [ms]"""


SKY_HAS_RUN_OUT: Final = "the table of the sun has run out"
"""What is the matter when the table does not reach to now."""

_BY_A_PERSON: Final = (
    AnswerGiven,
    HoldAsked,
    HoldReleased,
    WeatherTold,
    FaultCleared,
    AlarmShelved,
    AlarmReset,
    AlarmTakenOut,
    AlarmPutBack,
    TestCallAsked,
    ValueEntered,
)
"""What only a named person may do."""


def first_state(plan: Plan, durable: Durable | None = None, turn: int = 0) -> State:
    """Make the state of a daemon that has just been born, or that remembers `durable` from before."""
    return State(plan=plan, roll=call_roll(plan), durable=durable or Durable(), turn=turn)


def step(state: State, now: Stamp, event: Event) -> tuple[State, tuple[Effect, ...]]:
    """Take one event in and return the new state and the effects, in the order they must be carried out."""
    draft = Draft(state, now)
    if isinstance(event, _BY_A_PERSON) and not event.person.strip():
        draft.note(Ledger.HOUSE, "people", "refused", f"{type(event).__name__} without a name was refused")
    else:
        _take_in(draft, event)
    _settle(draft)
    announce(draft)
    return draft.finish(_next_wake(draft)), tuple(draft.effects)


def _take_in(draft: Draft, event: Event) -> None:
    """Give the event to the part of the house it belongs to. `Woken` brings nothing but its time."""
    match event:
        case ReadingsTaken():
            listen.take_readings(draft, event)
        case CurtainReported():
            steer.hear_report(draft, event)
        case PayloadRefused():
            listen.count_refusal(draft, event)
        case EffectDone():
            converse.expect_report(draft, event)
            outcomes.take_success(draft, event)
        case EffectFailed():
            _take_failure(draft, event)
        case MessageDelivered() | ReplyReceived() | SirenReported() | GuessesSeen():
            converse.take_in(draft, event)
        case AnswerGiven():
            sound.take_answer(draft, event)
        case FaultCleared() if event.curtain in draft.doubts:
            tend.believe(draft, event)
        case HoldAsked() | HoldReleased() | FaultCleared() | WeatherTold():
            steer.take_asked(draft, event)
        case AlarmShelved() | AlarmReset() | AlarmTakenOut() | AlarmPutBack():
            silence.take_in(draft, event)
        case TestCallAsked():
            supervise.take_test_asked(draft, event)
        case ValueEntered():
            enter.take_entry(draft, event)
        case TroubleSeen():
            sound.hear_of_part(draft, event)
            converse.hear_of_siren(draft, event.part)
            outcomes.hear_of_modem(draft, event.part)
        case WayTried():
            outcomes.take_way_tried(draft, event)
        case AlmanacArrived():
            draft.almanac = event.almanac
            draft.set_trouble(Watched.SKY, None)
            draft.due_curtains.update(draft.roll.curtains)
        case SettingsChanged():
            _change_settings(draft, event.plan)
        case Started():
            _start(draft, event)


def _take_failure(draft: Draft, event: EffectFailed) -> None:
    """Give a failure to whoever gave the order: a message, one thought sent, the siren, a motor."""
    if outcomes.take_failure(draft, event) or converse.take_late_failure(draft, event):
        return
    if not converse.take_siren_failure(draft, event):
        steer.refuse_command(draft, event.effect_id, event.reason)


def _start(draft: Draft, event: Started) -> None:
    """Begin, or begin again: wait for every sensor, forget positions, send unfinished messages again."""
    draft.deadline_has_come = True  # nobody knows what has come due meanwhile
    if not draft.codes_from:
        # The codes of alarms begin somewhere else in every house, and anew after a loss of the record.
        draft.codes_from = 1 + draft.stamp.utc_ms // SECOND_MS % CODES
    if not draft.salt:
        draft.salt = event.salt
    listen.expect_sensors(draft)
    enter.expect_entries(draft)
    tend.expect_waters(draft)
    steer.forget_positions(draft)
    sound.expect_alarms(draft)
    sound.forget_pending(draft)
    outcomes.send_again(draft)
    sound.tell_restart(draft, event.away_ms)
    away = "" if event.away_ms is None else f" after {event.away_ms / 60_000:.0f} min away"
    draft.note(Ledger.HOUSE, "daemon", "started", f"started{away}: everything is unknown until it has spoken")


def _change_settings(draft: Draft, plan: Plan) -> None:
    """Take new settings as a difference: what did not change keeps its state."""
    old = draft.plan
    if plan == old:
        draft.set_trouble(Watched.SETTINGS, None)
        return
    draft.plan, draft.roll = plan, call_roll(plan)
    draft.deadline_has_come = True  # what was set for later may be due now
    unchanged = {sensor.name for sensor in old.sensor if sensor in plan.sensor}
    draft.senses = {name: sense for name, sense in draft.senses.items() if name in unchanged}
    listen.expect_sensors(draft)
    enter.expect_entries(draft)
    tend.expect_waters(draft)
    steer.expect_curtains(draft)
    sound.expect_alarms(draft)
    supervise.forget_gone(draft)
    draft.set_trouble(Watched.SETTINGS, None)
    draft.note(Ledger.HOUSE, "settings", "changed", "new settings are in force")


def _settle(draft: Draft) -> None:
    """Let time act: stale sensors, curtains, alarms. Curtains come before alarms, as their faults are alarms."""
    enter.age_entries(draft)
    listen.let_go_stale(draft)
    tend.tend_due(draft)
    sound.settle_parts(draft)
    _tell_clock_and_sky(draft)
    if draft.deadline_has_come:
        draft.due_curtains.update(draft.roll.curtains)
    steer.steer_due(draft)
    if draft.outstanding:
        outcomes.tend_messages(draft)
    converse.tell_refusals(draft)
    supervise.supervise(draft)
    sound.judge_due(draft)
    converse.follow_siren(draft)


def _tell_clock_and_sky(draft: Draft) -> None:
    """Say whether clock and table of the sun can be used."""
    stamp = draft.stamp
    draft.set_trouble(
        Watched.CLOCK, None if stamp.utc_trusted else "the clock has not been set since the start"
    )
    almanac = draft.almanac
    if stamp.utc_trusted and almanac is not None:
        if not covers(almanac, stamp.utc_ms):
            draft.set_trouble(Watched.SKY, SKY_HAS_RUN_OUT)
        elif draft.troubles.get(Watched.SKY) == SKY_HAS_RUN_OUT:
            # The clock had jumped out of the table and has come back.
            draft.set_trouble(Watched.SKY, None)


def _next_wake(draft: Draft) -> HouseMs:
    """Return when time alone next has work [ms]."""
    now = draft.now
    wake_ms = now + HOUSEKEEPING_MS
    for sense in draft.senses.values():
        if now < sense.stale_ms < wake_ms:
            wake_ms = sense.stale_ms
    if draft.alarms is not draft.state.durable.alarms or draft.alarms_due_ms <= now:
        draft.alarms_due_ms = min(
            (alarm.due_ms for alarm in draft.alarms.values() if alarm.due_ms > now), default=NEVER
        )
    wake_ms = min(wake_ms, draft.alarms_due_ms)
    if draft.outstanding:
        wake_ms = min(wake_ms, outcomes.next_again_ms(draft))
    if draft.roll.reminders and now < draft.tended.look_ms < wake_ms:
        wake_ms = draft.tended.look_ms
    if now < draft.settled_ms < wake_ms:
        wake_ms = draft.settled_ms
    wake_ms = min(wake_ms, max(converse.next_look_ms(draft), now + 1), supervise.next_look_ms(draft))
    for curtain in draft.plan.curtain:
        wake_ms = min(wake_ms, steer.next_look_ms(draft, curtain))
    return wake_ms
