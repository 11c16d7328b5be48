"""The durable half of the state as bytes, and back.

The form is JSON made by pydantic from the dataclasses themselves. A field that is new gets its default, one
that is gone is ignored, so that an upgrade in the middle of an alarm keeps the alarm.
"""

from __future__ import annotations

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
