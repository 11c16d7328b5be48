"""The life of an alarm against the published table of states, row by row."""

from __future__ import annotations

import itertools

import pytest

from controller.core.alarms.lifecycle import (
    ACTIVE,
    SILENCED,
    SOUNDING,
    TABLE,
    Phase,
    Trigger,
    follow,
    print_table,
)

P, T = Phase, Trigger
FOUR = (P.NORMAL, P.UNACKNOWLEDGED, P.ACKNOWLEDGED, P.RETURNED)

# State transitions of ANSI/ISA-18.2-2016 and IEC 62682:2022 (alarm state transition diagram), in the order of the
# diagram; re-alarm as in OPC UA part 9 (ReAlarmTime). Where the standard leaves a choice, ours stands beside it.
ISA_ROWS = [
    (P.NORMAL, T.RAISE, P.UNACKNOWLEDGED),
    (P.UNACKNOWLEDGED, T.ACKNOWLEDGE, P.ACKNOWLEDGED),
    (P.UNACKNOWLEDGED, T.RETURN, P.RETURNED),
    (P.ACKNOWLEDGED, T.RETURN, P.NORMAL),
    (P.ACKNOWLEDGED, T.SOUND_AGAIN, P.UNACKNOWLEDGED),
    (P.RETURNED, T.ACKNOWLEDGE, P.NORMAL),
    (P.RETURNED, T.RAISE, P.UNACKNOWLEDGED),  # our choice: the same occurrence goes on
    *[(phase, T.SHELVE, P.SHELVED) for phase in FOUR],
    *[(phase, T.SUPPRESS, P.SUPPRESSED) for phase in FOUR],
    *[(phase, T.TAKE_OUT, P.OUT_OF_SERVICE) for phase in FOUR],
    *[(phase, T.RELEASE_NORMAL, P.NORMAL) for phase in sorted(SILENCED, key=lambda one: one.value)],
    *[(phase, T.RELEASE_ACTIVE, P.UNACKNOWLEDGED) for phase in sorted(SILENCED, key=lambda one: one.value)],
    (P.UNACKNOWLEDGED, T.RETURN_LATCHED, P.LATCHED_UNACKNOWLEDGED),
    (P.ACKNOWLEDGED, T.RETURN_LATCHED, P.LATCHED_ACKNOWLEDGED),
    (P.LATCHED_UNACKNOWLEDGED, T.ACKNOWLEDGE, P.LATCHED_ACKNOWLEDGED),
    (P.LATCHED_ACKNOWLEDGED, T.RESET, P.NORMAL),
]


@pytest.mark.parametrize(("before", "trigger", "after"), ISA_ROWS)
def test_the_table_follows_the_standard(before: Phase, trigger: Trigger, after: Phase) -> None:
    """Every transition of the standard is ours."""
    assert follow(before, trigger) is after


def test_the_table_is_total() -> None:
    """Every phase answers every trigger with a phase."""
    assert all(follow(phase, trigger) in TABLE for phase, trigger in itertools.product(Phase, Trigger))


def test_nobody_answers_by_time() -> None:
    """Of all triggers only a person's answer, and the end of an answered alarm, make an alarm answered."""
    answered = {P.ACKNOWLEDGED, P.LATCHED_ACKNOWLEDGED}
    unanswered = {P.UNACKNOWLEDGED, P.RETURNED, P.LATCHED_UNACKNOWLEDGED}
    ways = {
        (before, trigger) for before, row in TABLE.items() for trigger, to in row.items() if to in answered
    }

    assert {trigger for before, trigger in ways if before in unanswered} == {T.ACKNOWLEDGE}
    assert all(before in answered | unanswered for before, _ in ways)


def test_what_waits_for_an_answer_becomes_normal_by_an_answer_alone() -> None:
    """Returned is not answered; not even time makes it so."""
    assert [trigger for trigger, to in TABLE[P.RETURNED].items() if to is P.NORMAL] == [T.ACKNOWLEDGE]


def test_a_latch_is_left_by_a_reset_alone() -> None:
    """A latched alarm does not become normal though its value does."""
    for phase in (P.LATCHED_UNACKNOWLEDGED, P.LATCHED_ACKNOWLEDGED):
        assert [trigger for trigger, to in TABLE[phase].items() if to is P.NORMAL] == [T.RESET] * (
            phase is P.LATCHED_ACKNOWLEDGED
        )


@pytest.mark.parametrize("phase", [phase for phase in Phase if phase not in ACTIVE | SILENCED])
def test_a_true_condition_sounds_from_every_phase_that_is_not_active(phase: Phase) -> None:
    """No phase swallows a condition: a latched, answered alarm that is true again sounds again."""
    assert follow(phase, T.RAISE) is P.UNACKNOWLEDGED


def test_active_sounding_and_silenced_do_not_contradict() -> None:
    """What is silenced does not sound, and an answered alarm is active without sounding."""
    assert not SILENCED & (SOUNDING | ACTIVE)
    assert {P.ACKNOWLEDGED} == ACTIVE - SOUNDING


def test_the_printed_table_has_every_row() -> None:
    """The documentation's table is this one."""
    text = print_table()

    assert all(f"| **{phase.value}** |" in text for phase in Phase)
    assert len(text.splitlines()) == 2 + len(Phase)
