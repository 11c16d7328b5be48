"""The sender: each message is told once, a way that hangs holds back only its own, and nothing waits for ever."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import Enum

import pytest

from controller.core.plan.people import Way
from controller.core.vocabulary import EffectDone, EffectFailed, Event, SendMessage, WayTried
from controller.edges.notify import sender as sender_module
from controller.edges.notify.sender import Sender
from controller.edges.notify.way import Outcome


class OtherWay(Enum):
    """A second way, which the plan does not have yet."""

    SIREN = "siren"


def message(number: int, way: object = Way.EMAIL) -> SendMessage:
    """Make a message."""
    return SendMessage(f"m-{number}", "Keeper", way, f"k{number}@example.org", "s", "t", "a")  # type: ignore[arg-type]  # see OtherWay


@dataclass
class Told:
    """An inbox that keeps what it is told, and lets a test wait for it."""

    events: list[Event] = field(default_factory=list)
    changed: threading.Condition = field(default_factory=threading.Condition)

    def __call__(self, event: Event) -> None:
        """Take an event."""
        with self.changed:
            self.events.append(event)
            self.changed.notify_all()

    def wait_for(self, count: int) -> list[Event]:
        """Wait until so many events have come."""
        with self.changed:
            assert self.changed.wait_for(lambda: len(self.events) >= count, timeout=5), self.events
            return list(self.events)


@dataclass
class Fixed:
    """A way that does with each message what it is told."""

    answer: Callable[[SendMessage], Outcome]
    sent: list[str] = field(default_factory=list)

    def send(self, message: SendMessage) -> Outcome:
        """Send."""
        self.sent.append(message.effect_id)
        return self.answer(message)


GOOD = Outcome(accepted=True, text="250 OK")
DOWN = Outcome(accepted=False, text="no connection", way_works=False)
UNKNOWN = Outcome(accepted=False, text="refused: no such person", way_works=True)


@pytest.fixture
def told() -> Told:
    """Make an inbox."""
    return Told()


def test_an_outcome_comes_back_as_an_event(told: Told) -> None:
    """A message taken is done with the server's words; one refused has failed with the reason."""
    way = Fixed(lambda one: GOOD if one.effect_id == "m-1" else UNKNOWN)
    sender = Sender(told, {Way.EMAIL: way})
    sender.send(message(1))
    told.wait_for(1)
    sender.send(message(2))

    assert told.wait_for(2) == [EffectDone("m-1", "250 OK"), EffectFailed("m-2", "refused: no such person")]
    assert sender.stop(5)


def test_a_way_that_is_not_set_up_fails_at_once(told: Told) -> None:
    """Without a mail server in the settings a message fails with that reason, and nothing hangs."""
    sender = Sender(told, {})
    sender.send(message(1))

    assert told.wait_for(1) == [EffectFailed("m-1", "email is not set up")]
    assert sender.stop(5)


def test_a_way_that_hangs_holds_back_no_other(told: Told) -> None:
    """With every thread of one way stuck, another way's message goes out."""
    stuck = threading.Event()

    def hang(_: SendMessage) -> Outcome:
        stuck.wait(10)
        return GOOD

    sender = Sender(told, {Way.EMAIL: Fixed(hang), OtherWay.SIREN: Fixed(lambda _: GOOD)})  # type: ignore[dict-item]  # see OtherWay
    for number in range(5):
        sender.send(message(number))
    sender.send(message(9, OtherWay.SIREN))

    assert told.wait_for(1) == [EffectDone("m-9", "250 OK")]
    stuck.set()
    told.wait_for(6)
    assert sender.stop(5)


