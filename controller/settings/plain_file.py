"""Read a file that somebody named, without waiting for ever on what is no file."""

from __future__ import annotations

import errno
import stat
from pathlib import Path


def read_plain(path: Path, most_bytes: int = -1) -> bytes:
    """Read a regular file, at most so many bytes of it [bytes]; -1 is all.

    Raises
    ------
    OSError
        It cannot be read, or is a pipe, a device or a socket: opening those may wait for ever.
    ValueError
        The path has a null byte.
    """
    mode = path.stat().st_mode
    if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):  # a folder says of itself that it cannot be opened
        raise OSError(errno.EINVAL, "it is a pipe, a device or a socket; a regular file is needed", str(path))
    with path.open("rb") as file:
        return file.read(most_bytes)
