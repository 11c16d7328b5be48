"""Damaged files of the journal: kept under another name for whoever wants to look, and not too many of them."""

from __future__ import annotations

import contextlib
import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from controller.core.units import UtcMs

# Damaged files kept per journal file; in a crash loop more would fill the disk.
SET_ASIDE_MAX: Final = 3

PARTS: Final = ("-wal", "-shm", "")  # the file itself last: a log must never meet a new file


def rename_damaged(path: Path, *, utc_ms: UtcMs, why: str) -> str:
    """Give a closed, damaged file another name with all its parts, and say so in a sentence."""
    stamp = datetime.fromtimestamp(utc_ms // 1_000, UTC).strftime("%Y%m%dT%H%M%SZ")
    name = _free_name(path, stamp)
    # Several renames are not one step. The mark says that they were begun, so that after a power cut
    # between two of them the next start ends them instead of reading half a journal.
    mark = beside(path, ".setting-aside")
    with mark.open("w", encoding="ascii") as file:
        file.write(name)
        file.flush()
        os.fsync(file.fileno())
    sync_folder(path.parent)
    finish_setting_aside(path)
    return f"{path.name} was damaged ({why}) and is kept as {name}; a new one was started"


def finish_setting_aside(path: Path) -> None:
    """End what a power cut may have left half done."""
    mark = beside(path, ".setting-aside")
    if not mark.exists():
        return
    name = mark.read_text(encoding="ascii")
    # An empty mark was cut off before anything was renamed: nothing to end.
    if re.fullmatch(re.escape(path.name) + r"\.damaged-[0-9TZ-]+", name):
        for part in PARTS:
            with contextlib.suppress(FileNotFoundError):
                beside(path, part).rename(path.with_name(name + part))
        kept = sorted(other for other in path.parent.glob(f"{path.name}.damaged-*") if _is_main(other))
        for old in kept[:-SET_ASIDE_MAX]:
            for part in PARTS:
                beside(old, part).unlink(missing_ok=True)
    mark.unlink()
    sync_folder(path.parent)


def _free_name(path: Path, stamp: str) -> str:
    name = f"{path.name}.damaged-{stamp}"
    taken = 1
    while any(path.with_name(name + part).exists() for part in PARTS):
        taken += 1
        name = f"{path.name}.damaged-{stamp}-{taken}"
    return name


def _is_main(path: Path) -> bool:
    return not path.name.endswith(("-wal", "-shm"))


def beside(path: Path, part: str) -> Path:
    """Name a file that belongs to another, by what its name has more."""
    return path.with_name(path.name + part)


def sync_folder(folder: Path) -> None:
    """Make new names in a folder survive a power cut (fsync(2): the folder needs a call of its own)."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
