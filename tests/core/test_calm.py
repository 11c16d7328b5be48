"""A reading in its calm leaves every condition on it as it was."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from controller.core.alarms.alarm import Truth, judge_condition
from controller.core.alarms.calm import EVERYWHERE, NOWHERE, find_calms, is_calm, narrow
from controller.core.plan.alarm import AlarmEntry, Kind, Response
from controller.core.signals.sense import UNHEARD, Sense
from controller.core.vocabulary import Trust

COMPARING = (Kind.HIGH, Kind.LOW, Kind.RATE, Kind.SWITCH)


def make_entry(
    kind: Kind, *, limit: float | None = None, deadband: float = 0.0, when: str = "on"
) -> AlarmEntry:
    """Make an entry about the sensor `s`."""
    return AlarmEntry.model_construct(
        name=f"{kind.value} {limit} {deadband} {when}", kind=kind, sensor="s", limit=limit, deadband=deadband,
        alarm_when=when, of=None, response=Response.NOTE,
    )  # fmt: skip


def make_sense(value: float, *, rate: float = 0.0, trust: Trust = Trust.GOOD) -> Sense:
    """Make a reading."""
    return UNHEARD._replace(value=value, last=value, rate_per_min=rate, trust=trust)


numbers = st.floats(-200.0, 200.0)
entries = st.builds(
    make_entry,
    st.sampled_from(COMPARING),
    limit=numbers,
    deadband=st.floats(0.0, 20.0),
    when=st.sampled_from(("on", "off")),
)
senses = st.builds(make_sense, numbers, rate=st.floats(-50.0, 50.0))


@given(st.lists(entries, min_size=1, max_size=4), senses, senses)
def test_no_condition_changes_within_the_calm(found: list[AlarmEntry], before: Sense, after: Sense) -> None:
    """Where two readings are calm every entry judges both as over."""
    calm = find_calms(found)["s"]
    if is_calm(calm, before, after):
        assert {Truth.FALSE} == {
            judge_condition(entry, each, None) for entry in found for each in (before, after)
        }


@given(entries, senses)
def test_the_calm_is_all_but_the_edge(entry: AlarmEntry, sense: Sense) -> None:
    """A reading that one entry judges as over is calm, except at the very edge of the deadband."""
    calm = narrow(EVERYWHERE, entry)
    over = judge_condition(entry, sense, None) is Truth.FALSE
    measured = sense.rate_per_min if entry.kind is Kind.RATE else sense.value or 0.0
    edges = [0.5] if entry.limit is None or entry.kind is Kind.SWITCH else [
        entry.limit - entry.deadband, entry.limit + entry.deadband,
    ]  # fmt: skip
    near = min(abs(measured - edge) for edge in edges) < (0.02 if entry.kind is Kind.SWITCH else 1e-6)
    assert near or is_calm(calm, sense, sense) is over


def test_a_doubted_reading_is_never_calm() -> None:
    """Whatever its value, a reading that is not good is judged, and so is the first good one after it."""
    good, doubted = make_sense(1.0), make_sense(1.0, trust=Trust.DOUBTFUL)
    assert is_calm(EVERYWHERE, good, good)
    assert not is_calm(EVERYWHERE, good, doubted)
    assert not is_calm(EVERYWHERE, doubted, good)


def test_missing_and_doubtful_leave_the_calm_and_a_test_that_is_due_leaves_none() -> None:
    """Entries about trust do not hang on the value; a reminder hangs on the day."""
    assert narrow(EVERYWHERE, make_entry(Kind.MISSING)) == EVERYWHERE
    assert narrow(EVERYWHERE, make_entry(Kind.DOUBTFUL)) == EVERYWHERE
    assert narrow(EVERYWHERE, make_entry(Kind.DUE)) == NOWHERE
