"""Calculators on the command line: `duskbell reckon NAME --option value ...`.

Each takes numbers with their units in the option's name and answers in plain text, or with `--json` as one
object with exactly `value`, `unit`, `source` and `also`; where `value` is null, `also.why` says why. A number
outside a formula's range is refused in one line on standard error, and the exit status is 2.
"""

from __future__ import annotations

import argparse
import json
import sys
from functools import partial
from typing import TYPE_CHECKING, Final, NoReturn

from controller.calculators import CALCULATORS, Answer, Calculator, Detail, Given, OptionsDisagree
from controller.core.ranges import OutOfRange

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

EXIT_GOOD: Final = 0
EXIT_USAGE: Final = 2

_PREFIX: Final = "reckon_option_"


class OneLineParser(argparse.ArgumentParser):
    """A parser whose complaint is one line on standard error, with exit status 2."""

    def error(self, message: str) -> NoReturn:
        """Say what is wrong in one line and stop with status 2."""
        _complain(self, message)

    def parse_known_args(  # type: ignore[override]  # the namespace is always argparse's own here
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> tuple[argparse.Namespace, list[str]]:
        """Read the options, and complain here about one that is not known rather than leave it to a parent."""
        known, others = super().parse_known_args(args, namespace)
        if others:
            self.error(f"unrecognized arguments: {' '.join(others)}")
        return known, others


def add_reckon(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add `reckon` and its calculators to a command line, with `run` set to `run_reckon`.

    Parameters
    ----------
    subparsers
        What `add_subparsers` of the command line's own parser handed back.
    """
    reckon = subparsers.add_parser(
        "reckon",
        help="calculators: water, air, light",
        description="Calculators for water, air and light. Each line below can be typed as it stands.",
        epilog="\n".join(_worked_lines()),
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
        add_help=False,
    )
    # Its class is the caller's to choose, so the one-line complaint is hung onto this one.
    reckon.error = partial(_complain, reckon)  # type: ignore[method-assign]  # as said above
    _add_help(reckon)
    names = reckon.add_subparsers(
        dest="calculator", required=True, metavar="NAME", parser_class=OneLineParser
    )
    for calculator in CALCULATORS:
        parser = names.add_parser(
            calculator.name,
            help=calculator.text,
            description=f"Reckon {calculator.text}.",
            epilog=_worked_line(calculator),
            formatter_class=argparse.RawDescriptionHelpFormatter,
            allow_abbrev=False,
            add_help=False,
        )
        _add_help(parser)
        parser.set_defaults(run=run_reckon)
        parser.add_argument("--json", action="store_true", help="answer with one JSON object")
        for option in calculator.options:
            flag, dest = f"--{option.name}", _PREFIX + option.name
            if option.is_flag:
                parser.add_argument(flag, dest=dest, action="store_true", help=option.text)
            elif option.is_word:
                parser.add_argument(
                    flag, dest=dest, required=option.required, metavar="NAME", help=option.text
                )
            else:
                parser.add_argument(
                    flag,
                    dest=dest,
                    type=_number,
                    required=option.required,
                    default=option.default,
                    metavar="N",
                    help=option.text,
                )


def run_reckon(args: argparse.Namespace) -> int:
    """Run the calculator named in parsed arguments and print its answer.

    Returns
    -------
    status
        0 when it answered, 2 when the numbers were refused.
    """
    calculator = next(known for known in CALCULATORS if known.name == args.calculator)
    numbers: dict[str, float | None] = {}
    words: dict[str, str] = {}
    for option in calculator.options:
        given = getattr(args, _PREFIX + option.name)
        if option.is_word:
            words |= {} if given is None else {option.name: given}
        elif option.is_flag:
            words |= {option.name: ""} if given else {}
        else:
            numbers[option.name] = given
    try:
        answer = calculator.compute(Given(numbers, words))
    except (OutOfRange, OptionsDisagree) as refusal:
        print(f"duskbell reckon {calculator.name}: {refusal}", file=sys.stderr)
        return EXIT_USAGE
    print(write_json(answer) if args.json else write_text(answer))
    return EXIT_GOOD


def write_json(answer: Answer) -> str:
    """Write an answer as one JSON object on one line, keys sorted."""
    why = {"why": answer.nothing} if answer.value is None else {}
    shown = {
        "value": answer.value,
        "unit": answer.unit,
        "source": answer.source,
        "also": {**answer.also, **why},
    }
    return json.dumps(shown, sort_keys=True, allow_nan=False, ensure_ascii=False)


def write_text(answer: Answer) -> str:
    """Write an answer for a person: the number first, then what goes with it, then the source."""
    first = answer.nothing if answer.value is None else f"{write_value(answer)} {answer.what}"
    lines = [first]
    details = {name: detail for name, detail in answer.also.items() if detail is not None}
    width = max((len(name) for name, detail in details.items() if not isinstance(detail, list)), default=0)
    for name, detail in details.items():
        if isinstance(detail, list):
            lines.extend(f"  ! {sentence}" for sentence in detail)
        else:
            lines.append(f"  {name:<{width}}  {_write_detail(detail)}")
    lines.append(f"  source: {answer.source}")
    return "\n".join(lines)


def write_value(answer: Answer) -> str:
    """Write the number asked for with its unit, to four figures."""
    return "none" if answer.value is None else f"{_write_number(answer.value)} {answer.unit}"


def _write_detail(detail: Detail) -> str:
    if isinstance(detail, bool):
        return "yes" if detail else "no"
    return _write_number(detail) if isinstance(detail, float) else str(detail)


def _write_number(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 1000.0 else f"{value:.4g}"


def _number(text: str) -> float:
    """Read a plain number; "nan" and "inf" pass here and are refused by name with their range."""
    if "_" in text or not text.isascii():
        raise argparse.ArgumentTypeError(f"{text[:40]!r} is no number")
    try:
        return float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text[:40]!r} is no number") from None


def _complain(parser: argparse.ArgumentParser, message: str) -> NoReturn:
    parser.exit(EXIT_USAGE, f"{parser.prog}: {' '.join(message.split())}\n")


def _add_help(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--help", action="help", help="show this text and stop")


def _worked_line(calculator: Calculator) -> str:
    return f"  duskbell reckon {calculator.name} {calculator.worked}  # {calculator.worked_answer}"


def _worked_lines() -> Iterable[str]:
    yield "worked lines:"
    yield from (_worked_line(calculator) for calculator in CALCULATORS)
