"""Whether what a text message says can be written with the letters that a text message has.

A sign without a likeness in the alphabet of 3GPP TS 23.038 is sent as a question mark; a name or an action of
nothing but question marks tells nobody anything at three in the morning.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.alarms.septets import find_unwritable
from controller.core.plan.people import Way
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.settings.problems import Fault
from controller.settings.words import label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator
    from collections.abc import Set as AbstractSet

    from controller.core.plan.alarm import Response
    from controller.core.plan.plan import Plan

SIGNS_NAMED_MOST: Final = 12
"""So many of the signs are named; the manager knows the script by then."""

_NOT_TEXTED_BEGIN: Final = ("page_", "digest_", "count_", "answer_", "place_", "over_subject")
_NOT_TEXTED: Final = frozenset({"language", "yes_words", "months", "explain", "to_answer", "test_subject",
                                "answered_subject", "reply_subject"})  # fmt: skip
"""Phrases that stand on the page or in mails alone, or are read and never sent."""


def check_letters(plan: Plan) -> Iterator[Fault]:
    """Refuse what would arrive as question marks by the ways that are in use."""
    yield from _find_lost(plan, {step.response for step in plan.call if Way.TEXT in step.ways})


def doubt_letters(plan: Plan) -> Iterator[Fault]:
    """Say once, where nothing goes by text message yet, that it could not be read if it did."""
    if any(Way.TEXT in step.ways for step in plan.call):
        return
    found = list(_find_lost(plan, {step.response for step in plan.call}))
    if found:
        more = f" (and {len(found) - 1} more such)" if len(found) > 1 else ""
        yield Fault(found[0].path, f"{found[0].text}{more}; nothing goes by text message yet")


def _find_lost(plan: Plan, responses: AbstractSet[Response]) -> Iterator[Fault]:
    """Find every text of the settings and of the catalogue that a message of `responses` could not show."""
    if not responses:
        return
    spoken: set[str] = set()
    for index, entry in enumerate(plan.alarm):
        if entry.response in responses:
            spoken.add(entry.sensor)
            for key in ("name", "action"):
                yield from _judge(
                    getattr(entry, key), ("alarm", index, key), f"{label('alarm', entry.name)}: `{key}`"
                )
    for index, sensor in enumerate(plan.sensor):
        for key in ("name", "place") if sensor.name in spoken else ():
            yield from _judge(
                getattr(sensor, key), ("sensor", index, key), f"{label('sensor', sensor.name)}: `{key}`"
            )
    for index, person in enumerate(plan.person):
        yield from _judge(person.name, ("person", index, "name"), f"{label('person', person.name)}: `name`")
    for name in Phrases.model_fields:
        phrase = str(getattr(plan.phrases, name))
        if (
            name not in _NOT_TEXTED
            and not name.startswith(_NOT_TEXTED_BEGIN)
            and phrase != getattr(ENGLISH, name)
        ):
            yield from _judge(
                phrase, ("site", "language_file"), f"site: the phrase `{name}` of `language_file`"
            )


def _judge(text: str, path: tuple[str | int, ...], where: str) -> Iterator[Fault]:
    lost = find_unwritable(text)
    if lost:
        signs, more = lost[:SIGNS_NAMED_MOST], "..." if len(lost) > SIGNS_NAMED_MOST else ""
        yield Fault(
            path,
            f"{where} has signs that a text message shows as question marks ({write_value(signs)}{more}); allowed are "
            "Latin letters, accents and digits: write it in those",
        )
