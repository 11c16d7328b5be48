"""A way to reach a person: what every adapter must do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from controller.core.vocabulary import SendMessage


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a message.

    Parameters
    ----------
    accepted
        The world has taken it. That is not yet delivered, nor answered.
    text
        What was said, or why it was not taken, in plain words. It begins with "not now" if the same
        message may be taken later, else with "refused" or what else stands in the way.
    way_works
        Whether the way itself is in order: false when nobody could be reached by it at present.
    references
        The network's own names for the message, by which it will report its delivery.
    """

    accepted: bool
    text: str
    way_works: bool = True
    references: tuple[int, ...] = ()


class WayAdapter(Protocol):
    """Sends messages by one way."""

    def send(self, message: SendMessage) -> Outcome:
        """Send one message and wait, a bounded time, for what became of it. Called by several threads.

        Whatever the world does is an outcome; an exception is a bug of the adapter.
        """
        ...
