"""What status says reads as people speak: one alarm is, two are; nothing empty is shown."""

from __future__ import annotations

from typing import Any

from makers import House

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
