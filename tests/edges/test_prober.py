"""The prober finds a broken way before it is needed, and finds it mended again."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from waiting import wait_until

from controller.core.plan.people import Way
from controller.core.vocabulary import SendMessage, WayTried
from controller.edges.notify.prober import Prober
from controller.edges.notify.sender import Sender
from controller.edges.notify.way import Outcome, WayAdapter

GOOD = Outcome(accepted=True, text="fine")
BAD = Outcome(accepted=False, text="wrong password: 535 no", way_works=False)


class Account:
    """A way that can be probed; its state is changed by the test."""

    def __init__(self) -> None:
        self.now = GOOD
        self.probes = 0

    def send(self, message: SendMessage) -> Outcome:
        """Send nothing."""
        del message
        return self.now

    def probe(self) -> Outcome:
        """Be probed."""
        self.probes += 1
        return self.now


class Blind:
    """A way that cannot be tried without sending."""

    def send(self, message: SendMessage) -> Outcome:
        """Fail the test."""
        raise AssertionError(f"nothing is to be sent: {message}")


@pytest.fixture
def told() -> list[object]:
    """Keep what the house is told."""
    return []


@pytest.fixture
def prober(told: list[object]) -> Iterator[Prober]:
    """Give a quick prober; it is stopped after the test."""
    one = Prober(Sender(told.append, {}).note_way, first_s=0.01, again_s=0.02)
    yield one
    one.stop()
    assert "prober" not in {thread.name for thread in threading.enumerate()}


def test_a_broken_account_is_told_once_and_once_when_it_is_mended(prober: Prober, told: list[object]) -> None:
    """It fails, it fails again, somebody mends it: two words, the bad one and the good one."""
    account = Account()
    account.now = BAD
    ways: dict[Way, WayAdapter] = {Way.EMAIL: account, Way.WEBHOOK: Blind()}
    prober.start(ways, 4.0)
    wait_until(lambda: account.probes >= 3, "a failing way is tried again soon")
    account.now = GOOD
    wait_until(lambda: len(told) == 2, "the mended way is found")
    assert told == [WayTried(Way.EMAIL, "wrong password: 535 no"), WayTried(Way.EMAIL, None)]


def test_a_way_that_works_is_not_tried_again_for_hours(prober: Prober, told: list[object]) -> None:
    """One try, and nothing to tell; new settings bring another."""
    account = Account()
    prober.start({Way.EMAIL: account}, 4.0)
    wait_until(lambda: account.probes == 1, "the first try")
    prober.change({Way.EMAIL: account}, 4.0)
    wait_until(lambda: account.probes == 2, "new settings are tried soon")
    assert told == []


def test_with_no_hours_nothing_is_tried(prober: Prober) -> None:
    """Who does not want it is left alone, until new settings want it."""
    account, other = Account(), Account()
    prober.start({Way.EMAIL: account}, 0.0)
    prober.change({Way.EMAIL: other}, 2.0)
    wait_until(lambda: other.probes == 1, "the new settings are followed")
    assert account.probes == 0
