"""One address that is refused for good: the others are called at the pace of the list, and no faster."""

from __future__ import annotations

from dataclasses import replace

import pytest
from makers import House, make_entry, make_plan, make_step

from controller.core.alarms.alarm import QUIET
from controller.core.alarms.call_list import settle_down
from controller.core.alarms.lifecycle import Phase
from controller.core.plan.alarm import Response
from controller.core.plan.people import CallRules
from controller.core.vocabulary import EffectDone, EffectFailed, SendMessage


@pytest.mark.parametrize("dead", ["keeper", "porter"])
@pytest.mark.parametrize("response", [Response.EMERGENCY, Response.TODAY])
def test_a_dead_address_does_not_have_the_others_called_every_few_seconds(
    dead: str, response: Response
) -> None:
    """Whether the refusal comes first or last, the list repeats when it should, as somebody was reached."""
    people = ("keeper", "deputy", "porter")
    entry = make_entry(response=response)
    plan = make_plan(alarm=(entry,), call=(make_step(0, *people, response=response),))
    house = House(plan).read(tank_oxygen=7.0)
    sent: list[SendMessage] = []
    for _ in range(240):
        house.wait(0.5, speaking={"tank_oxygen": 3.0})
        while house.messages:
            messages = house.messages
            sent.extend(messages)
            house.tell(
                *(
                    EffectFailed(each.effect_id, "no such address")
                    if each.person == dead
                    else EffectDone(each.effect_id)
                    for each in messages
                )
            )
    repeat = (
        plan.call_rules.repeat_min if response is Response.EMERGENCY else plan.call_rules.repeat_today_min
    )
    rounds = len([each for each in sent if each.person == "deputy"])

    assert 120 / repeat - 1 <= rounds <= 120 / repeat + 1


def test_where_nobody_is_reached_the_list_is_tried_again_soon() -> None:
    """While every address is refused, the list is tried again within the minute, with growing waits."""
    plan = make_plan(alarm=(make_entry(),), call=(make_step(0, "keeper"),))
    house = House(plan).read(tank_oxygen=7.0)
    sent = 0
    for _ in range(30):
        house.wait(0.5, speaking={"tank_oxygen": 3.0})
        while house.messages:
            sent += len(house.messages)
            house.tell(*(EffectFailed(each.effect_id, "down") for each in house.messages))

    assert 4 <= sent <= 15


def test_a_message_that_is_no_call_moves_no_call() -> None:
    """That other messages about an alarm are accepted puts off none of its calls."""
    steps = (make_step(0, "keeper"),)
    alarm = replace(QUIET, phase=Phase.UNACKNOWLEDGED, rung=1, called_ms=1_000, next_call_ms=601_000)
    rules = CallRules()

    assert settle_down(alarm, steps, rules, Response.EMERGENCY, 500_000) == alarm
    assert settle_down(alarm, steps, rules, Response.EMERGENCY, 1_000).next_call_ms == 601_000
