"""A payload that cannot be read: the word for it outside, and the way to say it inside this package."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Refused:
    """A payload that gave no value. `reason` is one plain sentence part, and never quotes the payload.

    The sender chose the payload's bytes; a reason goes to logs, pages and phones, so it holds none of them.
    """

    reason: str


class Unreadable(Exception):  # noqa: N818 - it is no error of ours: the message is unreadable
    """Leaves a reader early; caught in this package and turned into `Refused`, never seen outside it."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason
