"""Reading a document that is not quite TOML: every slip is told, not only the first.

A slip on a line of its own (a text without quotes, a header without its bracket) is told and its value is
taken as unreadable; reading goes on. After a slip that may swallow other lines nothing more can be said, and
only the slips are told.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from typing import Any, Final

from controller.settings.lines import DEEPEST, LineMap
from controller.settings.problems import Path

MOST_SLIPS: Final = 50
"""A file with more is not read on: nobody mends fifty mistakes before looking again."""

UNREADABLE: Final = "23:59:59.999999"
"""A TOML time, which no key takes: it stands for a value that could not be read."""

_TOO_DEEP: Final = "lists or tables are nested too deep for settings"

_AT: Final = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
_KEY: Final = re.compile(r"\s*([A-Za-z0-9_-]+)(?=\s|=|$)")
_HEADER: Final = re.compile(
    r"\s*(\[\[?)\s*([A-Za-z0-9_-]+(?:\s*\.\s*[A-Za-z0-9_-]+)*)\s*\]{0,2}\s*(?:#.*)?\r?"
)

_PLAIN: Final = (
    ("Invalid value", "this is no value: a text stands in straight quotes, a switch is true or false"),
    ("Illegal character '\\n'", "the closing quote of a text is missing"),
    ("Illegal character '\\r'", "the closing quote of a text is missing"),
    ("Unclosed array", "a list is not closed: its items stand in [ ] with commas between them"),
    ("Unclosed inline table", "a { is not closed on its line"),
    ("Expected '=' after a key", "a key needs = and its value after it"),
    ("Expected newline", "something stands after the value: a number has one point and no unit or comma"),
    ("Expected ']]'", "the header's closing ]] is missing"),
    ("Expected ']'", "the header's closing ] is missing"),
    ("Cannot overwrite a value", "this key stands twice in its table; leave one of them out"),
    ("Cannot declare", "this table stands twice; only tables in [[double brackets]] may be repeated"),
    ("Unterminated string", "a text over several lines is not closed"),
    ("Unescaped '\\' in a string", "a text holds a single \\; write it twice"),
)


@dataclass(slots=True)
class Reading:
    """What could be read of a document.

    `slips` says what is wrong by line [1-based]. `document` is None when a slip made the rest unreadable.
    `rows` are the lines as they were read on, `lost` the tables of which a part was left out.
    """

    rows: list[str]
    slips: dict[int, str] = field(default_factory=dict)
    document: dict[str, Any] | None = None
    lost: set[str] = field(default_factory=set)

    @property
    def text(self) -> str:
        """The document as it was read on; it has the same lines as the file."""
        return "\n".join(self.rows)


def read_document(text: str) -> Reading:
    """Read a TOML document as far as it can be read. Never raises, whatever the text."""
    reading = Reading(text.split("\n"))
    try:
        text.encode()
    except UnicodeEncodeError as error:
        reading.slips[text.count("\n", 0, error.start) + 1] = "a character is not written in UTF-8"
        return reading
    try:
        while len(reading.slips) < MOST_SLIPS:
            try:
                reading.document = tomllib.loads(reading.text)
            except tomllib.TOMLDecodeError as error:
                if not _tell_slip(reading, str(error)):
                    break
            else:
                break
    except RecursionError:
        reading.slips[1] = _TOO_DEEP
    except ValueError as error:  # a whole number of thousands of digits
        reading.slips[1] = f"cannot be read as TOML: {error}"
    deep = _find_deep(reading.document)
    if deep is not None:
        reading.slips[LineMap(reading.text).find(deep)] = _TOO_DEEP
        reading.document = None
    return reading


def _find_deep(document: dict[str, Any] | None) -> Path | None:
    """Find a path deeper than any settings go, so that nothing later has to follow it."""
    waiting: list[tuple[Path, object]] = [((), document)]
    while waiting:
        path, node = waiting.pop()
        inner: list[tuple[str | int, object]] = []
        if isinstance(node, dict):
            inner = list(node.items())
        elif isinstance(node, list):
            inner = list(enumerate(node))
        if inner and len(path) >= DEEPEST:
            return path
        waiting.extend(((*path, step), value) for step, value in inner)
    return None


def _tell_slip(reading: Reading, message: str) -> bool:
    """Note a slip, and mend its line so that reading can go on; False when it cannot."""
    found = _AT.search(message)
    raw = _AT.sub("", message)
    what = next((plain for start, plain in _PLAIN if raw.startswith(start)), raw)
    last = len(reading.rows) - (not reading.rows[-1] and len(reading.rows) > 1)
    if found is None or found[1] is None:
        reading.slips.setdefault(last, f"not TOML: {what}; the file ends in the middle of something")
        return False
    line = min(int(found[1]), last)
    again = line in reading.slips
    reading.slips.setdefault(line, f"not TOML at column {found[2]}: {what}")
    row = reading.rows[line - 1]
    header = _HEADER.fullmatch(row)
    if header is not None:
        return _mend_header(reading, line, header, again=again)
    if again or raw.startswith("Cannot overwrite"):
        mended = ""
    elif _reads_alone(row):
        return False
    else:
        key = _KEY.match(row)
        mended = f"{key[1]} = {UNREADABLE}" if key else ""
    reading.rows[line - 1] = mended
    return row != mended


def _mend_header(reading: Reading, line: int, header: re.Match[str], *, again: bool) -> bool:
    """Close a header's brackets; give a header that stands twice a name of its own, which loses its table."""
    opening, name = header[1], header[2]
    mended = opening + name + "]" * len(opening)
    if again or mended == reading.rows[line - 1].strip():
        reading.lost.add(name.split(".")[0].strip())
        mended = f'["{name}, line {line}"]'
    if reading.rows[line - 1] == mended:
        return False
    reading.rows[line - 1] = mended
    return True


def _reads_alone(row: str) -> bool:
    """Tell whether a line is sound by itself, so that the slip began on another line."""
    try:
        tomllib.loads(row)
    except tomllib.TOMLDecodeError as error:
        return "at end of document" in str(error)
    return True
