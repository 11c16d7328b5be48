"""Read a recording of readings, row by row, strictly: a bad row is named and skipped, never guessed.

Two forms of CSV. Wide: `time,<sensor>,...`, one column a sensor, an empty cell where it did not speak. Long:
`time,sensor,value`. Times are ISO 8601 with an offset; values are in the unit that the sensor's settings
name. Rows stand in order of time; a row from before the last one is refused.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from controller.core.plan.sensor import Sensor
from controller.core.units import Conversion, Quantity, UtcMs, find_conversion
from controller.core.vocabulary import Sample
from controller.recording_rows import Tally, read_time, read_timed_rows, split_rows
from controller.settings.plain_file import explain_refusal

LONG_HEADER: Final = ("time", "sensor", "value")
_NOT_COMMAS: Final = {";": "semicolons", "\t": "tabs"}


class RecordingUnreadable(Exception):  # noqa: N818 - named by what happened, like every event of the house
    """The file cannot be used at all; the text says why."""


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
            header = _read_header(split_rows(lines), path)
            if header != LONG_HEADER:
                names.update(header[1:])
                first, last = _ends_of_wide(path)
            else:
                for row in split_rows(lines):
                    if len(row) == len(LONG_HEADER):
                        names.add(row[1].strip())
                        instant = read_time(row[0])
                        if isinstance(instant, int):
                            first = instant if first is None else min(first, instant)
                            last = instant if last is None else max(last, instant)
    except OSError as error:
        raise RecordingUnreadable(explain_refusal(error)) from error
    except csv.Error as error:
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
    between = _NOT_COMMAS.get(header[0][4:5]) if header and header[0].startswith("time") else None
    if between is not None:
        raise RecordingUnreadable(
            f"{path}:1: {between} stand between the cells where commas are needed, and in numbers a decimal point"
        )
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
                instant = read_time(line.partition(",")[0].strip('"'))
                first = instant if isinstance(instant, int) else None
            kept = line
            if len(line) > 1:
                last_line = line
        instant = read_time((last_line if kept else "").partition(",")[0].strip('"'))
        last = instant if isinstance(instant, int) else None
    if first is not None and (last is None or last < first):
        # A damaged end: take a day past the first; the table of the sun is renewed as rows go on.
        last = first
    return first, last


def read_rows(
    path: Path, sensors: Mapping[str, Sensor], tally: Tally
) -> Iterator[tuple[UtcMs, tuple[Sample, ...]]]:
    """Yield the good rows in order, as samples in kept units; count and name the bad ones in `tally`.

    Rows of the long form with the same time are handed over together.
    """
    conversions = {name: find_conversion(sensor.quantity, sensor.unit) for name, sensor in sensors.items()}
    switches = {name for name, sensor in sensors.items() if sensor.quantity is Quantity.SWITCH}
    with path.open(newline="", encoding="utf-8-sig", errors="replace") as lines:
        rows = split_rows(lines)
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
    for line, instant, row in read_timed_rows(path, rows, width=width, tally=tally, alike=False):
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
    for line, instant, row in read_timed_rows(path, rows, width=len(LONG_HEADER), tally=tally, alike=True):
        name = row[1].strip()
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
