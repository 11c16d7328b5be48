"""`make demo`: the main job on a real broker, mail server and modem port, a simulated day in about a minute.

Everything is the real thing but the house and the time: the daemon is the `duskbell run` of this checkout in a
process of its own; it reads MQTT, sends mail and text messages. The house tells it the time, and waits where the
machine is too busy for the daemon to hear each minute, or for the keeper to answer. At two in the afternoon the
air pump fails. Somebody must answer.
"""

from __future__ import annotations

import argparse
import fcntl
import json
import os
import re
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from controller.core.plan.plan import Plan
from controller.edges.led_clock import ClockFile
from controller.settings.load import load_settings
from simulators.command import SETTINGS
from simulators.instruments import read_site
from simulators.live.airtime import Airtime, Text
from simulators.live.brokers import LOOPBACK, CannotShow, DemoBroker, free_port
from simulators.live.greenhouse import LiveGreenhouse
from simulators.live.mailbox import Letter, Mailbox
from simulators.sky import SyntheticSky
from simulators.world import World

RATE: Final = 1440.0
"""A simulated minute takes 1/24 s."""

START: Final = datetime(2026, 4, 18, 4, 0, tzinfo=UTC)
FAILS_AT_MIN: Final = 9 * 60
ANSWER_AFTER_S: Final = 0.05
"""The demonstration's keeper takes this much real time to look at the phone. [s]"""

ASKED_AT: Final = "2026-04-18T12:00+01:00"
"""A moment at which the curtain has been drawn for shade."""

ON_SITE_AFTER_MIN: Final = 15
"""Whoever has answered stands beside the tank after this. [min]"""

MENDED_AFTER_MIN: Final = 180
"""If nobody answers, somebody happens by after this. [min]"""

ANSWERED_AFTER_MIN: Final = 22
"""The keeper's phone is looked at and answered in so much of the house's time, however busy the machine. [min]"""

UP_WITHIN_S: Final = 60.0
"""The daemon is up in about a second; a busy machine may need longer. [s]"""

FOLDERS: Final = 9
"""So many demonstrations may run in one checkout at once, each with a folder of its own."""

LOCK: Final = "lock"
"""The file in the folder that a running demonstration holds."""

DAY_MIN: Final = 24 * 60
SEED: Final = 7
SENDER: Final = "duskbell@kestrel.example"
MODEM_NUMBER: Final = "+447700900999"
"""Of those that are kept for stories (Ofcom, Telephone numbers for use in TV and radio drama programmes)."""

CLOUDINESS: Final = -0.3
"""A fairly bright day, so that there is something to shade. [1]"""

MEAN_C: Final = 4.0
"""A cold spring, so that there is heat to hold. [C]"""


class Stage:
    """What is printed, in the order in which it happens, with the house's time at the left."""

    def __init__(self, zone: ZoneInfo) -> None:
        self._zone = zone
        self._lock = threading.Lock()
        self.house: LiveGreenhouse | None = None

    def say(self, who: str, text: str, at: str | None = None) -> None:
        """Print one line."""
        if at is None:
            utc_ms = self.house.utc_ms if self.house is not None else START.timestamp() * 1000
            at = f"{datetime.fromtimestamp(utc_ms / 1000, tz=UTC).astimezone(self._zone):%H:%M}"
        with self._lock:
            sys.stdout.write(f"{at}  {who:<10} {text}\n")
            sys.stdout.flush()


