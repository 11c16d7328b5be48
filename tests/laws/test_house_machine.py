"""A house in the hands of Hypothesis: people, boards, mail servers and clocks do as they like, and the laws hold."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest
from events import PLANS
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from makers import House, gather, make_curtain, make_entry, make_missing, make_plan, make_sky, say

from controller.core.alarms.lifecycle import ACTIVE, SOUNDING, Phase
from controller.core.curtain import drive as driving
from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.plan.curtain import Actuator
from controller.core.remember import pack, unpack
from controller.core.step import first_state, step
from controller.core.units import DAY_MS, HOUR_MS, MINUTE_MS
from controller.core.vocabulary import (
    AlarmReset,
    AlarmShelved,
    AlmanacArrived,
    AnswerGiven,
    CurtainReported,
    EffectDone,
    EffectFailed,
    Event,
    FaultCleared,
    HoldAsked,
    Limit,
    MoveCurtain,
    Run,
    Selector,
    SendMessage,
    SettingsChanged,
    Started,
    TroubleSeen,
    Woken,
)

PLAN = make_plan(
    alarm=(
        make_entry(),
        make_missing(),
        make_entry("oxygen latched", limit=6.0, latching=True, response=Response.TODAY, on_delay_s=0.0),
        make_entry("air doubtful", kind=Kind.DOUBTFUL, sensor="house air", response=Response.TODAY),
    ),
    curtain=(
        make_curtain(dwell_min=5.0, moves_per_day=4),
        make_curtain(name="wall", actuator=Actuator.RELAYS, dwell_min=0.0, moves_per_day=3),
    ),
)
NAMES = st.sampled_from([entry.name for entry in PLAN.alarm] + ["curtain stopped on a fault"])
CURTAINS = st.sampled_from(["roof", "wall"])
PEOPLE = st.sampled_from(["keeper", "deputy", ""])


HURRIED = frozenset({"manual hold", "storm or snow", "too hot", "too cold"})
"""The rules that wait for no rest and no budget: people's hands, weather, and what the crop cannot bear."""


