"""The last settings that were found good, kept beside the journal.

A board that reboots onto a file with a mistake in it, at night, must not stay silent: it goes on with what was
good before, and says so.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

import structlog

log = structlog.get_logger("duskbell.settings")

NAME: Final = "settings-last-good.toml"


def keep(directory: Path, text: str) -> None:
    """Keep a good file's text; a folder that cannot take it costs the rescue, not the start."""
    path, new = directory / NAME, directory / f"{NAME}.new"
    try:
        with new.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        new.chmod(0o600)
        new.replace(path)
    except OSError as error:
        log.warning("the good settings could not be kept", why=str(error))


def recall(directory: Path) -> str | None:
    """Return the text of the last good file, or None."""
    try:
        return (directory / NAME).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None
