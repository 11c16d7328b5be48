"""How many bytes are written to the card, as the kernel counts them.

A memory card lasts for a number of writes, not of years, so what the journal writes is counted. The kernel
counts the bytes a thread hands to `write` calls (proc(5), /proc/pid/io, `wchar`); around a commit these are
the pages of the log and of checkpoints, and nothing else, since the thread does nothing else meanwhile.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path


@dataclass(slots=True)
class Wear:
    """Commits and bytes written since the daemon's start.

    Parameters
    ----------
    commits
        Transactions that were committed.
    bytes_written
        Bytes handed to the kernel for them, log and checkpoints together. Stays 0 where the kernel does
        not count.
    """

    commits: int = 0
    bytes_written: int = 0

    @contextlib.contextmanager
    def counted(self) -> Iterator[None]:
        """Count one commit if the body gets through, and what it wrote in any case."""
        before = _written_by_this_thread()
        try:
            yield
            self.commits += 1
        finally:
            self.bytes_written += _written_by_this_thread() - before


@dataclass(frozen=True, slots=True)
class Counters:
    """What the journal has written since it was opened.

    Parameters
    ----------
    commits, bytes_written
        Commits of `alarms.db`, each one flush to the disk, and the bytes written for them.
    history_commits, history_bytes_written
        The same of `history.db`, whose commits are not flushed one by one.
    dropped_readings
        Readings and notes on sensors that found no room in memory while the disk refused.
    """

    commits: int
    bytes_written: int
    history_commits: int
    history_bytes_written: int
    dropped_readings: int


def _written_by_this_thread() -> int:
    try:
        text = Path(f"/proc/self/task/{threading.get_native_id()}/io").read_text(encoding="ascii")
    except OSError:  # not Linux, or a kernel without the count
        return 0
    for line in text.splitlines():
        if line.startswith("wchar:"):
            return int(line.removeprefix("wchar:"))
    return 0
