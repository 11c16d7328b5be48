"""Read a recording of readings, row by row, strictly: a bad row is named and skipped, never guessed.

Two forms of CSV. Wide: `time,<sensor>,...`, one column a sensor, an empty cell where it did not speak. Long:
`time,sensor,value`. Times are ISO 8601 with an offset; values are in the unit that the sensor's settings
name. Rows stand in order of time; a row from before the last one is refused.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final

from controller.core.plan.sensor import Sensor
from controller.core.units import Conversion, Quantity, UtcMs, find_conversion
from controller.core.vocabulary import Sample

NAMED_ROWS_MOST: Final = 20
"""Bad rows named one by one; further ones are only counted."""

LONG_HEADER: Final = ("time", "sensor", "value")


class RecordingUnreadable(Exception):  # noqa: N818 - named by what happened, like every event of the house
    """The file cannot be used at all; the text says why."""


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


@dataclass(frozen=True, slots=True)
class Span:
    """First and last instant of a recording, and the sensors it has. UTC [ms]."""

    first_utc_ms: UtcMs
    last_utc_ms: UtcMs
    sensors: frozenset[str]
    strangers: tuple[str, ...]


def survey(path: Path, sensors: Mapping[str, Sensor]) -> Span:
    """Look over a recording: which sensors it has, and its first and last instant.

    Raises
    ------
    RecordingUnreadable
        No such file, no header, no good row, or no sensor that the settings know.
    """
    names: set[str] = set()
    first = last = None
    try:
        with path.open(newline="", encoding="utf-8-sig", errors="replace") as lines:
            header = _read_header(csv.reader(lines), path)
            if header != LONG_HEADER:
                names.update(header[1:])
                first, last = _ends_of_wide(path)
            else:
                for row in csv.reader(lines):
                    if len(row) == len(LONG_HEADER):
                        names.add(row[1].strip())
                        instant = _read_time(row[0])
                        if isinstance(instant, int):
                            first = instant if first is None else min(first, instant)
                            last = instant if last is None else max(last, instant)
    except (OSError, csv.Error) as error:
        raise RecordingUnreadable(f"{path}: {error}") from error
    known = frozenset(name for name in names if name in sensors)
    if not known:
        raise RecordingUnreadable(f"{path}: no column is named like a sensor of the settings")
    if first is None or last is None:
        raise RecordingUnreadable(f"{path}: no row has a readable time")
    return Span(first, last, known, tuple(sorted(names - known)))


def _read_header(rows: Iterator[list[str]], path: Path) -> tuple[str, ...]:
    """Read the header and refuse what is no recording."""
    header = tuple(cell.strip() for cell in next(rows, []))
    if len(header) < 2 or header[0] != "time":
        raise RecordingUnreadable(f"{path}:1: the header must be time,<sensor>,... or time,sensor,value")
    if header != LONG_HEADER and len(set(header)) != len(header):
        raise RecordingUnreadable(f"{path}:1: a sensor stands twice in the header")
    return header


def _ends_of_wide(path: Path) -> tuple[UtcMs | None, UtcMs | None]:
    """Find the earliest and the latest readable time of a wide recording without parsing its values."""
    first: UtcMs | None = None
    last: UtcMs | None = None
    with path.open(encoding="utf-8-sig", errors="replace") as lines:
        next(lines, None)
        kept = ""
        for line in lines:
            if first is None:
                instant = _read_time(line.partition(",")[0])
                first = instant if isinstance(instant, int) else None
            kept = line
            if len(line) > 1:
                last_line = line
        instant = _read_time((last_line if kept else "").partition(",")[0])
        last = instant if isinstance(instant, int) else None
    if first is not None and (last is None or last < first):
        # A damaged end: take a day past the first; the table of the sun is renewed as rows go on.
        last = first
    return first, last


def _read_time(cell: str) -> UtcMs | str:
    """Read an instant, or say what is wrong with it."""
    try:
        instant = datetime.fromisoformat(cell.strip())
    except ValueError:
        return f"{cell.strip()[:40]!r} is no ISO 8601 time"
    if instant.tzinfo is None:
        return f"{cell.strip()[:40]!r} has no offset from UTC"
    return round(instant.timestamp() * 1000)


def read_rows(
    path: Path, sensors: Mapping[str, Sensor], tally: Tally
) -> Iterator[tuple[UtcMs, tuple[Sample, ...]]]:
    """Yield the good rows in order, as samples in kept units; count and name the bad ones in `tally`.

    Rows of the long form with the same time are handed over together.
    """
    conversions = {name: find_conversion(sensor.quantity, sensor.unit) for name, sensor in sensors.items()}
    switches = {name for name, sensor in sensors.items() if sensor.quantity is Quantity.SWITCH}
    with path.open(newline="", encoding="utf-8-sig", errors="replace") as lines:
        rows = csv.reader(lines)
        header = _read_header(rows, path)
        if header == LONG_HEADER:
            yield from _read_long(path, rows, conversions, switches, tally)
        else:
            columns = tuple(
                (place, name, conversions[name], name in switches)
                for place, name in enumerate(header)
                if name in conversions
            )
            yield from _read_wide(path, rows, len(header), columns, tally)


def _read_wide(
    path: Path,
    rows: Iterator[list[str]],
    width: int,
    columns: tuple[tuple[int, str, Conversion | None, bool], ...],
    tally: Tally,
) -> Iterator[tuple[UtcMs, tuple[Sample, ...]]]:
    """Read the wide form."""
    before: UtcMs | None = None
    line = 1
    while True:
        line += 1
        try:
            row = next(rows)
        except StopIteration:
            return
        except csv.Error as error:
            tally.refuse(path, line, str(error))
            continue
        if not row:
            continue
        if len(row) != width:
            tally.refuse(path, line, f"{len(row)} cells where the header has {width}")
            continue
        instant = _read_time(row[0])
        if isinstance(instant, str):
            tally.refuse(path, line, instant)
            continue
        if before is not None and instant <= before:
            tally.refuse(path, line, f"{row[0]} is not after the row before it")
            continue
        samples: list[Sample] = []
        wrong = ""
        for place, name, conversion, is_switch in columns:
            cell = row[place]
            if not cell:
                continue
            value = _read_value(cell, conversion, is_switch=is_switch)
            if value is None:
                wrong = f"{cell.strip()[:40]!r} is no value of {name}"
                break
            samples.append(Sample(name, value))
        if wrong:
            tally.refuse(path, line, wrong)
            continue
        before = instant
        tally.read += 1
        yield instant, tuple(samples)


def _read_long(
    path: Path,
    rows: Iterator[list[str]],
    conversions: Mapping[str, Conversion | None],
    switches: set[str],
    tally: Tally,
) -> Iterator[tuple[UtcMs, tuple[Sample, ...]]]:
    """Read the long form, gathering the rows of one instant."""
    gathered: list[Sample] = []
    at: UtcMs | None = None
    for line, row in enumerate(rows, start=2):
        if not row:
            continue
        if len(row) != len(LONG_HEADER):
            tally.refuse(path, line, f"{len(row)} cells where the header has {len(LONG_HEADER)}")
            continue
        instant = _read_time(row[0])
        name = row[1].strip()
        if isinstance(instant, str):
            tally.refuse(path, line, instant)
            continue
        if at is not None and instant < at:
            tally.refuse(path, line, f"{row[0]} is before the row before it")
            continue
        if name not in conversions:
            tally.refuse(path, line, f"the settings know no sensor {name[:40]!r}")
            continue
        value = _read_value(row[2], conversions[name], is_switch=name in switches)
        if value is None:
            tally.refuse(path, line, f"{row[2].strip()[:40]!r} is no value of {name}")
            continue
        tally.read += 1
        if at is not None and instant != at:
            yield at, tuple(gathered)
            gathered = []
        at = instant
        gathered.append(Sample(name, value))
    if at is not None and gathered:
        yield at, tuple(gathered)


def _read_value(cell: str, conversion: Conversion | None, *, is_switch: bool) -> float | None:
    """Read one value into its kept unit; None if it is no plain finite number (or, for a switch, on or off)."""
    if is_switch:
        return {"1": 1.0, "0": 0.0, "on": 1.0, "off": 0.0}.get(cell.strip())
    try:
        value = float(cell)
    except ValueError:
        return None
    if not math.isfinite(value) or not cell.isascii() or "_" in cell or conversion is None:
        return None
    return value * conversion.factor + conversion.offset
