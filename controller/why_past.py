"""Why a curtain was where it was at a minute of the past: from a replay's files, or from the journal."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from controller.core.units import UtcMs
from controller.core.vocabulary import Ledger
from controller.edges.reader import Reader
from controller.settings.plain_file import explain_refusal

LOOK_BACK: Final = timedelta(days=14)
"""A rule that has had its way for longer than this was noted before; two weeks without a note are a dead curtain."""


_ARRIVED: Final = re.compile(r"(open|drawn|position unknown|\d+ % drawn) after \d+ s")


class PastUnreadable(ValueError):  # noqa: N818 - a state of the files, named as such
    """The files or the instant cannot be used."""


@dataclass(frozen=True, slots=True)
class Reason:
    """What was in force: since when, for which curtain, by which rule, and why. `drawn_percent` None: not said."""

    utc_ms: UtcMs
    curtain: str
    rule: str
    reason: str
    drawn_percent: float | None = None


def read_instant(text: str) -> datetime:
    """Read an instant with its offset.

    Raises
    ------
    PastUnreadable
        It is none, or has no offset.
    """
    try:
        at = datetime.fromisoformat(text)
    except ValueError:
        raise PastUnreadable(f"{text!r} is no instant; write it as 2026-04-18T08:30+01:00") from None
    if at.tzinfo is None:
        raise PastUnreadable(f"{text!r} has no offset; write it as 2026-04-18T08:30+01:00 or with Z for UTC")
    return at


def read_positions(path: Path) -> Iterator[Reason]:
    """Read a replay's positions, or its reasons, oldest first.

    Raises
    ------
    PastUnreadable
        The file cannot be read or is no such file.
    """
    try:
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                percent = row.get("drawn_percent")
                yield Reason(
                    round(read_instant(row["time"]).timestamp() * 1000),
                    row["curtain"],
                    row["rule"],
                    row["reason"],
                    float(percent) if percent else None,
                )
    except OSError as error:
        raise PastUnreadable(explain_refusal(error)) from error
    except (UnicodeDecodeError, csv.Error, KeyError, ValueError) as error:
        raise PastUnreadable(f"{path}: no positions of a replay: {error}") from error


def read_notes(directory: Path, at: datetime) -> Iterator[Reason]:
    """Read the journal's notes on curtains up to an instant, oldest first; raises what the reader raises."""
    to_ms = round(at.timestamp() * 1000)
    with Reader(directory) as reader:
        notes = reader.notes(
            Ledger.CURTAIN, from_utc_ms=to_ms - round(LOOK_BACK.total_seconds() * 1000), to_utc_ms=to_ms + 1
        )
    for note in notes:
        yield Reason(note.utc_ms, note.subject, note.rule, note.text)


def find_in_force(reasons: Iterable[Reason], at: datetime) -> dict[str, Reason]:
    """Find for each curtain the last reason at or before an instant."""
    to_ms = round(at.timestamp() * 1000)
    # That a run has arrived is no reason; the reason is why it began.
    reasons = (reason for reason in reasons if not _ARRIVED.fullmatch(reason.reason))
    found: dict[str, Reason] = {}
    for reason in reasons:
        before = found.get(reason.curtain)
        if reason.utc_ms <= to_ms and (before is None or before.utc_ms <= reason.utc_ms):
            found[reason.curtain] = reason
    return found


def tell_past(found: dict[str, Reason], at: datetime) -> list[str]:
    """Say in one sentence a curtain why it was where it was."""
    lines = []
    for name, reason in found.items():
        begun = datetime.fromtimestamp(reason.utc_ms / 1000, tz=UTC).astimezone(at.tzinfo)
        since = "" if begun == at else f" since {begun:%Y-%m-%d %H:%M}"
        where = "" if reason.drawn_percent is None else f"{reason.drawn_percent:g} % drawn, "
        lines.append(
            f'Curtain {name} at {at:%Y-%m-%d %H:%M}: {where}by the rule "{reason.rule}"{since}: '
            f"{reason.reason}."
        )
    return lines or [f"Nothing is known of any curtain at or before {at.isoformat(timespec='minutes')}."]
