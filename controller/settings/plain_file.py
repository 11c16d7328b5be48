"""Read a file that somebody named, without waiting for ever on what is no file."""

from __future__ import annotations

import errno
import stat
from pathlib import Path


def explain_refusal(error: OSError) -> str:
    """Say in plain words why a file could not be used, with its name where the system tells it."""
    match error:
        case FileNotFoundError():
            why = "there is no such file or folder"
        case PermissionError():
            why = "this account may not use it"
        case IsADirectoryError():
            why = "it is a folder; a file is needed"
        case OSError(errno=errno.ENOSPC):
            why = "the disk is full"
        case _:
            why = error.strerror or str(error)
    return why if error.filename is None else f"{error.filename}: {why}"


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
