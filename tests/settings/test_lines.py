"""The line of every path, compared with the slow and simple way: reading ever longer beginnings of the file."""

from __future__ import annotations

import re
import time
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.settings.lines import LineMap
from controller.settings.load import load_settings

GOOD = (Path(__file__).parent / "good.toml").read_text(encoding="utf-8")
DEMO = (Path(__file__).parents[2] / "config" / "duskbell.toml").read_text(encoding="utf-8")


def probe(text: str, path: tuple[str | int, ...]) -> int:
    """Find the first line at which the beginning of the text, read by tomllib, holds the path."""
    lines = text.splitlines(keepends=True)
    while path:
        for count in range(1, len(lines) + 1):
            try:
                node = tomllib.loads("".join(lines[:count]))
                for step in path:
                    node = node[step]
            except (tomllib.TOMLDecodeError, KeyError, IndexError, TypeError):
                continue
            return count
        path = path[:-1]
    return 1


def list_paths(node: object, path: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    """List every path in a document."""
    inner: list[tuple[str | int, object]] = []
    if isinstance(node, dict):
        inner = list(node.items())
    elif isinstance(node, list):
        inner = list(enumerate(node))
    return [path, *(each for key, value in inner for each in list_paths(value, (*path, key)))]


MIXED = """\
# dotted keys, tables in tables, lists of tables in lists of tables
top.first = 1
top.second.deep = 2
inline = { a = 1, b = [1, 2] }

[top.third]
x = 1 # [not a header]
"quoted key" = "[[no]] header"

[[fleet]]
name = "one"
[fleet.engine]
power = 3
[[fleet.crew]]
name = "x"
[[fleet.crew]]
name = "y"

[[fleet]]
name = "two"
[[fleet.crew]]
name = "z"
[fleet.crew.boots]
size = 40
[a.b.c]
d = 1
[a]
e = 2
"""


@pytest.mark.parametrize("text", [GOOD, MIXED], ids=["good file", "all forms of tables"])
def test_every_path_has_the_line_that_probing_finds(text: str) -> None:
    """Each path of a document has the line at which a growing beginning of the file first holds it."""
    lines = LineMap(text)
    for path in list_paths(tomllib.loads(text)):
        assert probe(text, path) == lines.find(path), path


def test_a_statement_over_several_lines_begins_where_its_key_stands() -> None:
    """A long list is found at its key, its items at their own lines, and a long text at its key."""
    text = 'a = 1\npeople = [ # who\n  "one",\n\n  "two", "three",\n]\nb = """\n[site]\nc = 1\n"""\nd = 4\n'
    lines = LineMap(text)
    found = [
        lines.find(path)
        for path in (("people",), ("people", 0), ("people", 1), ("people", 2), ("b",), ("d",), ("c",))
    ]
    assert found == [2, 3, 5, 5, 7, 11, 1]


def test_a_missing_key_stands_on_the_header_of_its_table() -> None:
    """A key that is not there is told at the header of the table that lacks it."""
    first, second = (n for n, row in enumerate(MIXED.split("\n"), start=1) if row == "[[fleet]]")
    lines = LineMap(MIXED)
    assert [first, second] == [
        lines.find(("fleet", 0, "absent")),
        lines.find(("fleet", 1, "absent", "deeper")),
    ]


KEYS = st.sampled_from(["a", "b", "c", "d"])
VALUES = st.sampled_from(["1", '"x"', "[1, 2]", '{ a = 1, b = "y" }', "true", '"# ] ="'])
ROWS = st.one_of(
    st.tuples(st.lists(KEYS, min_size=1, max_size=2), VALUES).map(
        lambda row: f"{'.'.join(row[0])} = {row[1]}"
    ),
    st.lists(KEYS, min_size=1, max_size=3).map(lambda keys: f"[{'.'.join(keys)}]"),
    st.lists(KEYS, min_size=1, max_size=3).map(lambda keys: f"[[{'.'.join(keys)}]] # note"),
    st.sampled_from(["", "# comment", "  "]),
)


@given(st.lists(ROWS, max_size=14))
def test_any_document_is_mapped_as_probing_maps_it(rows: list[str]) -> None:
    """Whatever tables, lists of tables and dotted keys follow each other, both ways find the same lines."""
    kept: list[str] = []
    for row in rows:
        try:
            tomllib.loads("\n".join([*kept, row]))
        except tomllib.TOMLDecodeError:
            continue
        kept.append(row)
    text = "\n".join(kept)
    lines = LineMap(text)
    for path in list_paths(tomllib.loads(text)):
        assert probe(text, path) == lines.find(path), (text, path)


def test_many_problems_in_a_long_file_are_told_in_good_time() -> None:
    """Twenty problems in a file of more than 900 lines take well under a second and a half."""
    assert DEMO.count("\n") > 900
    text = re.sub(r"(?m)^off_delay_s = \d+$", "off_delay_s = -1", DEMO)
    began_s = time.perf_counter()
    loaded = load_settings(text, file_name="house.toml")
    took_s = time.perf_counter() - began_s
    assert isinstance(loaded, tuple)
    assert text.count("off_delay_s = -1\n") == len(loaded) >= 20
    assert took_s < 1.5
