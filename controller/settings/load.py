"""From the text of the settings file to the plan, or to every problem in it.

The TOML file is what the manager edits. A file that is not right in every point is refused as a whole: a
daemon never runs on half of its settings.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Final, TypeAlias

from controller.core.plan.plan import Plan
from controller.settings.checks import check_all
from controller.settings.draft import draw_up, read_strictly
from controller.settings.files import add_files
from controller.settings.lines import LineMap
from controller.settings.plain_file import read_plain
from controller.settings.problems import Fault, Problem
from controller.settings.syntax import read_document
from controller.settings.words import show_plainly

if TYPE_CHECKING:
    from collections.abc import Iterable

Loaded: TypeAlias = Plan | tuple[Problem, ...]
"""The plan, or everything that is wrong with the text."""

MOST_BYTES: Final = 1_000_000
"""A settings file is some tens of kilobytes; a larger one is something else, and reading it would cost."""


def read_settings(path: FilePath) -> Loaded:
    """Read the settings file at `path`, as of today; a file that cannot be read is a problem like any other."""
    text = read_text(path)
    return (
        (text,) if isinstance(text, Problem) else load_settings(text, file_name=str(path), today=read_today())
    )


def read_today() -> date:
    """Return the day by the board's clock, in UTC."""
    return datetime.now(UTC).date()


def read_or_tell(path: FilePath) -> Plan | None:
    """Read the settings file for a command; None, and every problem on standard error, if it is not good."""
    loaded = read_settings(path)
    if isinstance(loaded, Plan):
        return loaded
    sys.stderr.writelines(f"{problem}\n" for problem in loaded)
    return None


def read_text(path: FilePath) -> str | Problem:
    """Read the text of the file at `path`, or say why there is none."""
    name = str(path)
    try:
        content = read_plain(path, MOST_BYTES + 1)
    except (OSError, ValueError) as error:  # a path with a null byte is a ValueError
        return Problem(1, f"cannot be read: {getattr(error, 'strerror', None) or error}", name)
    if len(content) > MOST_BYTES:
        return Problem(1, f"the file is larger than {MOST_BYTES} bytes, so it is no settings file", name)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        return Problem(line, "a character is not written in UTF-8; save the file as UTF-8 text", name)


def load_settings(text: str, *, file_name: str, today: date | None = None) -> Loaded:
    """Read the settings from `text`: the plan if all is right, else every problem, in the order of lines.

    `file_name` is only for the problems. Absences and holidays before `today` are past and refuse nothing; None
    looks at all of them. Never raises, whatever the text.
    """
    reading = read_document(text.removeprefix("\ufeff"))
    slips = [Problem(line, what, file_name) for line, what in reading.slips.items()]
    if reading.document is None:
        *before, last = sorted(slips, key=_by_line)
        return (*before, replace(last, text=f"{last.text} (nothing else was checked)"))
    draft, faults = draw_up(reading.document, lost=reading.lost)
    draft.today = today
    faults += check_all(draft)
    if not slips and not faults:
        plan, faults = add_files(
            read_strictly(Plan, reading.document), FilePath(file_name).parent, today=today
        )
        if not faults:
            return plan
    placed = place_faults(reading.text, faults, file_name=file_name)
    # What stands on a line with a slip could not be read, so nothing more is said of it.
    placed = [problem for problem in placed if problem.line not in reading.slips]
    return tuple(sorted([*slips, *placed], key=_by_line))


def place_faults(text: str, faults: Iterable[Fault], *, file_name: str) -> list[Problem]:
    """Give each fault its line and put them into the order of lines; a fault told twice is told once."""
    lines = LineMap(text)
    found = {Problem(lines.find(fault.path), show_plainly(fault.text), file_name) for fault in faults}
    return sorted(found, key=_by_line)


def _by_line(problem: Problem) -> tuple[int, str]:
    return problem.line, problem.text
