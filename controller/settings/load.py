"""From the text of the settings file to the plan, or to every problem in it.

The TOML file is what the manager edits. A file that is not right in every point is refused as a whole: a
daemon never runs on half of its settings.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, Final, TypeAlias

from controller.core.plan.plan import Plan
from controller.settings.checks import check_all
from controller.settings.draft import draw_up, read_strictly
from controller.settings.lines import LineMap
from controller.settings.problems import Fault, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable

Loaded: TypeAlias = Plan | tuple[Problem, ...]
"""The plan, or everything that is wrong with the text."""

MOST_BYTES: Final = 1_000_000
"""A settings file is some tens of kilobytes; a larger one is something else, and reading it would cost."""

_AT_LINE: Final = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


def read_settings(path: FilePath) -> Loaded:
    """Read the settings file at `path`; a file that cannot be read is a problem like any other."""
    name = str(path)
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        return (Problem(1, f"cannot be read: {error.strerror or error}", name),)
    if len(content) > MOST_BYTES:
        return (Problem(1, f"the file is larger than {MOST_BYTES} bytes, so it is no settings file", name),)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        return (Problem(line, "a character is not written in UTF-8; save the file as UTF-8 text", name),)
    return load_settings(text, file_name=name)


def load_settings(text: str, *, file_name: str) -> Loaded:
    """Read the settings from `text`: the plan if all is right, else every problem, in the order of lines.

    `file_name` is only for the problems. Never raises, whatever the text.
    """
    text = text.removeprefix("\ufeff")
    read = _read_toml(text)
    if isinstance(read, tuple):
        line, what = read
        return (Problem(min(line, count_lines(text)), what, file_name),)
    draft, faults = draw_up(read)
    faults += check_all(draft)
    if faults:
        return tuple(place_faults(text, faults, file_name=file_name))
    return read_strictly(Plan, read)


def place_faults(text: str, faults: Iterable[Fault], *, file_name: str) -> list[Problem]:
    """Give each fault its line and put them into the order of lines; a fault told twice is told once."""
    lines = LineMap(text)
    found = {Problem(lines.find(fault.path), fault.text, file_name) for fault in faults}
    return sorted(found, key=lambda problem: (problem.line, problem.text))


def count_lines(text: str) -> int:
    """Lines of a text, at least one; only a line feed ends a line, as in TOML."""
    return max(1, text.count("\n") + (not text.endswith("\n")))


def _read_toml(text: str) -> dict[str, Any] | tuple[int, str]:
    """Read the document, or say on which line it stops being TOML and why."""
    try:
        text.encode()
    except UnicodeEncodeError as error:
        return text.count("\n", 0, error.start) + 1, "a character is not written in UTF-8"
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return _explain_syntax(text, str(error))
    except RecursionError:
        return 1, "tables or lists are nested too deep to be settings"
    except ValueError as error:  # a number of thousands of digits
        return 1, f"cannot be read as TOML: {error}"


def _explain_syntax(text: str, message: str) -> tuple[int, str]:
    found = _AT_LINE.search(message)
    what = _AT_LINE.sub("", message)
    if found is None or found[1] is None:
        return count_lines(text), f"not TOML: {what}; the file ends in the middle of something"
    return int(found[1]), f"not TOML at column {found[2]}: {what}"
