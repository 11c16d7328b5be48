"""The list of faults that Duskbell is made for, each with what it must do and with what shows that it does."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Final, NamedTuple

FILE: Final = Path(__file__).parent / "register.toml"
TEST: Final = "test:"


class Hazard(NamedTuple):
    """A fault in words, what must come of it, and what shows it: scenarios, and tests as file and name."""

    group: str
    fault: str
    must: str
    scenarios: tuple[str, ...]
    tests: tuple[tuple[str, str], ...]


def read_register(path: Path = FILE) -> tuple[Hazard, ...]:
    """Read the list.

    Raises
    ------
    OSError, tomllib.TOMLDecodeError, KeyError, ValueError
        The file is not such a list.
    """
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    hazards = []
    for table in document["fault"]:
        shown = tuple(str(name) for name in table["shown_by"])
        tests = []
        for name in shown:
            if name.startswith(TEST):
                file, test = name.removeprefix(TEST).split("::")
                tests.append((file, test))
        scenarios = tuple(name for name in shown if not name.startswith(TEST))
        hazards.append(
            Hazard(str(table["group"]), str(table["fault"]), str(table["must"]), scenarios, tuple(tests))
        )
    return tuple(hazards)