class Demo:
    """One demonstration."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._settings_path = folder / "duskbell.toml"
        self._clock_path = folder / "clock"
        self._log_path = folder / "duskbell.log"
        self.moves = 0
        self.answered = False
        self.letters: list[Letter] = []
        self._answering: set[str] = set()
        self._up = threading.Event()
        self._awaited = {"started", "connected", "the sun is reckoned"}

    def run(self, *, once: bool) -> int:
        """Run it; 0 if everything that must happen has happened."""
        with (
            Mailbox(self._take_letter) as mailbox,
            DemoBroker(self._folder) as broker,
            Airtime(self._folder, self._take_text) as airtime,
        ):
            plan = self._write_settings(
                broker.port, mailbox.port, airtime.device, old="false" if broker.modern else "true"
            )
            self._stage = Stage(ZoneInfo(plan.site.time_zone))
            say = self._stage.say
            say("demo", f"broker: {broker.kind} on port {broker.port}; mail catcher on port {mailbox.port}; "
                "modem on a pseudo-terminal")  # fmt: skip
            say("demo", f"{plan.site.name}, invented; one day in about a minute, then it "
                + ("ends" if once else "goes on until Ctrl-C"))  # fmt: skip
            if not once:
                say("demo", f"ask it meanwhile: {self._ask('status')}")
            site = plan.site
            sky = SyntheticSky(
                SEED,
                latitude_deg=site.latitude_deg,
                longitude_deg=site.longitude_deg,
                cloudiness=CLOUDINESS,
                mean_c=MEAN_C,
            )
            world = World(SEED, sky, travel_s=plan.curtain[0].travel_time_s)
            start_utc_ms = round(START.timestamp() * 1000)
            clock = ClockFile.create(self._clock_path, utc_ms=start_utc_ms, rate=RATE)
            house = LiveGreenhouse(
                plan, world, read_site(SEED), start_utc_ms=start_utc_ms, rate=RATE, clock=clock
            )
            house.later(FAILS_AT_MIN, self._fail)
            house.later(FAILS_AT_MIN + MENDED_AFTER_MIN, self._mend)
            self._stage.house = house
            daemon = self._start_daemon()
            listener = threading.Thread(target=self._listen, args=(daemon,), daemon=True)
            listener.start()
            by_hand = False
            try:
                if not self._up.wait(UP_WITHIN_S):
                    raise CannotShow(f"the daemon was not up within {UP_WITHIN_S:.0f} s: {self._log_path}")
                house.start()
                while daemon.poll() is None and (not once or house.minutes < DAY_MIN):
                    time.sleep(0.05)
            except KeyboardInterrupt:
                by_hand = True
                say("demo", "ended by hand")
            finally:
                house.stop()
                daemon.terminate()
                code = daemon.wait(timeout=20)
                listener.join(timeout=5)
            return self._close(code, by_hand=by_hand)

    def _ask(self, command: str) -> str:
        """Write how this demonstration is asked something, from the folder it was begun in."""
        program = os.path.relpath(Path(sys.executable).with_name("duskbell"))
        return f"{program} {command} --settings {os.path.relpath(self._settings_path)}"

    def _write_settings(self, broker_port: int, mail_port: int, modem: Path, *, old: str) -> Plan:
        """Write the demonstration's settings: the demo site's own, on loopback, and as patient as the rate asks."""
        text = SETTINGS.read_text(encoding="utf-8")
        page = free_port()
        tables = {
            "broker": f'host = "{LOOPBACK}"\nport = {broker_port}\nmqtt_3_only = {old}\n',
            "journal": f"directory = {json.dumps(str(self._folder / 'journal'))}\n",
            "mail": f'host = "{LOOPBACK}"\nport = {mail_port}\nsecurity = "none"\nsender = "{SENDER}"\n',
            "modem": f'device = {json.dumps(str(modem))}\nnumber = "{MODEM_NUMBER}"\n',
            "page": f'port = {page}\naddress = "http://{LOOPBACK}:{page}/"\n',
        }
        for name, body in tables.items():
            # A function, as a path may hold what would mean something in a replacement.
            table = f"[{name}]\n{body}\n"
            text = re.sub(rf"(?ms)^\[{name}\]\n.*?(?=^\[|\Z)", _write_as_it_is(table), text)
        # A second of the house is under a millisecond here: waits for a board and for sensors are longer.
        text = re.sub(r"(?m)^interval_s = .*$", "", text)
        text = re.sub(r"(?m)^(topic = .*)$", r"\1\ninterval_s = 1200", text)
        text = re.sub(
            r"(?m)^(\[\[curtain\]\])$",
            r"\1\nreport_within_s = 300\ncommand_life_s = 300\n"
            r"stalled_after_s = 900\nrunning_time_ceiling = 2",
            text,
        )
        self._settings_path.write_text(text, encoding="utf-8")
        loaded = load_settings(text, file_name=str(self._settings_path))
        if not isinstance(loaded, Plan):
            raise CannotShow("\n".join(str(problem) for problem in loaded))
        return loaded

    def _start_daemon(self) -> subprocess.Popen[str]:
        """Start the real daemon."""
        words = [
            sys.executable, "-m", "controller.main", "run", "--settings", str(self._settings_path), "--log", "json",
            "--rehearsal-clock", str(self._clock_path),
        ]  # fmt: skip
        return subprocess.Popen(words, stderr=subprocess.PIPE, text=True, encoding="utf-8")  # noqa: S603 - our own arguments

    def _listen(self, daemon: subprocess.Popen[str]) -> None:
        """Show what the daemon says, each line with its reason, and keep its whole log in the folder."""
        stream = daemon.stderr
        if stream is None:
            return
        with self._log_path.open("w", encoding="utf-8") as log:
            for line in stream:
                log.write(line)
                try:
                    said = json.loads(line)
                except ValueError:
                    self._stage.say("duskbell", line.rstrip())
                    continue
                self._show(said)

    def _show(self, said: dict[str, str]) -> None:
        """Show one line of the daemon's log, if a visitor would want to see it."""
        ledger, rule, text = said.get("ledger"), said.get("rule", ""), said.get("event", "")
        at = said.get("at", "")[11:16] or None
        if text in self._awaited:
            self._awaited.discard(text)
            if not self._awaited:
                self._up.set()
        elif ledger == "curtain":
            if text.startswith("runs "):
                self.moves += 1
            if text.startswith(("runs ", "stopped", "the command did not reach")):
                self._stage.say("curtain", f"{said.get('about')} {text}", at)
        elif ledger in {"alarm", "call"}:
            if rule in {
                "unacknowledged",
                "acknowledged",
                "normal",
                "returned unacknowledged",
                "answered",
                "failed",
            }:
                self._stage.say(ledger, f"{said.get('about')}: {text}", at)
        elif said.get("level") in {"warning", "error"}:
            self._stage.say("duskbell", text, at)

    def _take_letter(self, letter: Letter) -> None:
        """Show a message that has come in, and let the keeper answer each emergency once."""
        self.letters.append(letter)
        self._stage.say("mail", f"to {', '.join(letter.to)}: {letter.text.splitlines()[0]}")
        code = re.search(r"Answer with code (\d{4})", letter.text)
        house = self._stage.house
        if (
            house is None
            or code is None
            or "EMERGENCY" not in letter.subject
            or code.group(1) in self._answering
        ):
            return
        self._answering.add(code.group(1))
        if house.wait_at is None:
            house.wait_at = house.minutes + ANSWERED_AFTER_MIN
        threading.Timer(ANSWER_AFTER_S, self._answer, args=(code.group(1), house)).start()

    def _take_text(self, text: Text) -> None:
        """Show a text message that has gone out."""
        self._stage.say("text", f"to {text.to}: {text.text}")

    def _answer(self, code: str, house: LiveGreenhouse) -> None:
        """Answer as a person would: by the command line. The house waits for a machine that is slow to start it."""
        words = [
            sys.executable, "-m", "controller.main", "acknowledge", code,
            "--settings", str(self._settings_path), "--person", "keeper",
        ]  # fmt: skip
        try:
            done = subprocess.run(  # noqa: S603 - our own arguments
                words, capture_output=True, text=True, timeout=60, check=False
            )
        finally:
            house.wait_at = None
        self.answered = self.answered or done.returncode == 0
        if done.returncode == 0:
            house.later(house.minutes + ON_SITE_AFTER_MIN, self._mend)
        self._stage.say("keeper", f"duskbell acknowledge {code} -> {(done.stdout or done.stderr).strip()}")

    def _fail(self, world: World) -> None:
        """Let the air pump fail."""
        world.plant.air_pump = False
        self._stage.say("incident", "the air pump fails; nobody is there")

    def _mend(self, world: World) -> None:
        """Let the keeper start the spare."""
        if not world.plant.air_pump:
            world.plant.air_pump = True
            self._stage.say("keeper", "has started the spare air pump")

    def _close(self, code: int, *, by_hand: bool) -> int:
        """Say what was seen; 0 if it was all that must be, or if a person has ended it before its end."""
        emergencies = [letter for letter in self.letters if "EMERGENCY" in letter.subject]
        self._stage.say(
            "demo",
            f"the day brought {self.moves} curtain moves, {len(emergencies)} emergency messages, "
            f"{'an answer' if self.answered else 'NO answer'}; the daemon ended with {code}",
        )
        self._stage.say("demo", f"its record and log are in {self._folder.name}/; ask the record:")
        self._stage.say("demo", f"{self._ask('why')} --at {ASKED_AT}")
        is_whole = by_hand or (self.moves and emergencies and self.answered)
        return 0 if is_whole and code == 0 else 1