class HouseMachine(RuleBasedStateMachine):
    """One house and the world round it."""

    def __init__(self) -> None:
        """Begin a day."""
        super().__init__()
        self.house = House(PLAN)
        self.sent: list[SendMessage] = []
        self.comfort: Counter[tuple[str, int]] = Counter()
        self.speaking: dict[str, float] = {}
        self.turns_at = self.house.turns, self.house.now

    def turn(self, event: Event) -> None:
        """Take one turn, and hold each of its effects to the laws of effects."""
        before = self.house.state
        after_stamp = self.house.stamp
        self.house.tell(event)
        self.sent.extend(self.house.messages)
        for move in gather(self.house.effects, MoveCurtain):
            if move.run is Run.STOP:
                continue
            drive = self.house.state.durable.drives[move.curtain]
            old = before.durable.drives.get(move.curtain, driving.Drive())
            curtain = self.house.state.roll.curtains[move.curtain]
            follows = drive.moves_total == old.moves_total
            assert not follows or drive.rule in {"humidity gap", "open"}
            if drive.rule not in HURRIED and not follows:
                key = move.curtain, driving.local_day(after_stamp)
                self.comfort[key] += 1
                day = driving.local_day(after_stamp)
                assert drive.moves_day == day
                assert drive.moves_today <= curtain.moves_per_day or old.moves_today >= curtain.moves_per_day
                assert old.moves_day != day or old.moves_today < curtain.moves_per_day
                assert (
                    drive.rule == "humidity gap"
                    or not old.ended_ms
                    or after_stamp.house_ms - old.ended_ms >= curtain.dwell_min * MINUTE_MS
                )
            ran = sum(
                end - max(start, after_stamp.house_ms - HOUR_MS)
                for start, end in old.recent_runs
                if end > after_stamp.house_ms - HOUR_MS
            )
            assert ran < curtain.duty_s_per_hour * 1000
            cleared = isinstance(event, FaultCleared) and old.phase is driving.Phase.FAULTED
            assert cleared or old.phase in {driving.Phase.IDLE, driving.Phase.MUTE, driving.Phase.RUNNING}

    @rule(minutes=st.sampled_from([0.1, 0.5, 1.0, 6.0, 16.0, 45.0]))
    def time_passes(self, minutes: float) -> None:
        """Meet every deadline on the way, and let the sensors speak every half minute."""
        house = self.house
        end = house.now + round(minutes * MINUTE_MS)
        next_word = house.now + 30_000
        before = house.turns
        while True:
            due = min(max(house.state.wake_ms, house.now), next_word if self.speaking else end + 1)
            if due > end:
                break
            house.move_to(due)
            if self.speaking and due == next_word:
                next_word += 30_000
                self.turn(say(**self.speaking))
            else:
                self.turn(Woken())
        house.move_to(end)
        state = house.state
        own = len(state.roll.entries) * 8 + len(state.roll.curtains) * 8 + len(state.roll.sensors) * 4
        assert house.turns - before <= minutes * (2 + 1 + 2) + own

    @rule(oxygen=st.sampled_from([2.0, 5.2, 5.7, 8.0, 400.0]), air=st.sampled_from([14.0, 24.0, 85.0]))
    def sensors_say(self, oxygen: float, air: float) -> None:
        """From now on this is what they say."""
        self.speaking |= {"tank_oxygen": oxygen, "house_air": air, "outside_air": 4.0}

    @rule(light=st.sampled_from([0.0, 15.0, 120.0, 550.0, 750.0]))
    def light_is(self, light: float) -> None:
        """Clouds come and go."""
        self.speaking["roof_light"] = light

    @rule(name=st.sampled_from(["tank_oxygen", "house_air", "roof_light"]))
    def sensor_falls_silent(self, name: str) -> None:
        """Break a wire."""
        self.speaking.pop(name, None)

    @rule(sun=st.sampled_from([-20.0, -3.0, 8.0, 50.0]))
    def sun_is(self, sun: float) -> None:
        """Another table of the sun."""
        self.turn(AlmanacArrived(make_sky(sun, max(0.0, sun * 18), days=4)))

    @rule(name=CURTAINS, share=st.floats(0, 1), moving=st.booleans(), ends=st.booleans())
    def board_reports(self, name: str, share: float, moving: bool, ends: bool) -> None:  # noqa: FBT001
        """Tell how far the run has come, truly or at its end."""
        drive = self.house.state.durable.drives.get(name, driving.Drive())
        start = drive.from_percent if drive.from_percent is not None else 50.0
        here = drive.target_percent if ends else start + (drive.target_percent - start) * share
        limit = {0.0: Limit.OPEN, 100.0: Limit.DRAWN}.get(here, Limit.NONE)
        self.turn(CurtainReported(name, here, moving and not ends, limit, command_id=drive.command_id))

    @rule(name=CURTAINS, here=st.none() | st.floats(0, 100), limit=st.sampled_from(Limit),
          selector=st.sampled_from(Selector))  # fmt: skip
    def board_says_something(self, name: str, here: float | None, limit: Limit, selector: Selector) -> None:
        """Tell whatever a board may tell."""
        self.turn(CurtainReported(name, here, moving=False, limit=limit, selector=selector))

    @rule(accepted=st.booleans())
    @precondition(lambda self: self.sent)
    def mail_server_answers(self, accepted: bool) -> None:  # noqa: FBT001
        """Accept or refuse the oldest message."""
        effect_id = self.sent.pop(0).effect_id
        self.turn(EffectDone(effect_id) if accepted else EffectFailed(effect_id, "no route"))

    @rule(name=CURTAINS)
    def command_is_lost(self, name: str) -> None:
        """Lose a command on the way to its board."""
        drive = self.house.state.durable.drives.get(name, driving.Drive())
        self.turn(EffectFailed(drive.command_id, "no connection"))

    @rule(name=NAMES, person=PEOPLE)
    def person_answers(self, name: str, person: str) -> None:
        """Answer with the code of the alarm as it is now."""
        before = self.house.alarm(name)
        self.turn(AnswerGiven(before.code, person, "page"))
        if not person:
            assert self.house.alarm(name).phase is before.phase

    @rule(name=NAMES, minutes=st.sampled_from([1.0, 30.0, 1e9]), person=PEOPLE)
    def person_shelves(self, name: str, minutes: float, person: str) -> None:
        """Ask for silence."""
        self.turn(AlarmShelved(name, minutes, person, "cleaning"))

    @rule(name=NAMES)
    def person_resets(self, name: str) -> None:
        """Reset a latch."""
        self.turn(AlarmReset(name, "keeper"))

    @rule(name=CURTAINS, percent=st.sampled_from([0.0, 40.0, 100.0]), minutes=st.sampled_from([5.0, 90.0]))
    def person_holds(self, name: str, percent: float, minutes: float) -> None:
        """Want the curtain somewhere."""
        self.turn(HoldAsked(name, percent, minutes, "deputy"))

    @rule(name=CURTAINS)
    def person_clears(self, name: str) -> None:
        """Have looked at the motor."""
        self.turn(FaultCleared(name, "keeper"))

    @rule(part=st.sampled_from(Watched), text=st.none() | st.just("broken"))
    def part_is_in_trouble(self, part: Watched, text: str | None) -> None:
        """Let an edge tell how it is."""
        self.turn(TroubleSeen(part, text))

    @rule(jump=st.sampled_from([HOUR_MS, -HOUR_MS, DAY_MS, -DAY_MS]), trusted=st.booleans())
    def clock_jumps(self, jump: int, trusted: bool) -> None:  # noqa: FBT001
        """Set the board's clock, or lose it."""
        before = {name: alarm.due_ms for name, alarm in self.house.state.durable.alarms.items()}
        self.house.utc_ms += jump
        self.house.utc_trusted = trusted
        assert before == {name: alarm.due_ms for name, alarm in self.house.state.durable.alarms.items()}

    @rule(number=st.integers(0, len(PLANS)))
    def settings_change(self, number: int) -> None:
        """Change the settings, or change them back."""
        self.turn(SettingsChanged((*PLANS, PLAN)[number]))

    @rule(away=st.sampled_from([0.0, 0.2, 30.0, 700.0]))
    def power_is_cut(self, away: float) -> None:
        """All but the durable half is lost; no alarm is."""
        house = self.house
        before = house.state.durable
        active = {name for name, alarm in before.alarms.items() if alarm.phase in ACTIVE}
        house.state = first_state(house.state.plan, unpack(pack(before)))
        house.move_to(house.now + round(away * MINUTE_MS))
        self.turn(Started(round(away * MINUTE_MS)))
        assert active <= {name for name, alarm in house.state.durable.alarms.items() if alarm.phase in ACTIVE}
        assert all(drive.phase is not driving.Phase.RUNNING for drive in house.state.durable.drives.values())

    @invariant()
    def an_alarm_is_called_or_had(self) -> None:
        """I1, I6: what sounds has a next call, what is answered has a name and an end."""
        state, now = self.house.state, self.house.now
        for name, alarm in state.durable.alarms.items():
            entry = state.roll.entries[name]
            if alarm.phase in SOUNDING and state.roll.steps[entry.response]:
                assert state.turn == 0 or alarm.next_call_ms < now + DAY_MS
                assert alarm.due_ms <= alarm.next_call_ms
            if alarm.phase is Phase.ACKNOWLEDGED:
                assert alarm.answered_by
                assert alarm.due_ms <= alarm.again_ms < now + 8 * DAY_MS
            if alarm.phase is Phase.SHELVED:
                assert alarm.due_ms <= alarm.shelved_until_ms < now + 8 * DAY_MS

    @invariant()
    def the_house_wakes(self) -> None:
        """Wake at the next deadline of anything, or sooner."""
        state = self.house.state
        for alarm in state.durable.alarms.values():
            assert state.wake_ms <= alarm.due_ms
        for drive in state.durable.drives.values():
            if drive.phase is driving.Phase.RUNNING:
                assert state.wake_ms <= drive.run_until_ms

    @invariant()
    def no_motor_is_past_its_bound(self) -> None:
        """I7: a run is over when its time is, if the house is woken on time."""
        for drive in self.house.state.durable.drives.values():
            if drive.phase is driving.Phase.RUNNING:
                assert self.house.now <= drive.run_until_ms

    @invariant()
    def a_quiet_turn_writes_nothing(self) -> None:
        """Look at one instant twice: there is nothing new to remember."""
        state, _ = step(self.house.state, self.house.stamp, Woken())
        again, effects = step(state, self.house.stamp, Woken())
        assert again.durable is state.durable
        assert not gather(effects, SendMessage)


def restless(**words: Any) -> Any:  # noqa: ANN401 - what Hypothesis calls a test case
    """Make the machine a test of a given size."""
    case = HouseMachine.TestCase
    case.settings = settings(deadline=None, suppress_health_check=list(HealthCheck), **words)
    return case


TestHouse = pytest.mark.slow(restless(max_examples=60, stateful_step_count=40))
