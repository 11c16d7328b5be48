"""`duskbell check FILE`: every mistake of a settings file with its line, or what the file says."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from controller.core.plan.plan import Plan
from controller.settings.cautions import find_cautions
from controller.settings.load import load_settings, place_faults, read_text, read_today
from controller.settings.named_files import look_at_files
from controller.settings.problems import Problem
from controller.settings.sources import find_bands, find_loop_bands, find_outside, list_numbers, write_sources
from controller.settings.summary import write_summary

if TYPE_CHECKING:
    import argparse
    from collections.abc import Mapping, Sequence

    from controller.settings.presets import Compromise, Want

GOOD, REFUSED = 0, 2
"""Exit codes: the file is good, though perhaps with cautions; it is not."""


class Subparsers(Protocol):
    """Where a command line takes its commands, whatever the class of its parsers."""

    def add_parser(self, name: str, **words: Any) -> argparse.ArgumentParser:  # noqa: ANN401 - argparse's own words
        """Add a command."""


def add_check(subparsers: Subparsers) -> None:
    """Add the command `check` to the command line."""
    parser = subparsers.add_parser(
        "check",
        help="check a settings file and tell what it says",
        description="Check a settings file. Names every mistake with its line and what is allowed there. "
        "A good file is told back with all its units. Exit code 0: good; 2: refused.",
    )
    parser.add_argument("file", metavar="FILE", help="the settings file, such as /etc/duskbell/duskbell.toml")
    parser.add_argument(
        "--sources",
        action="store_true",
        help="tell every number that comes from a preset with its source, and the band that suits all",
    )
    parser.add_argument("--json", action="store_true", help="print JSON instead of text")
    parser.set_defaults(run=run_check)


def run_check(args: argparse.Namespace) -> int:
    """Answer `duskbell check`: 0 when the file is good, 2 when it is refused."""
    text = read_text(Path(args.file))
    if isinstance(text, Problem):
        return _refuse((text,), as_json=args.json)
    loaded = load_settings(text, file_name=args.file, today=read_today())
    if not isinstance(loaded, Plan):
        return _refuse(loaded, as_json=args.json)
    if args.sources:
        return _tell_sources(loaded, as_json=args.json)
    cautions = place_faults(text, find_cautions(loaded, today=read_today()), file_name=args.file)
    files = place_faults(text, look_at_files(loaded), file_name=args.file)
    if args.json:
        _write_json(good=True, problems=(), cautions=cautions, files=files, plan=loaded)
        return GOOD
    sys.stdout.write(write_summary(loaded))
    sys.stdout.write(f"\nThe file is good. {_count(len(cautions), 'caution')}{':' if cautions else '.'}\n")
    sys.stdout.writelines(f"{caution}\n" for caution in cautions)
    if files:
        sys.stdout.write(f"\nOn this machine, {_count(len(files), 'named file')} would not do:\n")
        sys.stdout.writelines(f"{each}\n" for each in files)
    return GOOD


def _tell_sources(plan: Plan, *, as_json: bool) -> int:
    if not as_json:
        sys.stdout.write(write_sources(plan))
        return GOOD
    bands = {name: _show_bands(each) for name, each in find_bands(plan).items()}
    loops = {
        loop.value: {"waters": shared.waters, "bands": _show_bands(shared.bands)}
        for loop, shared in find_loop_bands(plan).items()
    }
    document = {
        "numbers": list_numbers(plan),
        "bands": bands,
        "loops": loops,
        "outside": find_outside(plan),
    }
    sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=2) + "\n")
    return GOOD


def _show_bands(bands: Mapping[Want, Compromise]) -> dict[str, dict[str, object]]:
    return {
        want.value: {
            "unit": band.unit,
            "low": band.low,
            "high": band.high,
            "low_by": band.low_by,
            "high_by": band.high_by,
            "empty": band.empty,
        }
        for want, band in bands.items()
    }


def _refuse(problems: Sequence[Problem], *, as_json: bool) -> int:
    if as_json:
        _write_json(good=False, problems=problems, cautions=(), files=(), plan=None)
    else:
        sys.stdout.writelines(f"{problem}\n" for problem in problems)
        sys.stdout.write(f"\nThe file is refused: {_count(len(problems), 'problem')}.\n")
    return REFUSED


def _count(number: int, noun: str) -> str:
    return f"{number or 'No'} {noun}{'' if number == 1 else 's'}"


def _write_json(
    *,
    good: bool,
    problems: Sequence[Problem],
    cautions: Sequence[Problem],
    files: Sequence[Problem],
    plan: Plan | None,
) -> None:
    document = {
        "good": good,
        "problems": [_show(problem) for problem in problems],
        "cautions": [_show(caution) for caution in cautions],
        "files": [_show(each) for each in files],
        "settings": None if plan is None else plan.model_dump(mode="json"),
    }
    sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=2) + "\n")


def _show(problem: Problem) -> dict[str, object]:
    return {"file": problem.file_name, "line": problem.line, "text": problem.text}
