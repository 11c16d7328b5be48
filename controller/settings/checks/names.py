"""Names: used once, and fit to stand in a message."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.settings.problems import Fault, Path
from controller.settings.words import write_value

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.settings.draft import Draft


def check_names(draft: Draft, section: str) -> Iterator[Fault]:
    """Refuse a name used twice in a section, whatever its capitals, and one that holds control characters."""
    seen: dict[str, Path] = {}
    for name, path in draft.names.get(section, []):
        if not name:
            continue
        place = (*path, "name")
        first = seen.setdefault(name.casefold(), path)
        if first != path:
            yield Fault(
                place,
                f"{section}: the name {write_value(name)} is used twice; each {section} needs a name of "
                "its own",
            )
        if not name.isprintable():
            yield Fault(
                place,
                f"{section}: the name {write_value(name)} holds an invisible character; "
                "only printed characters may stand in a name",
            )
