"""`duskbell report calls`: what the calls of the last weeks came to, from the record."""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from controller.call_report import describe_report, report_calls, write_report
from controller.core.roll import call_roll
from controller.core.units import DAY_MS, UtcMs
from controller.core.vocabulary import Ledger
from controller.edges.journal_fault import JournalBroken
from controller.edges.journal_schema import NoteLine
from controller.edges.reader import Reader
from controller.settings.load import read_or_tell

DAYS: Final = 30
"""Figures on alarms want thirty days (ISA-18.2)."""

DAYS_MOST: Final = 3660


def add_report(commands: argparse._SubParsersAction[argparse.ArgumentParser], settings: Path) -> None:
    """Add the command to the command line."""
    parser = commands.add_parser(
        "report",
        help="tell what the calls of the last weeks came to",
        description="Tell what the calls of the last weeks came to, and which settings to change. Exit code 1: "
        "the record cannot be read; 2: settings or usage.",
    )
    parser.add_argument("about", choices=("calls",), help="what it is about")
    parser.add_argument("--days", type=int, default=DAYS, help="how far back [days] (default %(default)s)")
    parser.add_argument("--settings", type=Path, default=settings, metavar="FILE", help="the settings file")
    parser.add_argument("--json", action="store_true", help="print for machines")
    parser.set_defaults(run=run_report)


def run_report(args: argparse.Namespace) -> int:
    """Carry the command out."""
    if not 1 <= args.days <= DAYS_MOST:
        print(f"duskbell report: --days is {args.days}, allowed is 1 to {DAYS_MOST}", file=sys.stderr)
        return 2
    plan = read_or_tell(args.settings)
    if plan is None:
        return 2
    try:
        with Reader(Path(plan.journal.directory)) as reader:
            # In a rehearsal the record's own clock is another than ours.
            last = reader.last_state()
            to_ms = round(time.time() * 1000) if last is None else last.utc_ms + 1
            from_ms = to_ms - args.days * DAY_MS
            notes = read_notes(reader, from_ms, to_ms)
    except JournalBroken as error:
        print(f"duskbell report: {error}", file=sys.stderr)
        return 1
    report = report_calls(
        notes,
        call_roll(plan).entries,
        from_utc_ms=from_ms,
        to_utc_ms=to_ms,
        zone=ZoneInfo(plan.site.time_zone),
        phrases=plan.phrases,
    )
    print(json.dumps(describe_report(report), sort_keys=True) if args.json else write_report(report))
    return 0


def read_notes(reader: Reader, from_ms: UtcMs, to_ms: UtcMs) -> list[NoteLine]:
    """Read the notes on alarms and calls, a day at a time, so that no question is too large."""
    notes: list[NoteLine] = []
    for start in range(from_ms, to_ms, DAY_MS):
        end = min(start + DAY_MS, to_ms)
        day = [
            line
            for ledger in (Ledger.ALARM, Ledger.CALL)
            for line in reader.notes(ledger, from_utc_ms=start, to_utc_ms=end)
        ]
        # An alarm's own note comes before the call for it in the same instant.
        notes += sorted(day, key=lambda line: (line.utc_ms, line.ledger is not Ledger.ALARM))
    return notes
