"""People and the call list: everybody named can be reached, and an emergency reaches somebody at once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import Response
from controller.core.plan.people import Person, Way
from controller.settings.checks.names import check_names
from controller.settings.checks.place import is_address
from controller.settings.problems import Fault
from controller.settings.words import label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from controller.core.plan.people import CallStep
    from controller.settings.draft import Draft
    from controller.settings.problems import Path

ADDRESS_KEY: Final[dict[Way, str]] = {
    Way.EMAIL: "email",
    Way.TEXT: "phone",
    Way.WEBHOOK: "webhook",
    Way.SERVICE: "service_file",
    Way.LOG: "name",
}
"""Key of a person that holds the address for a way."""

REACHING: Final = tuple(address for way, address in ADDRESS_KEY.items() if way is not Way.LOG)
"""Keys by which a person is reached; the log reaches nobody."""

assert set(ADDRESS_KEY) == set(Way), "every way has a key for its address"


def check_people(draft: Draft) -> Iterator[Fault]:
    """Find what does not fit in people, in the steps, and between the alarms and the steps."""
    yield from check_names(draft, "person")
    for placed in draft.people:
        person = placed.part
        where = label("person", person.name)
        if person.email and not is_address(person.email):
            yield Fault(
                (*placed.path, "email"),
                f"{where}: `email` is {write_value(person.email)}, one bare address such as "
                "keeper@example.org is "
                "needed",
            )
        if not any(getattr(person, key) for key in REACHING):
            keys = ", ".join(f"`{key}`" for key in REACHING)
            yield Fault(placed.path, f"{where}: nobody can reach this person; an address is needed ({keys})")
    for step in draft.steps:
        for place, text in _check_step(step.part, draft):
            yield Fault(step.path + place, f"call: {text}")
    if draft.is_whole("call"):
        yield from _check_reach(draft)


def _check_step(step: CallStep, draft: Draft) -> Iterator[tuple[Path, str]]:
    if step.response is Response.NOTE:
        yield (
            ("response",),
            '`response` is "note", but notes call nobody; allowed is one of "emergency", "today"',
        )
    for key in ("people", "ways"):
        listed = getattr(step, key)
        if not listed:
            yield (key,), f"`{key}` is empty, at least one is needed"
        for index, each in enumerate(listed):
            if each in listed[:index]:
                word = each if isinstance(each, str) else each.value
                yield (key, index), f"`{key}` names {write_value(word)} twice; once is enough"
    for index, name in enumerate(step.people):
        if not draft.has_name("person", name):
            yield ("people", index), f"`people`: {draft.describe_name('person', name)}"
            continue
        person = draft.find_person(name)
        if person is not None and step.ways and _has_address(person) and not _is_reached(person, step):
            ways = ", ".join(way.value for way in step.ways)
            yield (
                ("people", index),
                f"`people`: {write_value(name)} has no address for the ways of this step ({ways}); give one",
            )


def _has_address(person: Person) -> bool:
    return any(getattr(person, key) for key in REACHING)


def _is_reached(person: Person, step: CallStep) -> bool:
    return any(getattr(person, ADDRESS_KEY[way]) for way in step.ways)


def _reaches_nobody(steps: Iterable[CallStep]) -> bool:
    return {way for step in steps for way in step.ways} == {Way.LOG}


def _is_commissioning(draft: Draft) -> bool:
    """Tell whether the file says that the house is only tried out: it has curtains, and none of them is moved."""
    return bool(draft.curtains) and all(placed.part.dry_run for placed in draft.curtains)


def _check_reach(draft: Draft) -> Iterator[Fault]:
    """Ask for a step at once for emergencies, and for any step for what is to be told today."""
    steps = [placed.part for placed in draft.steps]
    for response in (Response.EMERGENCY, Response.TODAY):
        alarms = [placed for placed in draft.alarms if placed.part.response is response]
        mine = [step for step in steps if step.response is response]
        if not alarms:
            continue
        first = alarms[0]
        if not mine:
            yield Fault(
                (*first.path, "response"),
                f"{label('alarm', first.part.name)}: `response` is {write_value(response)}, but no "
                "[[call]] step has "
                f"`response = {write_value(response)}`; at least one is needed",
            )
        elif response is Response.EMERGENCY and _reaches_nobody(mine) and not _is_commissioning(draft):
            path = next(placed.path for placed in draft.steps if placed.part is mine[0])
            yield Fault(
                (*path, "ways"),
                'call: every emergency step goes by "log" alone, which reaches nobody; a way that reaches a person is '
                "needed (only while every curtain has `dry_run = true` may it be left out)",
            )
        elif response is Response.EMERGENCY and min(step.after_min for step in mine) > 0:
            path = next(placed.path for placed in draft.steps if placed.part is mine[0])
            yield Fault(
                (*path, "after_min"),
                "call: no emergency step has `after_min = 0`, so nobody would be called at once; one is "
                "needed",
            )
