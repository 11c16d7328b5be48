"""Find the running daemon's folder in a settings file that may be broken.

A mistake in the file must not lock staff out of the daemon that goes on with the old settings: to answer an
alarm only the folder of the journal is needed, and that can be read from almost any file.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

from controller.core.plan.site import Journal
from controller.settings.plain_file import read_plain

_ROW = re.compile(r"""(?ms)^\[journal\]\s*$.*?^\s*directory\s*=\s*(?:"([^"\n]*)"|'([^'\n]*)')""")


def find_directory(path: Path) -> Path:
    """Return the journal's folder that the file names, or the usual one.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    text = read_plain(path).decode("utf-8", errors="replace")
    try:
        journal = tomllib.loads(text).get("journal", {})
        named = journal.get("directory") if isinstance(journal, dict) else None
    except tomllib.TOMLDecodeError:
        row = _ROW.search(text)
        named = (row[1] or row[2]) if row else None
    return Path(named if isinstance(named, str) and named else Journal().directory)
