"""From the lines of a recording to rows with a time, in order: what is no row of its time is named and skipped."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final

from controller.core.units import DAY_MS, UtcMs
from controller.edges.almanac import YEARS

NAMED_ROWS_MOST: Final = 20
"""Bad rows named one by one; further ones are only counted."""

LINE_CHARACTERS_MOST: Final = 100_000
"""A longer line is no row. A thousand sensors need a tenth of it."""

LEAP_MS: Final = 31 * DAY_MS
"""A time this far after the row before it must be borne out by the next row, or one slip would cost all the
rows after it. [ms]"""

_UNCLOSED: Final = ["a quote is not closed"]
_TOO_LONG: Final = [f"the line is longer than {LINE_CHARACTERS_MOST} characters"]

TimedRow = tuple[int, UtcMs, list[str]]
"""The number of its line, its instant [ms], its cells."""


@dataclass(slots=True)
class Tally:
    """What became of the rows."""

    read: int = 0
    refused: int = 0
    named: list[str] = field(default_factory=list)

    def refuse(self, path: Path, line: int, why: str) -> None:
        """Count a bad row, and name it while there are not too many."""
        self.refused += 1
        if self.refused <= NAMED_ROWS_MOST:
            self.named.append(f"{path}:{line}: {why}; the row is skipped")


def split_rows(lines: Iterable[str]) -> Iterator[list[str]]:
    """Split lines into cells. A row ends with its line: an open quote must not swallow those that follow."""
    return csv.reader(_make_whole(lines))


def _make_whole(lines: Iterable[str]) -> Iterator[str]:
    """Put a word in the place of each line that is no whole row."""
    for line in lines:
        if len(line) > LINE_CHARACTERS_MOST:
            yield _TOO_LONG[0]
        elif '"' in line and line.count('"') % 2:
            yield _UNCLOSED[0]
        else:
            yield line


def read_time(cell: str) -> UtcMs | str:
    """Read an instant, or say what is wrong with it."""
    text = cell.strip()
    try:
        instant = datetime.fromisoformat(text)
    except ValueError:
        return f"{text[:40]!r} is no ISO 8601 time"
    if instant.tzinfo is None:
        return f"{text[:40]!r} has no offset from UTC"
    # A year's distance from both ends, so that neither the offset nor a table of some days leads out of them.
    if instant.year not in YEARS[1:-1]:
        return f"{text[:40]!r} is not in the years {YEARS[1]} to {YEARS[-2]}"
    return round(instant.timestamp() * 1000)


def read_timed_rows(
    path: Path, rows: Iterator[list[str]], *, width: int, tally: Tally, alike: bool
) -> Iterator[TimedRow]:
    """Yield the rows that have the right number of cells and a time in order; name the others in `tally`.

    `alike` allows for rows of the same time. A row that leaps far ahead waits for the next one: if that goes
    as far back, the leap was a slip.
    """
    before: UtcMs | None = None
    held: TimedRow | None = None
    for timed in _read_times(path, rows, width, tally):
        line, instant, row = timed
        if held is not None:
            if held[1] - instant > LEAP_MS:
                tally.refuse(path, held[0], f"{held[2][0]} leaps ahead of the rows around it")
            else:
                before = held[1]
                yield held
            held = None
        if before is None or instant - before > LEAP_MS:
            held = timed
        elif instant < before or (instant == before and not alike):
            tally.refuse(path, line, f"{row[0]} is {'before' if alike else 'not after'} the row before it")
        else:
            before = instant
            yield timed
    if held is not None:
        if before is None:
            yield held
        else:
            tally.refuse(path, held[0], f"{held[2][0]} leaps ahead and no row follows")


def _read_times(path: Path, rows: Iterator[list[str]], width: int, tally: Tally) -> Iterator[TimedRow]:
    """Yield the rows that have the right number of cells and a readable time."""
    for line, row in enumerate(rows, start=2):
        if len(row) == width:
            instant = read_time(row[0])
            if isinstance(instant, str):
                tally.refuse(path, line, instant)
            else:
                yield line, instant, row
        elif row in (_UNCLOSED, _TOO_LONG):
            tally.refuse(path, line, row[0])
        elif row:
            cells = "1 cell" if len(row) == 1 else f"{len(row)} cells"
            tally.refuse(path, line, f"{cells} where the header has {width}")
