"""Suppression by cause: the cause is there, is at least as urgent, and never hides itself, not even in a ring."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.alarms.own_faults import with_own_faults
from controller.core.plan.alarm import AlarmEntry, Response
from controller.settings.problems import Fault
from controller.settings.words import label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from controller.settings.draft import Draft

URGENCY: Final = {Response.NOTE: 0, Response.TODAY: 1, Response.EMERGENCY: 2}
"""A cause that is less urgent than what it hides would hide it."""


def check_causes(draft: Draft) -> Iterator[Fault]:
    """Find causes that are not there, less urgent than what they hide, or that hide themselves."""
    entries = {placed.part.name: placed.part for placed in draft.alarms}
    sensors = [placed.part for placed in draft.sensors]
    known = {entry.name: entry for entry in with_own_faults(entries.values(), sensors)}
    for placed in draft.alarms:
        entry = placed.part
        for index, cause in enumerate(entry.suppressed_by):
            path = (*placed.path, "suppressed_by", index)
            where = label("alarm", entry.name)
            if cause == entry.name:
                yield Fault(
                    path, f"{where}: `suppressed_by` names the alarm itself; an alarm never hides itself"
                )
            elif cause not in known and not draft.has_name("alarm", cause):
                yield Fault(path, f"{where}: `suppressed_by`: {draft.describe_name('alarm', cause)}")
            elif cause in known and URGENCY[known[cause].response] < URGENCY[entry.response]:
                yield Fault(
                    path,
                    f"{where}: `suppressed_by` names {write_value(cause)}, which is less urgent "
                    f"({known[cause].response.value}) than this ({entry.response.value}); it would be hidden",
                )
    ring = find_ring(entries)
    if ring:
        first = next(placed for placed in draft.alarms if placed.part.name == ring[0])
        yield Fault(
            (*first.path, "suppressed_by"),
            f"{label('alarm', ring[0])}: `suppressed_by` goes in a ring ({' <- '.join((*ring, ring[0]))}); "
            "nobody would be called for any of them",
        )


def find_ring(entries: Mapping[str, AlarmEntry]) -> tuple[str, ...]:
    """Find alarms that hide each other in a ring of two or more, in order; empty if there are none."""
    done: set[str] = set()
    for start in entries:
        way: list[str] = []
        stack: list[tuple[str, int]] = [(start, 0)]
        while stack:
            name, depth = stack.pop()
            del way[depth:]
            if name in way:
                return tuple(way[way.index(name) :])
            if name in done or name not in entries:
                continue
            way.append(name)
            causes = [cause for cause in entries[name].suppressed_by if cause != name]
            stack.extend((cause, depth + 1) for cause in causes)
            if not causes:
                done.add(name)
        done.update(way[:1])
    return ()
