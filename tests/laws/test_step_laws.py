"""Laws of `step`, over any events in any order at any pace: what must never happen, and what always does."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields

from events import EVENTS, JUMPS, PASSINGS, PLAN
from hypothesis import given, settings
from hypothesis import strategies as st
from makers import NOON_UTC_MS, START_MS, gather, make_plan

from controller.core.alarms.alarm import QUIET
from controller.core.alarms.lifecycle import ACTIVE, SILENCED, SOUNDING, Phase
from controller.core.curtain import drive as driving
from controller.core.plan.alarm import Response
from controller.core.remember import pack, unpack
from controller.core.signals.sense import NEVER
from controller.core.state import Durable, State, next_wake
from controller.core.step import HOUSEKEEPING_MS, first_state, step
from controller.core.units import DAY_MS, HOUR_MS
from controller.core.vocabulary import (
    AnswerGiven,
    Effect,
    Event,
    MoveCurtain,
    ReadingsTaken,
    Run,
    Sample,
    SendMessage,
    Stamp,
    Started,
    Trust,
    Woken,
)

STORIES = st.lists(st.tuples(PASSINGS, JUMPS, st.booleans(), EVENTS), max_size=30)
Story = Iterable[tuple[int, int, bool, Event]]
Turn = tuple[State, Stamp, Event, State, tuple[Effect, ...]]


def tell(story: Story, state: State | None = None) -> list[Turn]:
    """Turn a story into its turns. House time only goes on; the board's clock does what it likes."""
    state = first_state(PLAN) if state is None else state
    now, utc_ms = START_MS, NOON_UTC_MS
    turns: list[Turn] = []
    for passing, jump, trusted, event in [(0, 0, True, Started()), *story]:
        now += passing
        utc_ms = max(0, utc_ms + passing + jump)
        stamp = Stamp(now, utc_ms, 60, trusted)
        after, effects = step(state, stamp, event)
        turns.append((state, stamp, event, after, effects))
        state = after
    return turns


@given(STORIES)
@settings(max_examples=250)
def test_step_is_total_and_its_laws_hold(story: Story) -> None:
    """Any event in any state returns, and after every turn every law of the house holds."""
    for before, stamp, event, after, effects in tell(story):
        check_wake(after, stamp)
        check_alarms(before, stamp, event, after)
        check_moves(before, stamp, after, effects)
        check_names(before, after, effects)
        check_trust(after, stamp)


def check_wake(after: State, stamp: Stamp) -> None:
    """Work without input lies in the future, and is never further off than the housekeeping."""
    assert stamp.house_ms < next_wake(after) <= stamp.house_ms + HOUSEKEEPING_MS


def check_alarms(before: State, stamp: Stamp, event: Event, after: State) -> None:
    """I1, I2, I11: always a next call, never an answer of nobody; a shelf ends, a hidden alarm has its open cause."""
    for name, alarm in after.durable.alarms.items():
        entry = after.roll.entries[name]
        if alarm.phase in SOUNDING and after.roll.steps[entry.response]:
            assert stamp.house_ms < alarm.next_call_ms < stamp.house_ms + DAY_MS + HOUR_MS
        if alarm.phase is Phase.ACKNOWLEDGED:
            assert alarm.answered_by.strip()
            assert alarm.again_ms < NEVER
        if alarm.phase is Phase.LATCHED_ACKNOWLEDGED:
            assert alarm.answered_by.strip()
        if alarm.phase is Phase.OUT_OF_SERVICE:
            assert " and " in alarm.out_by
            assert alarm.replacement.strip()
        if alarm.phase is Phase.SUPPRESSED:
            assert any(
                after.durable.alarms[cause].phase in ACTIVE for cause in after.roll.causes_of.get(name, ())
            )
        if alarm.phase is Phase.SHELVED:
            assert stamp.house_ms < alarm.shelved_until_ms <= stamp.house_ms + 7 * DAY_MS
        if entry.response is Response.EMERGENCY and alarm.phase is Phase.SHELVED:
            assert alarm.shelved_until_ms <= stamp.house_ms + HOUR_MS
        old = before.durable.alarms.get(name)
        if old is not None and old.phase in SOUNDING and alarm.phase is Phase.ACKNOWLEDGED:
            assert isinstance(event, AnswerGiven)
        assert alarm.due_ms > stamp.house_ms


