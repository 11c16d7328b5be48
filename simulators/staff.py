"""The people of the site in virtual time: messages travel to them, they answer, and they mend what they can.

A call by mail or webhook is answered at the board's console, one by text with a text from the person's own phone, in
the person's own time and with the person's own mistakes; an automatic reply comes back by text as well, and by mail
it goes where nobody reads it. Whoever has answered a call about a curtain goes and looks at it, and lets it run again
once the motor is sound.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import Watched
from controller.core.plan.people import Way
from controller.core.vocabulary import (
    AnswerGiven,
    EffectDone,
    EffectFailed,
    FaultCleared,
    MessageDelivered,
    ReplyReceived,
    SendMessage,
)
from simulators.boards import TargetBoard
from simulators.motor import Direction
from simulators.paths import Path
from simulators.people import Happening, Person

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

ASKS: Final = re.compile(r"(?:nswer with code|answered yet: code|Reply) (\d{4})|^\[(\d{4})\]", re.MULTILINE)
"""How a message asks for an answer, with the code it wants; a message about many alarms lists them."""

ACCEPTED_AFTER_MS: Final = 500
"""A way says after this what became of a message. [ms]"""

LOOKS_AFTER_MS: Final = 20 * 60_000
"""Whoever has answered for a curtain stands before it after this. [ms]"""


class Staff:
    """The people and the paths to them.

    Attributes
    ----------
    people : dict[str, Person]
        By name.
    paths : dict[str, Path]
        By way. Settable.
    codes : tuple[str, ...]
        The codes of the last message that asked for an answer.
    asked : dict[str, None]
        All codes that have been asked for, in order.
    """

    def __init__(self, people: Iterable[Person], *, seed: int) -> None:
        self.people = {person.name: person for person in people}
        self.paths: dict[str, Path] = {}
        self.codes: tuple[str, ...] = ()
        self.asked: dict[str, None] = {}
        self._seed = seed

    def path(self, way: str) -> Path:
        """Return the path of a way; it is made when first asked for."""
        if way not in self.paths:
            self.paths[way] = Path(seed=self._seed, name=way)
        return self.paths[way]

    def send(self, run: Clockwork, message: SendMessage) -> None:
        """Let a path carry a message to a person, who may answer."""
        carried = self.path(message.way.value).carry(now_ms=run.now_utc_ms, address=message.address)
        at_ms = run.now_utc_ms + ACCEPTED_AFTER_MS
        if carried.rejection is not None:
            run.tally.refused_messages += 1
            run.tell_later(at_ms, EffectFailed(message.effect_id, carried.rejection.value))
            return
        run.tell_later(at_ms, EffectDone(message.effect_id))
        person = self.people.get(message.person)
        codes = tuple(dict.fromkeys(one or other for one, other in ASKS.findall(message.text)))
        self.codes = codes or self.codes
        self.asked.update(dict.fromkeys(codes))
        if person is None or not codes:
            return
        for arrival_ms in carried.arrivals_ms:
            run.later(arrival_ms, lambda: self._arrive(run, person, message, codes))

    def _arrive(self, run: Clockwork, person: Person, message: SendMessage, codes: tuple[str, ...]) -> None:
        """Let a message reach a phone; who answers one alarm of a list answers the others too."""
        by_text = message.way is Way.TEXT
        if by_text:
            run.turn(MessageDelivered(message.effect_id))
        for event in person.receive(now_ms=run.now_utc_ms, text=f"code {codes[0]}"):
            if by_text and event.happening is not Happening.SHOWN:
                run.later(event.at_ms, lambda text=event.text: self._reply(run, person, message, text))  # type: ignore[misc]
                for code in codes[1:] if event.happening is Happening.ANSWERED else ():
                    run.later(event.at_ms, lambda code=code: self._reply(run, person, message, code))  # type: ignore[misc]
                continue
            if event.happening is not Happening.ANSWERED:
                continue
            typed = "".join(sign for sign in event.text if sign.isdigit()) or event.text
            for code in (typed, *codes[1:]):
                run.later(event.at_ms, lambda code=code: self._answer(run, person, message, code))  # type: ignore[misc]

    def _reply(self, run: Clockwork, person: Person, message: SendMessage, text: str) -> None:
        """Let a person's phone write back, if the way for texts is open."""
        carried = self.path(Way.TEXT.value).carry(now_ms=run.now_utc_ms, address="the modem's card")
        for arrival_ms in carried.arrivals_ms:
            run.tell_later(arrival_ms, ReplyReceived(Way.TEXT, message.address, text))
        run.tally.answers += 1
        self._go_and_look(run, person, message)

    def _answer(self, run: Clockwork, person: Person, message: SendMessage, code: str) -> None:
        """Let a person answer at the console, and look at the curtain if the call was about one."""
        run.tally.answers += 1
        run.turn(AnswerGiven(code, person.name, "command line"))
        self._go_and_look(run, person, message)

    def _go_and_look(self, run: Clockwork, person: Person, message: SendMessage) -> None:
        """Let whoever has answered a call about the curtain go there."""
        about = message.thread.partition("/")[0]
        if any(entry.name == about and entry.of is Watched.CURTAIN for entry in run.entries):
            run.later(run.now_utc_ms + LOOKS_AFTER_MS, lambda: self.look_at_curtain(run, person.name))

    def look_at_curtain(self, run: Clockwork, name: str) -> None:
        """Reset the motor and let it run again, if nothing is wrong with it any more."""
        curtain, board = run.world.curtain, run.world.board
        ends = curtain.drawn_limit_works and curtain.open_limit_works
        stuck = curtain.drawn_limit_stuck or curtain.open_limit_stuck
        shown = board.feedback if isinstance(board, TargetBoard) else None
        astray = shown is not None and (
            shown.dead or shown.frozen_at_percent is not None or shown.offset_percent
        )
        sound = curtain.jam_at_percent is None and ends and not stuck and not astray
        if not sound or board.welded is not Direction.REST or not board.powered or run.link.board_down:
            return
        curtain.reset()
        run.turn(FaultCleared(run.curtain, name))