def test_sending_never_waits_and_what_finds_no_room_has_failed(
    told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beyond the bound a message fails at once, so that the call list can go on."""
    monkeypatch.setattr(sender_module, "WAITING_MAX", 3)
    stuck, begun = threading.Event(), threading.Semaphore(0)

    def hang(_: SendMessage) -> Outcome:
        begun.release()
        stuck.wait(10)
        return GOOD

    sender = Sender(told, {Way.EMAIL: Fixed(hang)})
    for number in range(2):
        sender.send(message(number))
        assert begun.acquire(timeout=5)
    began = time.monotonic()
    for number in range(2, 6):
        sender.send(message(number))

    assert time.monotonic() - began < 1.0
    assert told.wait_for(1) == [EffectFailed("m-5", "3 messages already wait for email")]
    stuck.set()
    done = {event.effect_id for event in told.wait_for(6) if isinstance(event, EffectDone)}
    assert done == {"m-0", "m-1", "m-2", "m-3", "m-4"}
    assert sender.stop(5)


def test_a_bug_in_an_adapter_fails_its_message_and_nothing_else(told: Told) -> None:
    """An exception is told as a failure of Duskbell's own, and the next message goes out."""

    def raise_once(one: SendMessage) -> Outcome:
        if one.effect_id in ("m-0", "m-1", "m-2"):
            raise AssertionError("impossible")
        return GOOD

    sender = Sender(told, {Way.EMAIL: Fixed(raise_once)})
    for number in range(3):  # more than there are threads
        sender.send(message(number))
    told.wait_for(4)
    sender.send(message(3))

    events = told.wait_for(6)
    failed = [event for event in events if isinstance(event, EffectFailed)]
    assert {event.effect_id for event in failed} == {"m-0", "m-1", "m-2"}
    assert failed[0].reason == "a fault of Duskbell's own: AssertionError('impossible')"
    assert EffectDone("m-3", "250 OK") in events
    assert sender.stop(5)


def test_a_way_in_trouble_is_told_once_and_once_when_it_is_over(told: Told) -> None:
    """The first failure of the way itself begins the trouble, the first success ends it."""
    answers = iter([UNKNOWN, DOWN, DOWN, UNKNOWN, DOWN, GOOD, GOOD])
    sender = Sender(told, {Way.EMAIL: Fixed(lambda _: next(answers))})
    seen: list[WayTried] = []
    expected = 0
    for number, troubles in enumerate([0, 1, 0, 1, 1, 1, 0]):
        sender.send(message(number))
        expected += 1 + troubles
        told.wait_for(expected)
    seen = [event for event in told.events if isinstance(event, WayTried)]

    begin, end = WayTried(Way.EMAIL, "no connection"), WayTried(Way.EMAIL, None)
    # A refusal of one person proves that the server is there.
    assert seen == [begin, end, begin, end]
    assert sender.stop(5)


def test_new_settings_hold_from_the_next_message_on(told: Told) -> None:
    """After a change the new adapter sends; taking the way away ends its trouble."""
    old, new = Fixed(lambda _: DOWN), Fixed(lambda _: GOOD)
    sender = Sender(told, {Way.EMAIL: old})
    sender.send(message(1))
    told.wait_for(2)
    sender.change({})
    assert told.wait_for(3)[-1] == WayTried(Way.EMAIL, None)
    sender.change({Way.EMAIL: new})
    sender.send(message(2))

    assert told.wait_for(4)[-1] == EffectDone("m-2", "250 OK")
    assert (old.sent, new.sent) == (["m-1"], ["m-2"])
    assert sender.stop(5)


def test_stopping_leaves_what_waits_to_the_next_start(told: Told) -> None:
    """What is on its way ends; what waits is neither sent nor told, and nothing more is taken."""
    stuck, begun = threading.Event(), threading.Semaphore(0)

    def hang(_: SendMessage) -> Outcome:
        begun.release()
        stuck.wait(10)
        return GOOD

    way = Fixed(hang)
    sender = Sender(told, {Way.EMAIL: way})
    for number in range(5):
        sender.send(message(number))
    for _ in range(2):
        assert begun.acquire(timeout=5)
    threading.Timer(0.1, stuck.set).start()

    assert sender.stop(5)
    sender.send(message(9))
    assert sorted(way.sent) == ["m-0", "m-1"]
    assert {event.effect_id for event in told.events if isinstance(event, EffectDone)} == {"m-0", "m-1"}


def test_stopping_does_not_wait_for_a_way_that_hangs(told: Told) -> None:
    """A stop gives up after its time and says that something was left."""
    stuck, begun = threading.Event(), threading.Semaphore(0)

    def hang(_: SendMessage) -> Outcome:
        begun.release()
        stuck.wait(10)
        return GOOD

    sender = Sender(told, {Way.EMAIL: Fixed(hang)})
    sender.send(message(1))
    assert begun.acquire(timeout=5)
    began = time.monotonic()

    assert not sender.stop(0.2)
    assert time.monotonic() - began < 2.0
    stuck.set()


def test_messages_to_one_address_go_one_after_the_other(told: Told) -> None:
    """While the first hangs the second to the same person waits, and one to somebody else goes past both."""
    gate, other = threading.Event(), threading.Event()
    order: list[str] = []

    def carry(one: SendMessage) -> Outcome:
        order.append(one.effect_id)
        if one.effect_id == "m-1":
            assert gate.wait(5)
        if one.effect_id == "m-3":
            other.set()
        return GOOD

    sender = Sender(told, {Way.EMAIL: Fixed(carry)})
    first = message(1)
    sender.send(first)
    sender.send(replace(first, effect_id="m-2"))
    sender.send(message(3))
    assert other.wait(5), "somebody else is not held up"
    gate.set()
    told.wait_for(3)
    assert order.index("m-1") < order.index("m-2")
    assert order[1] == "m-3"
    assert sender.stop(5)


def test_what_follows_a_refused_message_is_not_sent(told: Told) -> None:
    """Who has not heard the begin does not hear the end; what follows a taken message goes."""
    answers = iter([UNKNOWN, GOOD, GOOD])
    way = Fixed(lambda _: next(answers))
    sender = Sender(told, {Way.EMAIL: way})
    first = message(1)
    sender.send(first)
    sender.send(replace(first, effect_id="m-2", after="m-1"))
    sender.send(replace(first, effect_id="m-3"))
    sender.send(replace(first, effect_id="m-4", after="m-3"))
    told.wait_for(4)
    assert [event for event in told.events if isinstance(event, EffectFailed)] == [
        EffectFailed("m-1", UNKNOWN.text),
        EffectFailed("m-2", "what it was to follow was not taken"),
    ]
    assert sender.stop(5)
    assert way.sent == ["m-1", "m-3", "m-4"]