def check_moves(before: State, stamp: Stamp, after: State, effects: tuple[Effect, ...]) -> None:
    """I7: every run is bounded and expires; none beyond the ceiling, against a hand, or before its rest."""
    for move in gather(effects, MoveCurtain):
        curtain = after.roll.curtains.get(move.curtain) or before.roll.curtains[move.curtain]
        assert stamp.house_ms < move.not_after_house_ms <= stamp.house_ms + 10_000
        assert stamp.utc_ms < move.not_after_utc_ms <= stamp.utc_ms + 10_000
        assert move.reason
        if move.run is Run.STOP:
            assert move.run_at_most_ms == 0
            continue
        ceiling_ms = curtain.travel_time_s * curtain.running_time_ceiling * 1000
        assert 0 < move.run_at_most_ms <= max(ceiling_ms, curtain.travel_time_s * 1000 + 2000) + 1
        assert move.drawn_percent in {0.0, 100.0} or 0.0 < move.drawn_percent < 100.0
        old = before.durable.drives.get(move.curtain, driving.Drive())
        assert old.phase not in {driving.Phase.FAULTED, driving.Phase.LOCKED}
        if old.ended_ms and old.phase is not driving.Phase.RUNNING and move.run is not old.run:
            assert stamp.house_ms - old.ended_ms >= curtain.rest_before_reversal_s * 1000
    for name, drive in after.durable.drives.items():
        if drive.phase is driving.Phase.RUNNING:
            assert (
                drive.run_until_ms - drive.started_ms <= after.roll.curtains[name].travel_time_s * 2000 + 2000
            )
        assert drive.drawn_percent is None or 0.0 <= drive.drawn_percent <= 100.0


def check_names(before: State, after: State, effects: tuple[Effect, ...]) -> None:
    """No name of an effect comes twice but a message that is sent again; what is unchanged is the same object."""
    made = before.durable.effects_made
    for effect in effects:
        if isinstance(effect, MoveCurtain):
            assert int(effect.effect_id[1:]) > made
        if isinstance(effect, SendMessage):
            assert int(effect.effect_id[1:]) > made or effect.effect_id in before.durable.outstanding
            assert (
                effect.effect_id in after.durable.outstanding
                or effect.effect_id in before.durable.outstanding
            )
    same = all(getattr(before.durable, f.name) is getattr(after.durable, f.name) for f in fields(Durable))
    assert (
        same is (before.durable is after.durable) or before.durable.occurrences != after.durable.occurrences
    )


def check_trust(after: State, stamp: Stamp) -> None:
    """I8: what is good has a possible value and has been heard in time; all else says why."""
    for name, sense in after.senses.items():
        if sense.trust is Trust.GOOD:
            assert sense.value is not None
            assert after.roll.specs[name].low <= sense.value <= after.roll.specs[name].high
            assert sense.stale_ms > stamp.house_ms
        else:
            assert sense.why


@given(STORIES)
@settings(max_examples=60)
def test_the_same_events_make_the_same_effects(story: Story) -> None:
    """Told twice, a story has the same effects and the same memory to the byte."""
    once, again = tell(story), tell(story)

    assert [turn[4] for turn in once] == [turn[4] for turn in again]
    assert pack(once[-1][3].durable) == pack(again[-1][3].durable)


@given(STORIES)
@settings(max_examples=80)
def test_a_restart_loses_no_alarm(story: Story) -> None:
    """I4: packed, unpacked and started again, every alarm is where it was, and messages under way go out again."""
    last, stamp = tell(story)[-1][3], tell(story)[-1][1]
    durable = unpack(pack(last.durable))
    assert durable == last.durable
    after, effects = step(first_state(last.plan, durable), stamp, Started(0))
    for name, alarm in last.durable.alarms.items():
        now = after.durable.alarms[name]
        assert now.code == alarm.code or now.occurrence > alarm.occurrence
        if alarm.phase in ACTIVE:
            assert now.phase in ACTIVE
    again = {message.effect_id for message in gather(effects, SendMessage)}
    waiting = {
        effect_id
        for effect_id, under_way in last.durable.outstanding.items()
        if last.durable.alarms.get(under_way.alarm, QUIET).phase not in SILENCED
    }
    assert waiting <= again
    assert [move for move in gather(effects, MoveCurtain) if move.run is not Run.STOP] == []


