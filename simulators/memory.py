"""A record that forgets nothing until it is told to: what the journal is to the live daemon.

It keeps the last committed document and stamp, and can be made to refuse, to lose everything, and to lose
power at a chosen place of a turn: before it is remembered, after it, or while its effects are handed over.
"""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple

from controller.core.vocabulary import Effect, Event, MoveCurtain, Run, SendMessage, Stamp
from controller.engine import NotRecorded


class Killed(Exception):  # noqa: N818 - named by what happened
    """The daemon has lost its power in the middle of a turn."""


class Moment(Enum):
    """Where in a turn the power goes."""

    BEFORE_COMMIT = "before the turn is remembered"
    AFTER_COMMIT = "after the turn is remembered, before anything is handed over"
    WHILE_ACTING = "after the first effect that reaches the world"


class Awaits(Enum):
    """Which turn the power waits for."""

    ANY = "any turn"
    MESSAGE = "a turn that sends a message"
    MOVE = "a turn that moves the curtain"


class Doom(NamedTuple):
    """When the power goes, and for how long the daemon is away [ms]."""

    moment: Moment
    awaits: Awaits
    away_ms: int


class Memory:
    """The record of a simulated daemon.

    Attributes
    ----------
    document : bytes | None
        The durable state as last committed.
    stamp : Stamp | None
        The stamp of the last committed turn.
    committed : tuple[Effect, ...]
        The effects of the last committed turn.
    refuses : str
        Why nothing can be remembered; empty when all is well. Settable.
    doom : Doom | None
        When the power goes. Settable.
    losses : int
        How often something that had happened was lost: everything, or turns that were refused before a crash.
    """

    def __init__(self) -> None:
        self.document: bytes | None = None
        self.stamp: Stamp | None = None
        self.committed: tuple[Effect, ...] = ()
        self.refuses = ""
        self.doom: Doom | None = None
        self.losses = 0
        self._behind = False

    def commit(
        self, *, stamp: Stamp, event: Event, effects: tuple[Effect, ...], document: bytes | None
    ) -> None:
        """Remember one turn, refuse it, or lose the power over it."""
        del event
        struck = self.doom is not None and _strikes(self.doom.awaits, effects)
        if struck and self.doom is not None and self.doom.moment is Moment.BEFORE_COMMIT:
            raise Killed
        if self.refuses:
            self._behind = True
            raise NotRecorded(self.refuses)
        self._behind = False
        self.stamp = stamp
        self.committed = effects
        if document is not None:
            self.document = document
        if struck and self.doom is not None and self.doom.moment is Moment.AFTER_COMMIT:
            raise Killed

    def handed_over(self, effect: Effect) -> None:
        """Hear that an effect has reached the world; the power may go now."""
        doom = self.doom
        if doom is None or doom.moment is not Moment.WHILE_ACTING:
            return
        if isinstance(effect, SendMessage | MoveCurtain) and _strikes(doom.awaits, (effect,)):
            raise Killed

    def lose_power(self) -> None:
        """Keep what was remembered, and lose the turns that were refused."""
        self.doom = None
        if self._behind:
            self._behind = False
            self.losses += 1

    def forget(self) -> None:
        """Lose everything, as a corrupt file that is set aside."""
        self.document = None
        self.committed = ()
        self.losses += 1


def _strikes(awaits: Awaits, effects: tuple[Effect, ...]) -> bool:
    """Tell whether this is the turn the power waits for."""
    match awaits:
        case Awaits.ANY:
            return True
        case Awaits.MESSAGE:
            return any(isinstance(effect, SendMessage) for effect in effects)
        case Awaits.MOVE:
            return any(isinstance(effect, MoveCurtain) and effect.run is not Run.STOP for effect in effects)
