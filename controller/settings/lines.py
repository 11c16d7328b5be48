"""From a place in the document to its line.

The TOML reader of the standard library does not say where a value stood. Each statement of a TOML document
(a header, or a key with its value) begins on a line of its own and reads alone, so the document is cut into
statements, each is read by that same reader, and the headers tell where its keys belong: one pass, every
statement read once.
"""

from __future__ import annotations

import tomllib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

    from controller.settings.problems import Path

DEEPEST: Final = 8
"""Steps of a path that are told apart; no key of the settings lies deeper than five."""

_ENDINGS: Final = ("]", '"""', "'''")
"""What the last line of a statement of several lines holds; other lines cannot end one."""


class LineMap:
    """Lines of all paths of one TOML document that is free of syntax errors."""

    def __init__(self, text: str) -> None:
        self._lines: dict[Path, int] = {}
        self._counts: dict[Path, int] = {}
        self._table: Path = ()
        for first, chunk, document in _split_statements(text):
            if chunk.lstrip().startswith("["):
                self._enter(document, first)
            else:
                self._note(self._table, document, first)
                self._note_items(document, first, chunk)

    def find(self, path: Path) -> int:
        """Line [1-based] on which a path begins; a missing key stands on its table's first line."""
        while path and path not in self._lines:
            path = path[:-1]
        return self._lines.get(path, 1)

    def _enter(self, document: dict[str, Any], line: int) -> None:
        """Follow a header to the table it opens; `[[x]]` opens the next of its kind."""
        path: Path = ()
        node: Any = document
        while node and len(path) < DEEPEST:
            if isinstance(node, list):
                count = self._counts.get(path, 0)
                self._counts[path] = count + 1
                path = (*path, count)
                node = None
            else:
                ((key, node),) = node.items()
                path = (*path, key)
                if isinstance(node, dict) and path in self._counts:
                    path = (*path, self._counts[path] - 1)
            self._lines.setdefault(path, line)
        self._table = path

    def _note(self, path: Path, node: object, line: int) -> None:
        if len(path) > DEEPEST:
            return
        if path != self._table:
            self._lines.setdefault(path, line)
        if isinstance(node, dict):
            for key, value in node.items():
                self._note((*path, key), value, line)
        elif isinstance(node, list):
            for index, value in enumerate(node):
                self._note((*path, index), value, line)

    def _note_items(self, document: dict[str, Any], first: int, chunk: str) -> None:
        """Give the items of a list over several lines the line each stands on."""
        rows = chunk.split("\n")
        path, node = self._table, _only_value(document)
        if len(rows) == 1 or not isinstance(node, list):
            return
        path = (*path, *_only_path(document))
        known = 0
        for count in range(1, len(rows) + 1):
            try:
                items = _only_value(tomllib.loads("\n".join(rows[:count]) + "\n]"))
            except ValueError:
                continue
            if isinstance(items, list):
                for index in range(known, len(items)):
                    self._lines[(*path, index)] = first + count - 1
                known = max(known, len(items))


def _only_path(document: dict[str, Any]) -> Path:
    path: Path = ()
    node: Any = document
    while isinstance(node, dict) and len(node) == 1:
        ((key, node),) = node.items()
        path = (*path, key)
    return path


def _only_value(document: object) -> object:
    while isinstance(document, dict) and len(document) == 1:
        (document,) = document.values()
    return document


def _split_statements(text: str) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Cut a document into statements: first line [1-based], text, and what the reader makes of it."""
    rows = text.split("\n")
    first = 0
    while first < len(rows):
        last = first
        document = _read(rows[first])
        while document is None and last + 1 < len(rows):
            last += 1
            if any(ending in rows[last] for ending in _ENDINGS):
                document = _read("\n".join(rows[first : last + 1]))
        if document:
            yield first + 1, "\n".join(rows[first : last + 1]), document
        first = last + 1 if document is not None else first + 1


def _read(chunk: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(chunk + "\n")
    except ValueError:
        return None
