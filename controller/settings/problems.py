"""What is wrong with the settings, said so that a manager can put it right.

A `Fault` knows the place in the document as a path of keys; a `Problem` knows the line. Every fault says what
is wrong and what is allowed.
"""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from controller.core.plan.part import Part
from controller.settings.words import describe_allowed, inner_type, is_part, item_type, label, write_value

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence

    from pydantic import ValidationError
    from pydantic.fields import FieldInfo

MOST_NAMED: Final = 30
"""Known words that a problem lists: all the keys of any table, and not a whole farm of sensors."""

Path: TypeAlias = tuple[str | int, ...]
"""Keys and list positions from the top of the document."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong at a path of the document."""

    path: Path
    text: str


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong at a line [1-based] of a settings file."""

    line: int
    text: str
    file_name: str = "settings"

    def __str__(self) -> str:
        """Say it as `FILE:LINE: what is wrong, what is allowed`."""
        return f"{self.file_name}:{self.line}: {self.text}"


def write_problems(problems: Sequence[Problem]) -> str:
    """Write the first problem and how many there are, for a message."""
    more = f" (and {len(problems) - 1} more)" if len(problems) > 1 else ""
    return f"{problems[0]}{more}"


def suggest(word: str, known: Iterable[str]) -> str | None:
    """Find the known word that was most likely meant, or None when none is near."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return near[0] if near else None


def describe_unknown(word: str, known: Sequence[str]) -> str:
    """Say which known word was likely meant, or name them all."""
    near = suggest(word, known)
    if near is not None:
        return f'did you mean "{near}"?'
    return "allowed are " + ", ".join(known[:MOST_NAMED]) + (", ..." if len(known) > MOST_NAMED else "")


def translate(
    error: ValidationError, model: type[Part], raw: Mapping[str, Any], *, path: Path
) -> Iterator[Fault]:
    """Put every error of one table into a plain sentence.

    `raw` is the table as written and `path` its place. An unknown key that is clearly a misspelling of a
    missing one is told once, not twice.
    """
    where = label(str(next(part for part in reversed(path) if isinstance(part, str))), raw.get("name"))
    errors = [
        (each["type"], tuple(each["loc"])) for each in error.errors(include_url=False, include_context=False)
    ]
    spelled = repairs(model, raw)
    seen: set[Path] = set()
    for kind, loc in errors:
        place, holder, field = _locate(model, loc)
        if place in seen:
            continue
        seen.add(place)
        key = str(place[-1]) if place else ""
        if kind == "extra_forbidden":
            known = list(holder.model_fields)
            yield Fault(path + place, f"{where}: unknown key `{key}`; {describe_unknown(key, known)}")
        elif kind == "missing":
            if len(place) == 1 and key in spelled.values():
                continue
            assert field is not None, "only a known key can be missing"
            yield Fault(
                path + place,
                f"{where}: `{key}` is missing, {describe_allowed(field)} is needed ({field.description})",
            )
        elif field is None:
            yield Fault(path + place, f"{where}: a table is needed here")
        else:
            yield Fault(path + place, _describe_wrong(where, field, place, _look_up(raw, place)))


def _describe_wrong(where: str, field: FieldInfo, place: Path, value: object) -> str:
    item = place[-1]
    if isinstance(item, int):
        key = f"item {item + 1} of `{place[-2]}`"
        return f"{where}: {key} is {write_value(value)}, allowed is {describe_allowed(field)}"
    length = f" ({len(value)} characters)" if isinstance(value, str) and len(value) > 20 else ""
    return f"{where}: `{item}` is {write_value(value)}{length}, allowed is {describe_allowed(field)}"


def _locate(model: type[Part], loc: tuple[int | str, ...]) -> tuple[Path, type[Part], FieldInfo | None]:
    """Follow an error's place through the models: the place in the document, its table's model, its key."""
    place: Path = ()
    field: FieldInfo | None = None
    for part in loc:
        if isinstance(part, str):
            if field is not None:
                inside = item_type(field) or inner_type(field)
                if not is_part(inside):
                    break
                model = inside
            field = model.model_fields.get(part)
            place = (*place, part)
            if field is None:
                break
        elif field is not None and item_type(field) is not None:
            place = (*place, part)
    return place, model, field


def _look_up(raw: object, place: Path) -> object:
    for part in place:
        match raw, part:
            case (dict(), str()) if part in raw:
                raw = raw[part]
            case (list(), int()) if part < len(raw):
                raw = raw[part]
            case _:
                return None
    return raw


def repairs(model: type[Part], raw: Mapping[str, Any]) -> dict[str, str]:
    """Match each unknown key of a table to the absent key that was most likely meant."""
    found: dict[str, str] = {}
    for key in raw:
        if key not in model.model_fields:
            near = suggest(key, model.model_fields)
            if near is not None and near not in raw and near not in found.values():
                found[key] = near
    return found
