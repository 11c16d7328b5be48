"""How the chain from an alarm to a person is proven while nothing is wrong."""

from __future__ import annotations

from controller.core.plan.duty import Day
from controller.core.plan.part import Part, key


class Supervision(Part):
    """Test calls, proofs of paths, the daily digest, and the heartbeat to the outside."""

    test_day: Day = key(Day.MON, "Day of the weekly test call to every person; holiday is no such day.")
    test_time: str = key("10:00", "Local time of the test call.", max_length=5)
    answer_within_min: float = key(
        15.0, "A test call must be answered within this.", unit="min", ge=1, le=240
    )
    remind_times: int = key(
        0, "How often an unanswered test call is sent again within that time, evenly spread.", ge=0, le=5
    )
    unproven_days: float = key(
        8.0, "A path without delivery or answer for so long is an alarm.", unit="days", ge=1, le=90
    )
    digest_time: str = key("07:30", "Local time of the daily digest mail; empty for none.", max_length=5)
    digest_people: tuple[str, ...] = key((), "Who gets the digest; the first step of today if empty.")
    try_ways_h: float = key(
        4.0, "How often the mail account is signed in to without sending; 0 never.", unit="h", ge=0, le=24
    )
    heartbeat_min: float = key(
        5.0, "How often a sign of life goes to the outside; 0 never.", unit="min", ge=0, le=60
    )
    heartbeat_webhook: str = key(
        "", "Address (https) that takes the sign of life, signed; the broker alone if empty.", max_length=300
    )