def _write_as_it_is(text: str) -> Callable[[re.Match[str]], str]:
    """Make what stands in place of a match a text with no special signs."""
    return lambda _: text


def main() -> int:
    """Run the demonstration in a folder of its own in the current one."""
    parser = argparse.ArgumentParser(
        prog="make demo", description="A day of the invented site in about a minute."
    )
    parser.add_argument("--once", action="store_true", help="end after one simulated day")
    return show(once=parser.parse_args().once)


def show(*, once: bool) -> int:
    """Run the demonstration in a fresh `demo-run/` of the current folder; 0 if all that must happen has happened.

    While another one runs there, it is `demo-run-2/` and so on.
    """
    try:
        with _take_folder(Path.cwd()) as folder:
            return Demo(folder).run(once=once)
    except CannotShow as error:
        sys.stderr.write(f"{error}\n")
        return 1


@contextmanager
def _take_folder(where: Path) -> Iterator[Path]:
    """Take the first folder in which no other demonstration runs, empty, for as long as the `with` lasts."""
    for number in range(1, FOLDERS + 1):
        folder = where / ("demo-run" if number == 1 else f"demo-run-{number}")
        folder.mkdir(exist_ok=True)
        folder.chmod(0o755)
        with (folder / LOCK).open("w") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                continue
            for old in folder.iterdir():
                if old.is_dir():
                    shutil.rmtree(old)
                elif old.name != LOCK:
                    old.unlink()
            yield folder
            return
    raise CannotShow(f"{FOLDERS} demonstrations run here already: end one of them first")


if __name__ == "__main__":
    raise SystemExit(main())
