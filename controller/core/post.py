"""Hand messages over to the ways, and remember each until the world has said what became of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from controller.core.alarms.call_list import address_of
from controller.core.alarms.lifecycle import Phase
from controller.core.alarms.short import ask_no_reply
from controller.core.alarms.wording import how_to_answer
from controller.core.draft import Draft
from controller.core.plan.alarm import Response
from controller.core.plan.people import Way
from controller.core.state import Outstanding
from controller.core.vocabulary import Ledger, SendMessage

ROOMY: Final = frozenset({Way.EMAIL})
"""The ways with room for cause, consequence and how to answer."""

SILENT: Final = frozenset({Way.EMAIL, Way.LOG})
"""The ways that wake nobody; in quiet hours what is no call goes by these alone."""

OUTSTANDING_MOST: Final = 400
"""Messages under way at once; the oldest is given up first, as its successors say the same."""


@dataclass(frozen=True, slots=True)
class Letter:
    """What is said to a person: in full where there is room, as plain text, and as one text message.

    `about` is the alarm or the part of the chain it belongs to, `thread` groups what belongs together. What
    `repeats` calls nobody and is handed over again if it is refused; while the alarm stands in `phase`, if one
    is given.
    """

    about: str
    thread: str
    subject: str
    text: str
    short: str = ""
    full: str = ""
    repeats: bool = False
    phase: Phase | None = None


def answers_of(draft: Draft, code: str) -> str:
    """Write for a mail how this house can be answered."""
    modem, page = draft.plan.modem, draft.plan.page
    return how_to_answer(
        code,
        number="" if modem is None else modem.number,
        address="" if page is None else page.address,
        phrases=draft.plan.phrases,
    )


def post(draft: Draft, letter: Letter, person: str, way: Way, *, after: str = "") -> bool:
    """Hand over one message; False if the person is not known or has no address for the way.

    With `after` it is only sent if the message of that name has been taken.
    """
    who = draft.roll.persons.get(person)
    address = "" if who is None else address_of(who, way)
    if not address:
        return False
    post_to(draft, letter, person, way, address, after=after)
    return True


def post_to(draft: Draft, letter: Letter, person: str, way: Way, address: str, *, after: str = "") -> None:
    """Hand over one message to an address."""
    words = letter.text
    if way in ROOMY:
        words = letter.full or letter.text
    elif way is Way.TEXT:
        words = letter.short or letter.text
        record = draft.senders.get(f"{way.value} {address}")
        if record is not None and record.refused_until_ms > draft.now:
            words = ask_no_reply(words, draft.plan.phrases)
    effect_id = draft.effect_id()
    message = SendMessage(effect_id, person, way, address, letter.subject, words, letter.thread, after)
    draft.effects.append(message)
    if len(draft.outstanding) >= OUTSTANDING_MOST:
        oldest = min(draft.outstanding, key=lambda name: draft.outstanding[name].queued_ms)
        draft.set_outstanding(oldest, None)
    draft.set_outstanding(
        effect_id, Outstanding(message, letter.about, draft.now, letter.repeats, phase=letter.phase)
    )
    draft.note(Ledger.CALL, letter.about, "queued", f"to {person} by {way.value}: {words.splitlines()[0]}")


def post_by_all_ways(
    draft: Draft, letter: Letter, person: str, response: Response, *, silently: bool = False
) -> None:
    """Tell one person by every way the call list uses for this kind of alarm; `silently` leaves out what wakes."""
    for way in ways_for(draft, response):
        if not silently or way in SILENT:
            post(draft, letter, person, way)


def ways_for(draft: Draft, response: Response) -> tuple[Way, ...]:
    """List the ways the call list uses for a kind of alarm, in order."""
    return tuple(dict.fromkeys(way for step in draft.roll.steps[response] for way in step.ways))
