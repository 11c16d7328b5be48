"""What a settings key means and allows, in plain words, read from the models themselves.

Problems, the summary and the test of the commented settings file all speak through this module, so they
cannot say different things about one key.
"""

from __future__ import annotations

import types
from datetime import date, datetime, time
from enum import Enum
from typing import Any, Final, TypeGuard, Union, get_args, get_origin

import annotated_types
from pydantic.fields import FieldInfo

from controller.core.plan.part import Part

LONGEST_VALUE: Final = 40
"""Characters of a wrong value that a problem repeats: enough to find it, short enough for one line."""

HUGE: Final = 10**20
"""Whole numbers from here on are named, not written out."""


def inner_type(field: FieldInfo) -> Any:  # noqa: ANN401 - an annotation may be any type form
    """Type of a key with the "or absent" taken off."""
    return _without_none(field.annotation)


def _without_none(annotation: Any) -> Any:  # noqa: ANN401 - the same
    if get_origin(annotation) in {Union, types.UnionType}:
        kept = [each for each in get_args(annotation) if each is not type(None)]
        assert len(kept) == 1, f"a settings key has one type, not {annotation}"
        return kept[0]
    return annotation


def item_type(field: FieldInfo) -> Any:  # noqa: ANN401 - the same
    """Type of the items of a list key, or None for a key that is no list."""
    kind = inner_type(field)
    return get_args(kind)[0] if get_origin(kind) is tuple else None


def is_part(kind: object) -> TypeGuard[type[Part]]:
    """Tell whether a type is a settings table."""
    return isinstance(kind, type) and issubclass(kind, Part)


def unit_of(field: FieldInfo) -> str:
    """Return the unit of a key, or an empty text for a key without one."""
    return str(_extra(field).get("unit", ""))


def needs_restart(field: FieldInfo) -> bool:
    """Tell whether a changed key takes effect only when the daemon starts again."""
    return bool(_extra(field).get("restart", False))


def _extra(field: FieldInfo) -> dict[str, Any]:
    return field.json_schema_extra if isinstance(field.json_schema_extra, dict) else {}


def describe_allowed(field: FieldInfo) -> str:
    """Say what a key allows: its kind, its range with the unit, its words."""
    item = item_type(field)
    if item is not None:
        return (
            f"a list, each {_describe_kind(item)}" if not is_part(item) else "tables in [[double brackets]]"
        )
    words = [_describe_kind(inner_type(field)), *_describe_bounds(field)]
    return " ".join(words)


def _describe_kind(kind: object) -> str:
    if is_part(kind):
        return "a table"
    if isinstance(kind, type) and issubclass(kind, Enum):
        return "one of " + ", ".join(f'"{member.value}"' for member in kind)
    return _KINDS[kind]


_KINDS: Final[dict[object, str]] = {
    bool: "true or false",
    int: "a whole number",
    float: "a number",
    str: "a text in quotes",
}


def _describe_bounds(field: FieldInfo) -> list[str]:
    words: list[str] = []
    low: list[str] = []
    for rule in field.metadata:
        match rule:
            case annotated_types.Ge(ge=bound):
                low = ["from", format_number(bound)]
            case annotated_types.Gt(gt=bound):
                low = ["above", format_number(bound)]
            case annotated_types.Le(le=bound):
                words = [*words, "up to", format_number(bound)]
            case annotated_types.MaxLen(max_length=bound):
                words = [*words, f"of at most {bound} characters"]
            case _:
                pass
    if low and words[:1] == ["up to"]:
        words = [*low, "to" if low[0] == "from" else "up to", *words[1:]]
    else:
        words = [*low, *words]
    unit = unit_of(field)
    return [*words, f"[{unit}]"] if unit else words


def describe_default(field: FieldInfo) -> str:
    """Say what holds when a key is absent."""
    if field.is_required():
        return "required"
    default = field.default
    if default is None or (default == () and is_part(item_type(field))):
        return "none"
    if isinstance(default, Part):
        return "as its keys"
    return write_value(default)


def describe_key(field: FieldInfo) -> str:
    """Tell everything about a key on one line, as it stands above the key in the commented settings file."""
    default = describe_default(field)
    fallback = "Required" if field.is_required() else f"If left out: {default}"
    restart = "A change needs a restart" if needs_restart(field) else "No restart"
    return f"{field.description} Allowed: {describe_allowed(field)}. {fallback}. {restart}."


def format_number(value: object) -> str:
    """Write a number the short way: 50, not 50.0."""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)


def write_value(value: object) -> str:
    """Write a value as TOML has it, on one line, shortened where long."""
    return _shorten(_write(value))


def _write(value: object) -> str:
    written = type(value).__name__
    match value:
        case bool():
            written = "true" if value else "false"
        case Enum():
            written = _write(value.value)
        case float():
            written = format_number(value)
        case int():
            written = str(value) if abs(value) < HUGE else "a huge number"
        case str():
            written = f'"{show_plainly(value[: 2 * LONGEST_VALUE])}"'
        case list() | tuple():
            written = "[" + ", ".join(_write(each) for each in value[:LONGEST_VALUE]) + "]"
        case dict():
            written = "a table"
        case datetime() | date() | time():
            written = value.isoformat()
        case _:
            pass
    return written


def show_plainly(text: str) -> str:
    """Put a question mark for what cannot be printed, so that a problem stays one line."""
    return "".join(each if each.isprintable() else "?" for each in text)


def label(section: str, name: object) -> str:
    """Name a table the way staff know it: its kind and, if it has one, its name."""
    return f"{section} {write_value(name)}" if isinstance(name, str) and name.strip() else section


def _shorten(text: str) -> str:
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 4] + " ..."
