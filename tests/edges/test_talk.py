"""A request that cannot be done is answered with what is wrong with it, in words of the greenhouse."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import pytest

from controller.core.plan.plan import Plan
from controller.core.roll import call_roll
from controller.settings.load import read_settings
from controller.talk import answer

if TYPE_CHECKING:
    from controller.daemon import Daemon

SETTINGS = Path(__file__).parents[2] / "config" / "duskbell.toml"


@pytest.fixture(scope="module")
def daemon() -> Daemon:
    """Stand for a running daemon as far as its names go: none of these requests may reach its events."""
    plan = read_settings(SETTINGS)
    assert isinstance(plan, Plan)
    state = SimpleNamespace(roll=call_roll(plan), durable=SimpleNamespace(doubts={}, alarms={}))
    return cast("Daemon", SimpleNamespace(engine=SimpleNamespace(state=state)))


@pytest.mark.parametrize(
    ("request_", "said"),
    [
        (
            {"do": "hold", "curtain": "nope", "drawn_percent": "50", "minutes": 60},
            "no curtain is called 'nope'; ",
        ),
        ({"do": "release", "curtain": "nope"}, "no curtain is called 'nope'; there are: main"),
        ({"do": "clear", "curtain": "nope"}, "no curtain is called 'nope'; there are: main"),
        (
            {"do": "reset", "alarm": "nope"},
            "no alarm is called 'nope'; duskbell check tells the names of all",
        ),
        ({"do": "hold", "curtain": "main", "drawn_percent": "half", "minutes": 60}, "'half' is no number"),
        ({"do": "mode", "weather": "storm", "hours": "long"}, "'long' is no number"),
        (
            {"do": "hold", "curtain": "main", "minutes": 60},
            "the request hold lacks something: 'drawn_percent'",
        ),
    ],
)
def test_what_is_wrong_with_a_request_is_said_in_words(
    daemon: Daemon, request_: dict[str, object], said: str
) -> None:
    """A name that nothing has and a word that is no number are told as such; only a gap lacks something."""
    reply = answer(daemon, {"person": "keeper", **request_})
    assert reply["ok"] is False
    assert str(reply["text"]).startswith(said)
