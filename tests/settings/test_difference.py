"""What a reload changes, by name."""

from __future__ import annotations

from pathlib import Path

from controller.core.plan.plan import Plan
from controller.settings.difference import differences
from controller.settings.load import load_settings

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")


def load(text: str) -> Plan:
    """Load a text that is good."""
    plan = load_settings(text, file_name="house.toml")
    assert isinstance(plan, Plan), "\n".join(map(str, plan))
    return plan


def tell(*changes: tuple[str, str]) -> list[str]:
    """Change the good file and tell the differences as they are printed."""
    text = GOOD
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return [str(each) for each in differences(load(GOOD), load(text))]


def test_the_same_file_has_no_difference() -> None:
    """A reload of an unchanged file changes nothing, and neither do comments or the order of tables."""
    assert tell() == []
    assert tell(("interval_s = 30", "interval_s = 30.0  # half a minute")) == []
    tank = GOOD[GOOD.index('[[sensor]]\nname = "oxygen"') : GOOD.index('[[sensor]]\nname = "air pump"')]
    moved = GOOD.replace(tank, "").replace("[[curtain]]", tank + "[[curtain]]")
    assert differences(load(GOOD), load(moved)) == ()


def test_a_changed_key_is_told_with_both_values() -> None:
    """A change of one key names its table, the key and both values."""
    assert tell(("interval_s = 30", "interval_s = 20")) == ['sensor "oxygen": interval_s 30 -> 20']
    assert tell(("limit = 4.0", "limit = 4.5")) == ['alarm "Oxygen low": limit 4 -> 4.5']


def test_a_key_of_a_rule_is_told_under_its_curtain() -> None:
    """A change inside a table of rules names the curtain and the table."""
    assert tell(("drawn_percent = 90", "drawn_percent = 80")) == [
        'curtain "main", light_ceiling: drawn_percent 90 -> 80'
    ]


def test_a_change_that_needs_a_restart_says_so() -> None:
    """Where the broker stands is only asked at the start; the difference says so."""
    assert tell(('host = "127.0.0.1"', 'host = "127.0.0.1"\nport = 1884')) == [
        "broker: port 1883 -> 1884 (takes effect after a restart)"
    ]
    (only,) = differences(
        load(GOOD), load(GOOD.replace('host = "127.0.0.1"', 'host = "127.0.0.1"\nport = 1884'))
    )
    assert only.needs_restart
    assert (only.old, only.new) == (1883, 1884)


def test_what_comes_and_goes_is_told_by_name() -> None:
    """A new sensor is added, a renamed alarm is one removed and one added, a table of rules can go."""
    new = '[[sensor]]\nname = "new"\nquantity = "ph"\nunit = "pH"\ntopic = "new/ph"\n\n[[curtain]]'
    assert tell(("[[curtain]]", new)) == ['sensor "new" added']
    assert tell(('name = "Broker lost"', 'name = "Broker gone"')) == [
        'alarm "Broker lost" removed',
        'alarm "Broker gone" added',
    ]
    heat = GOOD[GOOD.index("[curtain.hold_heat]") : GOOD.index('[[alarm]]\nname = "Oxygen low"')]
    assert tell((heat, "")) == ['curtain "main", hold_heat removed']


def test_an_optional_key_that_comes_or_goes_is_told() -> None:
    """A key without a default says that it is set, or no longer."""
    assert tell(("possible_low = -30\n", "")) == ['sensor "outside air": possible_low no longer set']
    assert tell(("interval_s = 30", "interval_s = 30\nsensor_ceiling = 15")) == [
        'sensor "oxygen": sensor_ceiling set to 15'
    ]


def test_a_changed_step_is_told_by_its_place() -> None:
    """Steps of the call list have no name; they are told by their place in the list."""
    assert tell(("after_min = 5", "after_min = 6")) == ["call step 2: after_min 5 -> 6"]
