"""Promises of the queue in front of the deciding thread."""

from __future__ import annotations

import threading
from collections.abc import Iterable

from hypothesis import given
from hypothesis import strategies as st

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import (
    Event,
    PayloadRefused,
    ReadingsTaken,
    Sample,
    Started,
    TroubleSeen,
    Woken,
)
from controller.edges.inbox import WAITING_MAX, Inbox


def _reading(value: float) -> ReadingsTaken:
    return ReadingsTaken((Sample("air", value),))


def _take_all(inbox: Inbox) -> list[Event]:
    taken = []
    while (inbound := inbox.take(0.0)) is not None:
        taken.append(inbound.event)
    return taken


def _put_all(inbox: Inbox, events: Iterable[Event]) -> None:
    for event in events:
        inbox.put(event)


def test_events_come_out_in_the_order_they_went_in() -> None:
    """Readings and other events keep their common order."""
    inbox = Inbox()
    events: list[Event] = [
        _reading(1),
        Woken(),
        _reading(2),
        _reading(3),
        Started(),
        TroubleSeen(Watched.BROKER, "x"),
    ]
    _put_all(inbox, events)
    assert events == _take_all(inbox)


def test_an_empty_inbox_gives_none_without_waiting() -> None:
    """A timeout of zero, or below, does not wait."""
    inbox = Inbox()
    assert None is inbox.take(0.0)
    assert None is inbox.take(-5.0)


def test_the_oldest_reading_goes_when_the_inbox_is_full() -> None:
    """The bound is 5000; the event after it pushes the oldest readings out and they are counted."""
    inbox = Inbox()
    assert WAITING_MAX == 5_000
    _put_all(inbox, (_reading(n) for n in range(WAITING_MAX)))
    assert inbox.dropped == 0
    assert inbox.put(_reading(5_000))
    assert inbox.dropped == 1
    assert len(inbox) == WAITING_MAX
    first = inbox.take(0.0)
    assert first is not None
    assert _reading(1) == first.event


def test_other_events_are_never_dropped() -> None:
    """A full inbox without readings still takes other events, and refuses readings."""
    inbox = Inbox(waiting_max=3)
    others: list[Event] = [PayloadRefused("t", "air", str(n)) for n in range(10)]
    for event in others:
        assert inbox.put(event)
    assert not inbox.put(_reading(1))
    assert inbox.dropped == 1
    assert others == _take_all(inbox)


def test_a_dropped_reading_lets_its_sender_go() -> None:
    """The sender of dropped readings is told, so that a broker does not wait for ever."""
    inbox = Inbox(waiting_max=1)
    let_go: list[str] = []
    inbox.put(_reading(1), lambda: let_go.append("first"))
    inbox.put(_reading(2), lambda: let_go.append("second"))
    assert let_go == ["first"]
    inbound = inbox.take(0.0)
    assert inbound is not None
    assert inbound.committed is not None
    inbound.committed()
    assert let_go == ["first", "second"]


def test_a_waiting_thread_is_woken_by_an_event() -> None:
    """A thread that waits gets the event as soon as one is put."""
    inbox = Inbox()
    taken: list[Event] = []

    def _wait() -> None:
        inbound = inbox.take(30.0)
        if inbound is not None:
            taken.append(inbound.event)

    thread = threading.Thread(target=_wait)
    thread.start()
    inbox.put(Woken())
    thread.join(10.0)
    assert not thread.is_alive()
    assert [Woken()] == taken


def test_many_threads_lose_nothing() -> None:
    """Four threads put a thousand events each; all come out, each thread's own in order."""
    inbox = Inbox()

    def _put(source: int) -> None:
        _put_all(inbox, (PayloadRefused(str(source), "air", str(n)) for n in range(1_000)))

    threads = [threading.Thread(target=_put, args=(source,)) for source in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10.0)
    taken = _take_all(inbox)
    assert len(taken) == 4_000
    for source in range(4):
        own = [int(e.reason) for e in taken if isinstance(e, PayloadRefused) and e.topic == str(source)]
        assert list(range(1_000)) == own


@given(
    waiting_max=st.integers(1, 6),
    steps=st.lists(st.sampled_from(["reading", "other", "take"]), max_size=60),
)
def test_it_behaves_as_a_plain_list_does(waiting_max: int, steps: list[str]) -> None:
    """Against a plain list as the model: same order, same drops, and readings never beyond the bound."""
    inbox = Inbox(waiting_max)
    model: list[Event] = []
    dropped = 0
    for number, step in enumerate(steps):
        if step == "take":
            inbound = inbox.take(0.0)
            assert (model.pop(0) if model else None) == (None if inbound is None else inbound.event)
            continue
        event = _reading(number) if step == "reading" else PayloadRefused("t", "air", str(number))
        model.append(event)
        oldest = next((e for e in model if isinstance(e, ReadingsTaken)), None)
        if len(model) > waiting_max and oldest is not None:
            model.remove(oldest)
            dropped += 1
        assert (event in model) == inbox.put(event)
        assert dropped == inbox.dropped
        assert len(model) == len(inbox)
    assert model == _take_all(inbox)
