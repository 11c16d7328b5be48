"""The settings file of the running daemon: read again when asked, and its last good text kept."""

from __future__ import annotations

import queue
import threading
from pathlib import Path
from typing import NamedTuple

import structlog

from controller.core.plan.plan import Plan
from controller.edges import last_good
from controller.settings.difference import differences
from controller.settings.load import read_settings
from controller.settings.problems import write_problems

log = structlog.get_logger("duskbell")


class Reloaded(NamedTuple):
    """What came of reading the settings again, in lines for people."""

    good: bool
    lines: tuple[str, ...]


class SettingsFile:
    """The file, who has asked for it, and what came of it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._asked = threading.Event()
        self._outcomes: queue.SimpleQueue[Reloaded] = queue.SimpleQueue()

    def ask(self) -> None:
        """Ask for it to be read again. Safe in a signal handler."""
        self._asked.set()

    def ask_and_wait(self, timeout_s: float) -> Reloaded | None:
        """Ask, and wait for what comes of it. For other threads; None if it takes too long."""
        while not self._outcomes.empty():
            self._outcomes.get_nowait()
        self.ask()
        try:
            return self._outcomes.get(timeout=timeout_s)
        except queue.Empty:
            return None

    def take_asked(self) -> bool:
        """Tell whether somebody has asked since the last time."""
        asked = self._asked.is_set()
        if asked:
            self._asked.clear()
        return asked

    def read(self, in_force: Plan) -> Plan | str:
        """Read it again, and tell whoever waits what it changes; what is wrong with it, if it is not good."""
        loaded = read_settings(self._path)
        if not isinstance(loaded, Plan):
            for problem in loaded:
                log.error("settings refused", problem=str(problem))
            lines = ("refused; the old settings stay in force:", *(str(problem) for problem in loaded))
            self._outcomes.put(Reloaded(good=False, lines=lines))
            return write_problems(loaded)
        changes = [str(change) for change in differences(in_force, loaded)]
        for change in changes:
            log.info("settings", change=change)
        self._outcomes.put(
            Reloaded(good=True, lines=("in force now:", *(changes or ["nothing has changed"])))
        )
        return loaded

    def keep(self, directory: Path) -> None:
        """Keep its text, now in force, for a start that finds the file broken."""
        try:
            text = self._path.read_text(encoding="utf-8")
        except OSError as error:
            log.warning("the good settings could not be kept", why=str(error))
            return
        last_good.keep(directory, text)
