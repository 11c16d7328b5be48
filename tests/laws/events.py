"""Every event there is, true or absurd, for Hypothesis to draw from."""

from __future__ import annotations

from typing import Final

from hypothesis import strategies as st
from makers import (
    INSIDE,
    LIGHT,
    NOON_UTC_MS,
    OUTSIDE,
    OXYGEN,
    make_curtain,
    make_entry,
    make_plan,
    make_sky,
    make_step,
)

from controller.core.plan.alarm import Kind, Response, Watched
from controller.core.plan.curtain import (
    Actuator,
    HumidityGap,
    LightSum,
    StagedOpening,
    StormAndSnow,
    TooCold,
    TooHot,
)
from controller.core.plan.duty import WEEK, Day, Duty
from controller.core.plan.people import CallRules
from controller.core.plan.supervision import Supervision
from controller.core.units import DAY_MS, HOUR_MS
from controller.core.vocabulary import (
    AlarmPutBack,
    AlarmReset,
    AlarmShelved,
    AlarmTakenOut,
    AlmanacArrived,
    AnswerGiven,
    CurtainReported,
    EffectDone,
    EffectFailed,
    Event,
    FaultCleared,
    GuessesSeen,
    HoldAsked,
    HoldReleased,
    Limit,
    PayloadRefused,
    ReadingsTaken,
    Sample,
    Selector,
    SettingsChanged,
    Started,
    TestCallAsked,
    TroubleSeen,
    Weather,
    WeatherTold,
    Woken,
)

PLAN: Final = make_plan(
    alarm=(
        *make_plan().alarm,
        make_entry("oxygen falling", kind=Kind.RATE, limit=-0.5, latching=True, on_delay_s=0.0),
        make_entry("light in doubt", kind=Kind.DOUBTFUL, sensor=LIGHT, limit=None, response=Response.TODAY),
    ),
    curtain=(make_curtain(), make_curtain(name="wall", actuator=Actuator.RELAYS, light_ceiling=None)),
)
"""The house of the laws: two curtains of both kinds, alarms of all manners."""

PLANS: Final = (
    PLAN,
    make_plan(curtain=(), alarm=()),
    make_plan(sensor=make_plan().sensor[:2]),
    make_plan(person=make_plan().person[1:], call=(make_step(3, "porter"),)),
    PLAN.model_copy(update={"curtain": (make_curtain(dry_run=True, dwell_min=0.0),)}),
    PLAN.model_copy(update={"call": ()}),
    PLAN.model_copy(
        update={
            "curtain": (
                make_curtain(
                    storm_and_snow=StormAndSnow(wind_sensor=OXYGEN, snow_sensor=LIGHT),
                    too_hot=TooHot(delay_min=0.0),
                    too_cold=TooCold(delay_min=0.0),
                    humidity_gap=HumidityGap(humidity_sensor=OXYGEN, above_percent=50.0, delay_min=0.0),
                    staged_opening=StagedOpening(difference_above_c=0.0),
                    light_sum=LightSum(low_mol_m2=1.0, high_mol_m2=2.0),
                ),
            )
        }
    ),
    PLAN.model_copy(
        update={
            "supervision": Supervision(heartbeat_webhook="https://watcher.example.org/"),
            "duty": (
                Duty(days=(*WEEK, Day.HOLIDAY), from_time="00:00", until_time="24:00", person="porter"),
            ),
            "call_rules": CallRules(quiet_from="22:00", quiet_to="06:00", flood_alarms=3, calls_most=1),
            "alarm": tuple(
                entry.model_copy(update={"suppressed_by": ("tank oxygen lost",)}) for entry in PLAN.alarm
            ),
        }
    ),
)
"""What the settings may change to."""

