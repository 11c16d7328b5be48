"""What status says reads as people speak: one alarm is, two are; nothing empty is shown."""

from __future__ import annotations

from typing import Any

import pytest
from makers import House
from waters import AMMONIA, PH, UNIONISED, WARMTH, make_kit, make_tank_plan

from controller.core.units import Basis, Quantity
from controller.core.vocabulary import ReadingsTaken, Sample, ValueEntered
from controller.report import describe_status, write_status

ALARM: dict[str, Any] = {
    "code": "", "alarm": "pump off", "detail": "", "silence": "", "state": "sounding", "age_min": 300.0,
    "answered_by": "", "action": "Look",
}  # fmt: skip


def test_one_alarm_is_open_and_nothing_empty_stands_in_its_line() -> None:
    """No empty code in brackets, no colon without a fact; long ages in hours; one message is under way."""
    house = House()
    document = describe_status(house.state, house.stamp) | {"messages_under_way": 1}
    text = write_status({**document, "alarms": [ALARM]})

    assert "1 alarm is open:\n  pump off\n" in text
    assert "sounding for 5 h." in text
    assert "1 message is under way." in text
    assert "2 alarms are open:" in write_status({**document, "alarms": [ALARM, ALARM]})


NITRATE, NITRITE, BUFFER = "tank nitrate kit", "tank nitrite kit", "sump alkalinity kit"


def begin_with_kits() -> House:
    """Begin a house with a tank and kits of everything that is weighed as something, and of one that is not."""
    plan = make_tank_plan()
    kits = (
        make_kit(NITRATE, Quantity.NITRATE),
        make_kit(NITRITE, Quantity.NITRITE),
        make_kit(BUFFER, Quantity.ALKALINITY),
    )
    return House(make_tank_plan(sensor=(*plan.sensor, *kits)))


@pytest.mark.parametrize(
    ("sensor", "value", "basis", "words"),
    [
        # Molar masses of the IUPAC standard atomic weights: N 14.007, NO3 62.004, NO2 46.005, NH3 17.031.
        (NITRATE, 44.27, Basis.NITRATE, "10 mg/L as N (entered as 44.27 mg/L NO3)"),
        (NITRITE, 3.285, Basis.NITRITE, "1 mg/L as N (entered as 3.285 mg/L NO2)"),
        (AMMONIA, 1.0, Basis.AMMONIA, "0.8224 mg/L as N (entered as 1 mg/L NH3)"),
        (AMMONIA, 0.8, Basis.NITROGEN, "0.8 mg/L as N"),
        (BUFFER, 80.0, Basis.ITSELF, "80 mg/L"),
    ],
)
def test_status_says_what_was_typed_and_what_it_is_as_nitrogen(
    sensor: str, value: float, basis: Basis, words: str
) -> None:
    """A line says the kept value with "as N" and, where another number was typed, that one with its basis."""
    house = begin_with_kits().tell(ValueEntered(sensor, value, "student", basis))
    lines = write_status(describe_status(house.state, house.stamp)).splitlines()

    assert f"Entered, {sensor}: {words} by student, 0.0 days ago" in lines
    kept = words.split(" (", maxsplit=1)[0]
    assert any(line.startswith(f"  {sensor:<24} {kept:<16} good") for line in lines)


def test_un_ionised_ammonia_is_shown_as_nitrogen_and_oxygen_is_not() -> None:
    """What is derived from nitrogen is nitrogen: 5.02 % of 1 mg/L at pH 8.0 and 24 C (UF/IFAS FA16)."""
    house = begin_with_kits().tell(
        ReadingsTaken((Sample(PH, 8.0), Sample(WARMTH, 24.0))),
        ValueEntered(AMMONIA, 1.0, "student", Basis.NITROGEN),
    )
    sensors = {each["sensor"]: each for each in describe_status(house.state, house.stamp)["sensors"]}

    assert (round(sensors[UNIONISED]["value"], 4), sensors[UNIONISED]["unit"]) == (0.0502, "mg/L as N")
    assert sensors["tank oxygen"]["unit"] == "mg/L"
