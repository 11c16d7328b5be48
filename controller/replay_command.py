"""`duskbell replay`: a recording in, positions and reasons out."""

from __future__ import annotations

import argparse
import csv
import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from controller.core.alarms.lifecycle import Trigger
from controller.edges.almanac import AlmanacFailed
from controller.overwriting import find_overwriting
from controller.recording import RecordingUnreadable
from controller.recording_rows import Tally
from controller.replay import ANSWER_AFTER_MIN, Outcome, Position
from controller.replay_compare import compare_calls, describe_comparison, write_comparison, write_when
from controller.replay_file import replay_file
from controller.settings.load import read_or_tell
from controller.settings.plain_file import explain_refusal

if TYPE_CHECKING:
    from collections.abc import Sequence

    from controller.core.units import UtcMs


ALARMS_LISTED_MOST: Final = 100
"""Lines on alarms that a person reads through; a machine gets all of them."""


def add_replay(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add the command to the command line."""
    parser = subparsers.add_parser(
        "replay",
        help="run the rules over a recording and write what the curtains would have done",
        description="Run the same rules over a recording. Readings: CSV, time,<sensor>,... or time,sensor,value.",
    )
    parser.add_argument("--settings", required=True, type=Path, metavar="FILE", help="the settings file")
    parser.add_argument("--readings", required=True, type=Path, metavar="IN.csv", help="the recording")
    parser.add_argument("--positions", type=Path, metavar="OUT.csv", help="where the moves go")
    parser.add_argument(
        "--reasons", type=Path, metavar="WHY.csv",
        help="write every change of rule too, moved or not; duskbell why --positions reads it as well",
    )  # fmt: skip
    parser.add_argument(
        "--against",
        type=Path,
        metavar="OLD",
        help="tell which calls these other settings would have made instead",
    )
    parser.add_argument(
        "--answer-after-min", type=float, default=ANSWER_AFTER_MIN, metavar="MIN",
        help="how long the imagined person needs to answer a call [min] (default %(default)s)",
    )  # fmt: skip
    parser.add_argument("--cache", type=Path, metavar="FOLDER", help="keep tables of the sun here")
    parser.add_argument("--json", action="store_true", help="print the result for machines")
    parser.set_defaults(run=run_replay)


def run_replay(args: argparse.Namespace) -> int:
    """Carry the command out: 0 good, 1 no good row or no output, 2 settings or usage."""
    overwriting = find_overwriting(
        {"--positions": args.positions, "--reasons": args.reasons},
        {"--readings": args.readings, "--settings": args.settings, "--against": args.against},
    )
    if overwriting:
        print(f"duskbell replay: {overwriting}", file=sys.stderr)
        return 2
    plan = read_or_tell(args.settings)
    if plan is None:
        return 2
    if args.positions is None and args.against is None and args.reasons is None:
        print(
            "duskbell replay: --positions OUT.csv, --reasons WHY.csv or --against OLD is needed",
            file=sys.stderr,
        )
        return 2
    other = None if args.against is None else read_or_tell(args.against)
    if args.against is not None and other is None:
        return 2
    tally, before = Tally(), None
    try:
        outcome = replay_file(
            plan, args.readings, tally, answer_after_min=args.answer_after_min, cache_dir=args.cache
        )
        if other is not None:
            before = replay_file(
                other, args.readings, Tally(), answer_after_min=args.answer_after_min, cache_dir=args.cache
            )
        if args.positions is not None:
            write_positions(args.positions, outcome.positions, ZoneInfo(plan.site.time_zone))
        if args.reasons is not None:
            write_reasons(args.reasons, outcome, ZoneInfo(plan.site.time_zone))
    except (RecordingUnreadable, AlmanacFailed, OSError) as error:
        told = explain_refusal(error) if isinstance(error, OSError) else error
        print(f"duskbell replay: {told}", file=sys.stderr)
        return 1
    for line in tally.named:
        print(line, file=sys.stderr)
    if tally.refused > len(tally.named):
        print(f"and {tally.refused - len(tally.named)} further rows", file=sys.stderr)
    comparison = None if before is None else compare_calls(before.called, outcome.called)
    if args.json:
        document = _document(tally, outcome)
        if comparison is not None:
            document["comparison"] = describe_comparison(comparison)
        print(json.dumps(document, sort_keys=True))
    else:
        _print_words(tally, outcome, args.positions, ZoneInfo(plan.site.time_zone))
        if comparison is not None:
            print(write_comparison(comparison, ZoneInfo(plan.site.time_zone)))
    return 0 if tally.read else 1


def write_positions(path: Path, positions: list[Position], zone: ZoneInfo) -> None:
    """Write the positions file: time,curtain,drawn_percent,rule,reason, a row a change."""
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["time", "curtain", "drawn_percent", "rule", "reason"])
        for row in positions:
            at = datetime.fromtimestamp(row.utc_ms / 1000, tz=UTC).astimezone(zone)
            writer.writerow(
                [
                    at.isoformat(timespec="seconds"),
                    row.curtain,
                    f"{row.drawn_percent:g}",
                    row.rule,
                    row.reason,
                ]
            )


def write_reasons(path: Path, outcome: Outcome, zone: ZoneInfo) -> None:
    """Write every decision with its rule and reason, a row each."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["time", "curtain", "rule", "reason"])
        for utc_ms, curtain, rule, text in outcome.decisions:
            at = datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(zone)
            writer.writerow([at.isoformat(timespec="seconds"), curtain, rule, text])


def _document(tally: Tally, outcome: Outcome) -> dict[str, object]:
    """Return the result for machines."""
    return {
        "rows_read": tally.read,
        "rows_refused": tally.refused,
        "moves": outcome.moves,
        "motor_starts": outcome.starts,
        "calls": outcome.calls,
        "messages": outcome.messages,
        "alarms": sum(1 for _, _, text in outcome.alarms if text.startswith(Trigger.RAISE.value)),
        "alarm_changes": [
            {"utc_ms": utc_ms, "alarm": name, "text": text} for utc_ms, name, text in outcome.alarms
        ],
    }


def _print_words(tally: Tally, outcome: Outcome, path: Path | None, zone: ZoneInfo) -> None:
    """Print the result for people, with times of the site."""
    print(f"{tally.read} rows read, {tally.refused} refused")
    for name, moves in outcome.moves.items():
        where = "" if path is None else f", written with their reasons to {path}"
        starts = outcome.starts.get(name, 0)
        parts = "" if starts == moves else f" in {starts} starts of the motor"
        print(f"curtain {name}: {moves} moves{parts}{where}")
    print(f"calls: {outcome.calls} alarms would have called somebody, with {outcome.messages} messages")
    if outcome.calls:
        print(
            "  (nobody answers in a recording: an imagined person is taken to answer, see --answer-after-min)"
        )
    for line in list_alarms(outcome.alarms, zone):
        print(line)


def list_alarms(alarms: Sequence[tuple[UtcMs, str, str]], zone: ZoneInfo) -> list[str]:
    """Write what became of the alarms, a line each from the first on, and how many lines are left out."""
    lines = [
        f"  {write_when(utc_ms, zone)} {name}: {text}" for utc_ms, name, text in alarms[:ALARMS_LISTED_MOST]
    ]
    left = len(alarms) - ALARMS_LISTED_MOST
    return [*lines, f"  and {left} more, in --json"] if left > 0 else lines
