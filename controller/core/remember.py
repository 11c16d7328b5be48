"""The durable half of the state as bytes, and back.

The form is JSON made by pydantic from the dataclasses themselves. A field that is new gets its default, one
that is gone is ignored, so that an upgrade in the middle of an alarm keeps the alarm.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from pydantic import TypeAdapter

from controller.core.state import Durable

_ADAPTER: Final[TypeAdapter[Durable]] = TypeAdapter(Durable)


def pack(durable: Durable) -> bytes:
    """Write the durable half as bytes."""
    return _ADAPTER.dump_json(durable)


def unpack(document: bytes) -> Durable:
    """Read the durable half back.

    Raises
    ------
    ValueError
        The bytes are no such document.
    """
    return _ADAPTER.validate_json(document)


def is_worth_writing(old: Durable, new: Durable) -> bool:
    """Whether the record must hold `new`: not if a motor has merely gone on with its run.

    After a restart no position is known, so how far a run has come is not worth a write to the card for each
    report of the board.
    """
    if new is old:
        return False
    if replace(new, drives=old.drives) != old or set(new.drives) != set(old.drives):
        return True
    for name, drive in new.drives.items():
        before = old.drives[name]
        gone_on = replace(
            before,
            drawn_percent=drive.drawn_percent,
            from_percent=drive.from_percent,
            progress_ms=drive.progress_ms,
            confirmed=drive.confirmed,
        )
        if drive not in (before, gone_on):
            return True
    return False
