"""Outputs of a command that would overwrite what it reads, found before anything is opened."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path


def find_overwriting(outputs: Mapping[str, Path | None], inputs: Mapping[str, Path | None]) -> str:
    """Say which output is the same file as an input or as another output; an empty text if none is.

    Parameters
    ----------
    outputs, inputs
        Paths by the words that people know them by, such as `--positions`; None was not given. Links are
        followed, hard and symbolic. Devices and pipes cannot be overwritten and are left out.
    """
    written = [(words, path) for words, path in outputs.items() if path is not None]
    read = [(words, path) for words, path in inputs.items() if path is not None]
    for index, (words, path) in enumerate(written):
        for other, taken in read:
            if _is_same(path, taken):
                return f"{words} {path} would overwrite {other} {taken}; give another file"
        for other, taken in written[:index]:
            if _is_same(path, taken):
                return f"{words} {path} would overwrite what {other} writes; give another file"
    return ""


def _is_same(path: Path, other: Path) -> bool:
    """Tell whether two paths lead to one regular file, or would once it is written."""
    try:
        if path.exists() and other.exists():
            return path.is_file() and path.samefile(other)
        return path.resolve() == other.resolve()
    except (OSError, ValueError, RuntimeError):  # a null byte, a loop of links: nothing can be opened there
        return False
