"""What has changed between two plans, by name: so that a reload leaves alone what did not change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from controller.core.plan.part import Part
from controller.settings.words import is_part, item_type, label, needs_restart, write_value

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from controller.core.plan.plan import Plan


@dataclass(frozen=True, slots=True)
class Difference:
    """One key, or one whole table, that is not what it was.

    `where` names the table as staff know it, `key` the key in it (empty for a whole table). `old` and `new`
    are the values; None for what was or is not there.
    """

    where: str
    key: str
    old: object
    new: object
    needs_restart: bool = False

    def __str__(self) -> str:
        """Say the difference in one line."""
        what = f"{self.where}: {self.key}" if self.key else self.where
        restart = " (takes effect after a restart)" if self.needs_restart else ""
        if self.old is None:
            change = f"set to {write_value(self.new)}" if self.key else "added"
        elif self.new is None:
            change = "no longer set" if self.key else "removed"
        else:
            change = f"{write_value(self.old)} -> {write_value(self.new)}"
        return f"{what} {change}{restart}"


def differences(old: Plan, new: Plan) -> tuple[Difference, ...]:
    """Compare two plans key by key, named tables by their names and steps by their place."""
    found: list[Difference] = []
    for section, field in type(old).model_fields.items():
        before, after = getattr(old, section), getattr(new, section)
        if item_type(field) is None:
            found.extend(_compare(section, before, after))
        else:
            found.extend(_compare_lists(section, before, after))
    return tuple(found)


def _compare_lists(section: str, old: Sequence[Part], new: Sequence[Part]) -> Iterator[Difference]:
    before, after = _by_name(section, old), _by_name(section, new)
    for where in [*before, *(name for name in after if name not in before)]:
        yield from _compare(where, before.get(where), after.get(where))


def _by_name(section: str, parts: Sequence[Part]) -> dict[str, Part]:
    return {
        label(section, getattr(part, "name", ""))
        if hasattr(part, "name")
        else f"{section} step {index + 1}": part
        for index, part in enumerate(parts)
    }


def _compare(where: str, old: Part | None, new: Part | None) -> Iterator[Difference]:
    if old is None or new is None:
        if old is not new:
            yield Difference(where, "", old, new)
        return
    for key, field in type(old).model_fields.items():
        before, after = getattr(old, key), getattr(new, key)
        if before == after:
            continue
        if isinstance(before, Part) or isinstance(after, Part):
            yield from _compare(f"{where}, {key}", before, after)
        elif is_part(item_type(field)):
            yield from _compare_lists(f"{where}, {key}", before, after)
        else:
            yield Difference(where, key, before, after, needs_restart(field))
