"""Exact MQTT topics: what can be subscribed or published to by name, without patterns.

Source: MQTT 5.0 sections 4.7 (topic names) and 1.5.4 (text). Topics are case-sensitive and never normalised:
a slash in front, a blank at an end or a character nobody sees makes another topic, which is why each is refused
here as a likely slip.
"""

from __future__ import annotations

import re
from typing import Final

TOPIC_BYTES_MAX: Final = 200
"""Longest topic. [bytes] MQTT allows 65 535; a name that staff can read aloud is far shorter."""

_FAULTS: Final = (
    (re.compile(r"\A\Z"), "the topic is empty"),
    (re.compile(r"[+#]"), "an exact topic has no wildcard (+ or #)"),
    (re.compile(r"\$"), "a topic with $ belongs to the broker"),
    (re.compile(r"\A/|/\Z"), "a topic neither starts nor ends with /"),
    (re.compile(r"[\x00-\x1f\x7f-\x9f]"), "the topic has a control character"),
    (re.compile(r"(?:\A|/)\s|\s(?:/|\Z)"), "no part of a topic starts or ends with a blank"),
    (
        re.compile(r"[\u00ad\u200b\u200e\u200f\u2028-\u202e\u2060-\u2064\ufeff]"),
        "the topic has a character nobody sees",
    ),
    (re.compile(r"[\ud800-\udfff]"), "the topic has half of a surrogate pair"),
)


def find_fault(topic: str) -> str | None:
    """Say why `topic` cannot be an exact topic, or None when it can.

    ASCII in lower case is advised and not asked.
    """
    for pattern, fault in _FAULTS:
        if pattern.search(topic) is not None:
            return fault
    if len(topic.encode()) > TOPIC_BYTES_MAX:
        return f"the topic is longer than {TOPIC_BYTES_MAX} bytes"
    return None
