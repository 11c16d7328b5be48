"""Exact MQTT topics."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.wire.topic import TOPIC_BYTES_MAX, find_fault


@pytest.mark.parametrize(
    "topic",
    [
        "a",
        "site/house/bench-1/light",
        "duskbell/kestrel/curtain",
        "Site/House 2/CO2",
        "caf\u00e9/eau",
        "\u0645\u06cc\u200c\u062e\u0648\u0627\u0647\u0645/1",  # a Persian word is spelt with a joiner of no width
        "sport/tennis/player1",  # MQTT 5.0 section 4.7.1.1
        "x" * TOPIC_BYTES_MAX,
    ],
)
def test_an_exact_topic_has_no_fault(topic: str) -> None:
    """A name without patterns passes; lower case is advised, not asked."""
    assert find_fault(topic) is None


@pytest.mark.parametrize(
    ("topic", "fault"),
    [
        ("", "the topic is empty"),
        # MQTT 5.0 section 4.7.1: these are filters, no names.
        ("sport/tennis/player1/#", "an exact topic has no wildcard (+ or #)"),
        ("#", "an exact topic has no wildcard (+ or #)"),
        ("sport/+/player1", "an exact topic has no wildcard (+ or #)"),
        ("sport+", "an exact topic has no wildcard (+ or #)"),
        # MQTT 5.0 section 4.7.2.
        ("$SYS/broker/uptime", "a topic with $ belongs to the broker"),
        ("$share/group/topic", "a topic with $ belongs to the broker"),
        ("/finance", "a topic neither starts nor ends with /"),
        ("finance/", "a topic neither starts nor ends with /"),
        ("/", "a topic neither starts nor ends with /"),
        # MQTT 5.0 sections 1.5.4 and 4.7.3.
        ("a\x00b", "the topic has a control character"),
        ("a\nb", "the topic has a control character"),
        ("a\n", "the topic has a control character"),
        ("a\x7f", "the topic has a control character"),
        ("a\x85b", "the topic has a control character"),
        (" a", "no part of a topic starts or ends with a blank"),
        ("a ", "no part of a topic starts or ends with a blank"),
        ("a\u00a0", "no part of a topic starts or ends with a blank"),
        ("a /b", "no part of a topic starts or ends with a blank"),
        ("a/ b", "no part of a topic starts or ends with a blank"),
        # Unicode 15, category Cf: the zero-width space and the byte order mark.
        ("a\u200b", "the topic has a character nobody sees"),
        ("\ufeffa", "the topic has a character nobody sees"),
        ("a\ud800", "the topic has half of a surrogate pair"),
        ("x" * (TOPIC_BYTES_MAX + 1), "the topic is longer than 200 bytes"),
        ("\u00e9" * (TOPIC_BYTES_MAX // 2 + 1), "the topic is longer than 200 bytes"),
    ],
)
def test_what_is_no_exact_topic_has_its_fault_named(topic: str, fault: str) -> None:
    """Patterns, the broker's own names, controls and slips with the slash are named."""
    assert fault == find_fault(topic)


@given(st.text(st.characters(), max_size=300))
def test_a_topic_without_fault_can_be_sent(topic: str) -> None:
    """Any text is judged without raising, and what passes is within what MQTT 5.0 allows."""
    if find_fault(topic) is None:
        assert 1 <= len(topic.encode()) <= TOPIC_BYTES_MAX
        assert not set("+#$\x00") & set(topic)
        assert topic.strip("/") == topic