@given(STORIES)
@settings(max_examples=50)
def test_the_house_is_never_a_busy_loop(story: Story) -> None:
    """Woken whenever it asks to be, an hour of silence takes a bounded number of turns and always gets on."""
    state, stamp = tell(story)[-1][3], tell(story)[-1][1]
    # At most: each curtain's look by the minute, its deadlines, each alarm's, each sensor's, and the whole
    # call list taken once for each alarm; none of them twice at one instant.
    bound = 60 * 2 + 40 * (len(state.roll.entries) + len(state.roll.curtains) + len(state.roll.sensors))
    end, turns = stamp.house_ms + HOUR_MS, 0
    while next_wake(state) <= end:
        moved = next_wake(state) - stamp.house_ms
        stamp = stamp._replace(house_ms=next_wake(state), utc_ms=stamp.utc_ms + moved)
        state, _ = step(state, stamp, Woken())
        turns += 1
        assert turns <= bound


@given(st.lists(st.tuples(st.floats(-5, 25), st.booleans()), min_size=1, max_size=40), JUMPS)
@settings(max_examples=100)
def test_a_true_condition_is_not_normal(values: list[tuple[float, bool]], jump: int) -> None:
    """I3: trusted and past the limit for longer than the delay, an alarm is neither normal nor returned."""
    state, now, utc_ms, since = first_state(make_plan()), START_MS, NOON_UTC_MS, None
    state, _ = step(state, Stamp(now, utc_ms, 0, utc_trusted=True), Started())
    for value, jumps in values:
        now += 45_000
        utc_ms += 45_000 + (jump if jumps else 0)
        stamp = Stamp(now, utc_ms, 0, utc_trusted=True)
        state, _ = step(state, stamp, ReadingsTaken((Sample("tank oxygen", value),)))
        sense = state.senses["tank oxygen"]
        if sense.trust is Trust.GOOD:
            since = None if value >= 5.0 else since or now
        if since is not None and sense.trust is Trust.GOOD and now - since >= 60_000:
            assert state.durable.alarms["tank oxygen low"].phase not in {Phase.NORMAL, Phase.RETURNED}


@given(STORIES, st.lists(st.floats(allow_nan=True), min_size=1, max_size=5))
@settings(max_examples=60)
def test_one_bad_sensor_never_changes_another(story: Story, nonsense: list[float]) -> None:
    """I9: whatever one sensor says, what is known of the others, and their alarms, is what it would have been."""
    state, stamp = tell(story)[-1][3], tell(story)[-1][1]
    quiet, _ = step(state, stamp, ReadingsTaken(()))
    loud, _ = step(state, stamp, ReadingsTaken(tuple(Sample("house air", value) for value in nonsense)))
    for name in quiet.senses:
        assert name == "house air" or quiet.senses[name] == loud.senses[name]
    for name, alarm in quiet.durable.alarms.items():
        sensor = quiet.roll.entries[name].sensor
        assert sensor == "house air" or not sensor or alarm == loud.durable.alarms[name]


@given(STORIES)
@settings(max_examples=60)
def test_the_boards_clock_changes_no_alarm(story: Story) -> None:
    """I10: with every jump of the clock taken out, every deadline on the house axis is the same."""
    # Samples that carry their own time are judged by the board's clock, and rightly so; they are left out, as
    # are curtains, whose sun goes by it.
    kept = [
        (passing, jump, trusted, strip(event))
        for passing, jump, trusted, event in story
        if isinstance(event, (ReadingsTaken, AnswerGiven, Woken, Started))
    ]
    plan = PLAN.model_copy(update={"curtain": ()})
    jumping = tell([(p, j, True, e) for p, j, _, e in kept], first_state(plan))[-1][3]
    steady = tell([(p, 0, True, e) for p, _, _, e in kept], first_state(plan))[-1][3]

    for name, alarm in steady.durable.alarms.items():
        other = jumping.durable.alarms[name]
        assert (alarm.phase, alarm.due_ms, alarm.next_call_ms, alarm.again_ms) == (
            other.phase,
            other.due_ms,
            other.next_call_ms,
            other.again_ms,
        )


def strip(event: Event) -> Event:
    """Take the sensors' own times out of an event."""
    if not isinstance(event, ReadingsTaken):
        return event
    return ReadingsTaken(tuple(sample._replace(taken_utc_ms=None) for sample in event.samples))
