"""Promises of the limit on one topic's messages."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from controller.edges.rate_cap import BURST_MAX, MESSAGES_PER_S, RateCap


def _admitted(cap: RateCap, topic: str, times: int, now_house_ms: int) -> int:
    return sum(cap.admit(topic, now_house_ms) for _ in range(times))


def test_a_burst_goes_through_and_no_more() -> None:
    """At one instant the burst is let through; one second later fifty more."""
    cap = RateCap()
    assert _admitted(cap, "a", 1_000, 0) == 300
    assert _admitted(cap, "a", 1_000, 1_000) == 50
    assert _admitted(cap, "a", 1_000, 1_020) == 1


def test_topics_do_not_share_their_accounts() -> None:
    """A topic that has spent its burst takes nothing from another."""
    cap = RateCap()
    _admitted(cap, "a", 1_000, 0)
    assert _admitted(cap, "b", 300, 0) == 300


def test_what_was_dropped_is_told_once_a_minute() -> None:
    """The first count is due at once, the next a minute later, and holds everything since."""
    cap = RateCap()
    _admitted(cap, "a", 310, 0)
    assert cap.take_dropped(0) == {"a": 10}
    assert cap.take_dropped(0) == {}
    _admitted(cap, "a", 57, 1_000)
    assert cap.take_dropped(59_999) == {}
    _admitted(cap, "a", 305, 59_999)
    assert cap.take_dropped(60_000) == {"a": 7 + 5}


def test_a_topic_that_is_gone_is_forgotten() -> None:
    """Only the topics of the settings keep an account and a count."""
    cap = RateCap()
    _admitted(cap, "a", 400, 0)
    _admitted(cap, "b", 400, 0)
    cap.keep(frozenset({"b"}))
    assert cap.take_dropped(0) == {"b": 100}
    assert cap._accounts.keys() == {"b"}


@given(st.lists(st.integers(0, 200), max_size=400))
def test_no_second_lets_more_through_than_burst_and_rate(gaps_ms: list[int]) -> None:
    """Whatever the rhythm: never more than the burst and fifty a second since the start, and all are counted."""
    cap = RateCap()
    now_ms, admitted = 0, 0
    for gap_ms in gaps_ms:
        now_ms += gap_ms
        admitted += cap.admit("a", now_ms)
        assert admitted <= BURST_MAX + now_ms * MESSAGES_PER_S / 1_000
    assert admitted + cap.take_dropped(now_ms).get("a", 0) == len(gaps_ms)
