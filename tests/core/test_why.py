"""Why the curtain is where it is: one rule has its way, the others say what they would, and waits are told."""

from __future__ import annotations

from makers import House

from controller.core.curtain.choice import PRECEDENCE
from controller.core.vocabulary import HoldAsked
from controller.core.why import explain_curtains, print_precedence

NIGHT = {"roof_light": 0.0, "house_air": 15.0, "outside_air": 2.0, "tank_oxygen": 8.0}


def test_every_rule_has_its_say_and_one_rules() -> None:
    """In the order of precedence, each with a sentence; the one that rules is the one that was chosen."""
    house = House().sky(-20.0).report(0.0).until_move(NIGHT)
    (why,) = explain_curtains(house.state, house.stamp)

    assert [verdict.rule for verdict in why.verdicts] == [rule.value for rule, _ in PRECEDENCE]
    assert [verdict.rule for verdict in why.verdicts if verdict.rules] == ["hold heat at night"] == [why.rule]
    assert why.waiting == "the motor runs to 100 % drawn"
    assert "inside 15.0 C" in why.reason


def test_the_overruled_still_say_what_they_want() -> None:
    """Under a hold, the night's wish is there to read."""
    house = House().sky(-20.0).report(0.0).until_move(NIGHT).obey()
    house.tell(HoldAsked("roof", 100.0, 60.0, "keeper"))
    (why,) = explain_curtains(house.state, house.stamp)
    says = {verdict.rule: verdict.says for verdict in why.verdicts}

    assert (why.rule, why.position) == ("manual hold", "drawn")
    assert says["hold heat at night"].startswith("100 % drawn: night")
    assert says["light ceiling"] == "abstains"


def test_a_wait_is_told_in_minutes() -> None:
    """What is wanted and may not be yet says for how long."""
    house = House().sky(-20.0).report(0.0).until_move(NIGHT).obey()
    house.sky(30.0, 500.0).wait(10, speaking=NIGHT | {"roof_light": 200.0})
    (why,) = explain_curtains(house.state, house.stamp)

    assert why.rule == "open"
    assert why.waiting == "it waits another 10 min before the motor may run"


def test_a_house_that_has_just_begun_can_be_asked() -> None:
    """Before anything has been heard there is an answer too."""
    (why,) = explain_curtains(House(start=False).state, House(start=False).stamp)

    assert (why.position, why.rule) == ("position unknown", "nothing known")


def test_the_printed_order_is_the_order() -> None:
    """The documentation's table has a row for each rule."""
    assert len(print_precedence().splitlines()) == 2 + len(PRECEDENCE)