ODD_FLOATS = st.floats(allow_nan=True, allow_infinity=True) | st.sampled_from(
    [0.0, 100.0, -1.0, 85.0, 5e-324]
)
PEOPLE = st.sampled_from(["keeper", "deputy", "porter", "stranger", "", "  "])
CURTAINS = st.sampled_from(["roof", "wall", "attic", ""])
ALARMS = st.sampled_from([entry.name for entry in PLAN.alarm] + ["curtain stopped on a fault", "nothing"])
EFFECTS = st.integers(0, 40).map(lambda number: f"e{number}")
SENSORS = st.sampled_from([LIGHT, INSIDE, OUTSIDE, OXYGEN, "nobody"])
SAMPLES = st.builds(
    Sample,
    SENSORS,
    st.floats(-10, 1500) | ODD_FLOATS,
    st.booleans() | st.just(True),
    st.none() | st.integers(NOON_UTC_MS - DAY_MS, NOON_UTC_MS + DAY_MS) | st.integers(-(2**70), 2**70),
)
CODES = st.integers(1, 12).map(lambda number: str(1000 + (number * 7919 + 3210) % 9000)) | st.text(max_size=5)

EVENTS: st.SearchStrategy[Event] = st.one_of(
    st.builds(Started, st.none() | st.integers(0, 10 * DAY_MS)),
    st.builds(ReadingsTaken, st.lists(SAMPLES, max_size=6).map(tuple)),
    st.builds(ReadingsTaken, st.lists(SAMPLES, max_size=6).map(tuple)),
    st.builds(PayloadRefused, st.text(max_size=5), st.text(max_size=5), st.text(max_size=5)),
    st.builds(
        CurtainReported,
        CURTAINS,
        st.none() | st.floats(0, 100) | ODD_FLOATS,
        st.booleans(),
        st.sampled_from(Limit),
        st.sampled_from(Selector),
        st.none() | EFFECTS,
    ),
    st.builds(SettingsChanged, st.sampled_from(PLANS)),
    st.builds(
        lambda sun, clear: AlmanacArrived(make_sky(sun, clear, days=2)),
        st.floats(-60, 60),
        st.floats(0, 1100),
    ),
    st.just(Woken()),
    st.builds(TroubleSeen, st.sampled_from(Watched), st.none() | st.text(max_size=5)),
    st.builds(AnswerGiven, CODES, PEOPLE, st.text(max_size=5)),
    st.builds(HoldAsked, CURTAINS, ODD_FLOATS | st.floats(0, 100), ODD_FLOATS | st.floats(0, 300), PEOPLE),
    st.builds(HoldReleased, CURTAINS, PEOPLE),
    st.builds(WeatherTold, st.sampled_from(Weather), ODD_FLOATS | st.floats(0, 30), PEOPLE),
    st.builds(FaultCleared, CURTAINS, PEOPLE),
    st.builds(AlarmShelved, ALARMS, ODD_FLOATS | st.floats(0, 200), PEOPLE, st.text(max_size=5)),
    st.builds(AlarmReset, ALARMS, PEOPLE),
    st.builds(AlarmTakenOut, ALARMS, PEOPLE, PEOPLE, st.text(max_size=5)),
    st.builds(AlarmPutBack, ALARMS, PEOPLE),
    st.builds(TestCallAsked, PEOPLE, PEOPLE),
    st.builds(GuessesSeen, st.text(max_size=5)),
    st.builds(EffectDone, EFFECTS, st.text(max_size=3)),
    st.builds(EffectFailed, EFFECTS, st.text(max_size=3)),
)
"""Any event."""

PASSINGS = st.sampled_from([0, 1, 999, 5_000, 30_000, 61_000, 5 * 60_000, 20 * 60_000, HOUR_MS, DAY_MS])
"""How far house time goes on between two events. [ms]"""

JUMPS = st.sampled_from([0, 0, 0, HOUR_MS, -HOUR_MS, DAY_MS, -3 * DAY_MS, 40 * 365 * DAY_MS])
"""By how much the board's clock jumps besides. [ms]"""
