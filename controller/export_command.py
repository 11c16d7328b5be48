"""`duskbell export`: readings of the record as a wide CSV file, so that they can be replayed."""

from __future__ import annotations

import argparse
import csv
import heapq
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from controller.core.plan.plan import Plan
from controller.core.plan.sensor import Sensor
from controller.core.units import DAY_MS, Quantity, UtcMs, find_conversion
from controller.edges.journal_fault import JournalBroken
from controller.edges.journal_schema import ALARMS_NAME, HISTORY_NAME
from controller.edges.last_good import NAME as SETTINGS_NAME
from controller.edges.reader import Reader
from controller.overwriting import find_overwriting
from controller.settings.load import read_or_tell
from controller.settings.plain_file import explain_refusal


def add_export(commands: argparse._SubParsersAction[argparse.ArgumentParser], settings: Path) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "export",
        help="write recorded readings as CSV for a replay",
        description="Write recorded readings as CSV, one column a sensor, in the unit its settings name. Exit "
        "code 1: the record cannot be read or nothing was written; 2: settings or usage.",
    )
    parser.add_argument(
        "--from", dest="begin", required=True, metavar="ISO", help="first instant, with offset"
    )
    parser.add_argument("--to", dest="end", required=True, metavar="ISO", help="instant before which it ends")
    parser.add_argument("out", type=Path, metavar="OUT.csv", help="where the readings go")
    parser.add_argument("--settings", type=Path, default=settings, metavar="FILE", help="the settings file")
    parser.set_defaults(run=run_export)


def run_export(args: argparse.Namespace) -> int:
    """Carry the command out."""
    span = [_read_instant(text) for text in (args.begin, args.end)]
    if span[0] is None or span[1] is None or span[1] <= span[0]:
        print(
            "duskbell export: --from and --to are ISO 8601 times with an offset, in this order",
            file=sys.stderr,
        )
        return 2
    overwriting = find_overwriting({"OUT.csv": args.out}, {"--settings": args.settings})
    plan = None if overwriting else read_or_tell(args.settings)
    if plan is not None:
        kept = (ALARMS_NAME, HISTORY_NAME, SETTINGS_NAME)
        record = {f"the record's {name}": Path(plan.journal.directory) / name for name in kept}
        overwriting = find_overwriting({"OUT.csv": args.out}, record)
    if overwriting:
        print(f"duskbell export: {overwriting}", file=sys.stderr)
    if plan is None or overwriting:
        return 2
    try:
        with Reader(Path(plan.journal.directory)) as reader:
            rows = write_readings(args.out, reader, plan, from_utc_ms=span[0], to_utc_ms=span[1])
    except (JournalBroken, OSError) as error:
        told = explain_refusal(error) if isinstance(error, OSError) else error
        print(f"duskbell export: {told}", file=sys.stderr)
        return 1
    print(f"{rows} rows written to {args.out}")
    return 0 if rows else 1


def _read_instant(text: str) -> UtcMs | None:
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        return None
    return None if at.tzinfo is None else round(at.timestamp() * 1000)


def write_readings(path: Path, reader: Reader, plan: Plan, *, from_utc_ms: UtcMs, to_utc_ms: UtcMs) -> int:
    """Write the readings of a span, one row an instant; return the number of rows.

    Sensors that were never recorded have no column.
    """
    recorded = set(reader.sensors())
    sensors = [sensor for sensor in plan.sensor if sensor.name in recorded]
    place = {sensor.name: index for index, sensor in enumerate(sensors)}
    zone = ZoneInfo(plan.site.time_zone)
    rows = 0
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["time", *(sensor.name for sensor in sensors)])
        at: UtcMs | None = None
        cells = [""] * len(sensors)
        merged = heapq.merge(*(_read_sensor(reader, sensor, from_utc_ms, to_utc_ms) for sensor in sensors))
        for utc_ms, name, text in merged:
            if at is not None and utc_ms != at:
                writer.writerow([_write_instant(at, zone), *cells])
                rows += 1
                cells = [""] * len(sensors)
            at = utc_ms
            cells[place[name]] = text
        if at is not None:
            writer.writerow([_write_instant(at, zone), *cells])
            rows += 1
    return rows


def _read_sensor(
    reader: Reader, sensor: Sensor, from_utc_ms: UtcMs, to_utc_ms: UtcMs
) -> Iterator[tuple[UtcMs, str, str]]:
    """Read one sensor a day at a time, in the unit its settings name."""
    conversion = find_conversion(sensor.quantity, sensor.unit)
    for start in range(from_utc_ms, to_utc_ms, DAY_MS):
        end = min(start + DAY_MS, to_utc_ms)
        for utc_ms, value in reader.readings(sensor.name, from_utc_ms=start, to_utc_ms=end):
            if sensor.quantity is Quantity.SWITCH or conversion is None:
                yield utc_ms, sensor.name, f"{value:g}"
            else:
                yield utc_ms, sensor.name, f"{(value - conversion.offset) / conversion.factor:.9g}"


def _write_instant(utc_ms: UtcMs, zone: ZoneInfo) -> str:
    return datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(zone).isoformat(timespec="milliseconds")
