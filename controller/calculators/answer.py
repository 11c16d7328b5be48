"""What every calculator takes and gives: options in, an `Answer` out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

Detail: TypeAlias = float | int | str | bool | list[str] | None


class OptionsDisagree(ValueError):  # noqa: N818 - it says what the options do, for a person to read
    """Options that are each fine and do not go together; the text says why."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What a calculator says.

    Attributes
    ----------
    value
        The number asked for [unit]; None when there is none, and `nothing` then says why.
    unit
        Unit of `value`.
    what
        The number's name in a sentence.
    source
        Where the formula is from.
    also
        Secondary values by name, unit last in the name.
    nothing
        What to say when `value` is None.
    """

    value: float | None
    unit: str
    what: str
    source: str
    also: Mapping[str, Detail] = field(default_factory=dict)
    nothing: str = ""


@dataclass(frozen=True, slots=True)
class Given:
    """The options as they came: numbers by name without the dashes, None for one left out."""

    numbers: Mapping[str, float | None]
    words: Mapping[str, str] = field(default_factory=dict)

    def need(self, name: str) -> float:
        """Hand out a number that the parser has made sure of."""
        number = self.numbers[name]
        assert number is not None, f"{name} is required, so the parser has seen to it"
        return number

    def find(self, name: str) -> float | None:
        """Hand out a number, or None when it was left out."""
        return self.numbers[name]

    def all_or_none(self, *names: str) -> bool:
        """Say whether a group of options was given; a part of a group is an error."""
        missing = [name for name in names if self.numbers[name] is None]
        if missing and len(missing) < len(names):
            wanted = ", ".join(f"--{name}" for name in missing)
            raise OptionsDisagree(f"with the options given, {wanted} must be given as well")
        return not missing


@dataclass(frozen=True, slots=True)
class Option:
    """An option that takes a number or, with `is_word`, a word; or, with `is_flag`, nothing."""

    name: str
    text: str
    required: bool = False
    default: float | None = None
    is_word: bool = False
    is_flag: bool = False


@dataclass(frozen=True, slots=True)
class Calculator:
    """A calculator and how to call it.

    Attributes
    ----------
    name
        Name on the command line.
    text
        What it answers, in one line.
    worked
        Options of a worked line.
    worked_answer
        What the worked line answers, as printed.
    options
        The options it takes.
    compute
        The calculation.
    """

    name: str
    text: str
    worked: str
    worked_answer: str
    options: tuple[Option, ...]
    compute: Callable[[Given], Answer]
