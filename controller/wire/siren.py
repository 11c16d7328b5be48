"""A siren's command to bytes, and its report to whether it sounds.

The command is absolute, bounded and expiring, `{"command": "e1042", "sound_at_most_s": 180.0, "not_after":
"2026-03-01T06:30:30.000Z"}`; with 0 s it silences. The board ends the sounding by itself. The report is
`{"on": true}`, or the bare word `on` or `off` for the plainest of boards.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from json import dumps
from typing import Final

from controller.core.vocabulary import SoundSiren
from controller.wire.command import COMMAND
from controller.wire.document import read_document
from controller.wire.refusal import Refused, Unreadable

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_WORDS: Final = {b"on": True, b"off": False, b"1": True, b"0": False}


def render_siren(sound: SoundSiren) -> bytes:
    """Render a command to sound, or with no time to be silent."""
    assert COMMAND.fullmatch(sound.effect_id), "a command has a name that a report can give back"
    assert sound.run_at_most_ms >= 0, "a siren sounds for no less than no time"
    not_after = _EPOCH + timedelta(milliseconds=sound.not_after_utc_ms)
    document = {
        "command": sound.effect_id,
        "sound_at_most_s": sound.run_at_most_ms / 1000,
        "not_after": not_after.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
    }
    return dumps(document, allow_nan=False).encode("ascii")


def read_siren(payload: bytes) -> bool | Refused:
    """Read whether the siren sounds. Never raises, whatever the bytes."""
    word = _WORDS.get(payload.strip().lower())
    if word is not None:
        return word
    try:
        document = read_document(payload)
    except Unreadable as unreadable:
        return Refused(unreadable.reason)
    on = document.get("on") if isinstance(document, dict) else None
    return on if isinstance(on, bool) else Refused("on is missing, or neither true nor false")
