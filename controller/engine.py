"""One turn, and nothing else: read the clocks, decide, remember, act, in that order.

An event is stamped once; `step` decides; event, effects and new state are committed in one transaction; only
then are the effects carried out. The live daemon, a replay and the simulated greenhouse all turn this wheel.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from controller.core.remember import is_worth_writing, pack
from controller.core.state import State
from controller.core.step import step
from controller.core.vocabulary import Effect, Event, Stamp, Woken


class Record(Protocol):
    """What remembers a turn. When `commit` returns, what must last is safe; if it cannot be, it raises."""

    def commit(
        self, *, stamp: Stamp, event: Event, effects: tuple[Effect, ...], document: bytes | None
    ) -> None:
        """Remember one turn; `document` is the new durable state, or None if it has not changed."""
        ...


class NotRecorded(Exception):  # noqa: N818 - named by what happened, like every event of the house
    """A turn could not be remembered; nothing of it was."""


class Trouble(Protocol):
    """What is told that a turn could not be remembered."""

    def __call__(self, stamp: Stamp, error: Exception) -> None:
        """Take note of the error."""
        ...


class Engine:
    """Holds the state and turns it, one event at a time, on one thread."""

    def __init__(
        self,
        state: State,
        *,
        act: Callable[[Effect, Stamp], None],
        record: Record | None = None,
        on_unrecorded: Trouble | None = None,
    ) -> None:
        """Start from `state`. Without a `record` nothing is remembered, as in a replay."""
        self.state = state
        self._act = act
        self._record = record
        self._on_unrecorded = on_unrecorded
        self._behind = False

    def turn(self, stamp: Stamp, event: Event) -> tuple[Effect, ...]:
        """Take one event through decide, remember, act; return the effects.

        Where the record fails, the house is still kept: the effects are carried out from memory, the failure
        is told, and the whole state is written with the next turn. That is the one exception to remembering
        before acting, and people are told that it holds.
        """
        old = self.state
        new, effects = step(old, stamp, event)
        if self._record is not None:
            self._commit(self._record, stamp, event, effects, old, new)
        self.state = new
        for effect in effects:
            self._act(effect, stamp)
        return effects

    def write_state(self, stamp: Stamp) -> None:
        """Remember the state as it is, with no event; a quiet house does so now and then."""
        if self._record is not None:
            self._behind = True
            self._commit(self._record, stamp, Woken(), (), self.state, self.state)

    def _commit(
        self, record: Record, stamp: Stamp, event: Event, effects: tuple[Effect, ...], old: State, new: State
    ) -> None:
        """Remember the turn, or say that it could not be."""
        changed = self._behind or is_worth_writing(old.durable, new.durable)
        try:
            record.commit(
                stamp=stamp, event=event, effects=effects, document=pack(new.durable) if changed else None
            )
        except NotRecorded as error:
            if self._on_unrecorded is None:
                raise
            self._behind = True
            self._on_unrecorded(stamp, error)
        else:
            self._behind = False
