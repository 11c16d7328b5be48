"""`make demo`: the main job on a real broker and a real mail server, a simulated day in about a minute.

Everything is the real thing but the house and the time: the daemon is the `duskbell run` of this checkout in a
process of its own, told to rehearse at a rate; it reads MQTT and sends mail. At two in the afternoon the air
pump fails. Somebody must answer.
"""

from __future__ import annotations

import argparse
import json
import re
import shutil
import subprocess
import sys
import threading
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from controller.core.plan.plan import Plan
from controller.settings.load import load_settings
from simulators.command import SETTINGS
from simulators.instruments import read_site
from simulators.live.brokers import LOOPBACK, CannotShow, DemoBroker
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

ON_SITE_AFTER_MIN: Final = 15
"""Whoever has answered stands beside the tank after this. [min]"""

MENDED_AFTER_MIN: Final = 180
"""If nobody answers, somebody happens by after this. [min]"""

UP_WITHIN_S: Final = 30.0
"""The daemon is up in about a second; a busy machine may need longer. [s]"""

DAY_MIN: Final = 24 * 60
SEED: Final = 7
SENDER: Final = "duskbell@kestrel.example"
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
        self.moves = 0
        self.answered = False
        self.letters: list[Letter] = []
        self._answering: set[str] = set()
        self._up = threading.Event()
        self._up_at_ms = 0
        self._up_s = 0.0
        self._connected = False

    def run(self, *, once: bool) -> int:
        """Run it; 0 if everything that must happen has happened."""
        with Mailbox(self._take_letter) as mailbox, DemoBroker(self._folder) as broker:
            plan = self._write_settings(broker.port, mailbox.port, old="false" if broker.modern else "true")
            self._stage = Stage(ZoneInfo(plan.site.time_zone))
            say = self._stage.say
            say("demo", f"broker: {broker.kind} on port {broker.port}; mail catcher on port {mailbox.port}")
            say("demo", f"{plan.site.name}, invented; one day in about a minute, then it "
                + ("ends" if once else "goes on until Ctrl-C"))  # fmt: skip
            site = plan.site
            sky = SyntheticSky(
                SEED,
                latitude_deg=site.latitude_deg,
                longitude_deg=site.longitude_deg,
                cloudiness=CLOUDINESS,
                mean_c=MEAN_C,
            )
            world = World(SEED, sky, travel_s=plan.curtain[0].travel_time_s)
            house = LiveGreenhouse(
                plan, world, read_site(SEED), start_utc_ms=round(START.timestamp() * 1000), rate=RATE
            )
            house.later(FAILS_AT_MIN, self._fail)
            house.later(FAILS_AT_MIN + MENDED_AFTER_MIN, self._mend)
            self._stage.house = house
            daemon = self._start_daemon()
            listener = threading.Thread(target=self._listen, args=(daemon,), daemon=True)
            listener.start()
            try:
                if self._up.wait(UP_WITHIN_S):
                    house.start(self._up_at_ms + round((time.monotonic() - self._up_s) * RATE * 1000.0))
                while daemon.poll() is None and (not once or house.minutes < DAY_MIN):
                    time.sleep(0.05)
            except KeyboardInterrupt:
                say("demo", "ended by hand")
            finally:
                house.stop()
                daemon.terminate()
                code = daemon.wait(timeout=20)
                listener.join(timeout=5)
            return self._close(code)

    def _write_settings(self, broker_port: int, mail_port: int, *, old: str) -> Plan:
        """Write the demonstration's settings: the demo site's own, on loopback, and as patient as the rate asks."""
        text = SETTINGS.read_text(encoding="utf-8")
        tables = {
            "broker": f'host = "{LOOPBACK}"\nport = {broker_port}\nmqtt_3_only = {old}\n',
            "journal": f"directory = {json.dumps(str(self._folder / 'journal'))}\n",
            "mail": f'host = "{LOOPBACK}"\nport = {mail_port}\nsecurity = "none"\nsender = "{SENDER}"\n',
        }
        for name, body in tables.items():
            text = re.sub(rf"(?ms)^\[{name}\]\n.*?(?=^\[)", lambda _, n=name, b=body: f"[{n}]\n{b}\n", text)  # type: ignore[misc]
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
            "--rehearsal-start", START.isoformat(), "--rehearsal-rate", f"{RATE:g}",
        ]  # fmt: skip
        return subprocess.Popen(words, stderr=subprocess.PIPE, text=True, encoding="utf-8")  # noqa: S603 - our own arguments

    def _listen(self, daemon: subprocess.Popen[str]) -> None:
        """Show what the daemon says, each line with its reason, and keep its whole log in the folder."""
        stream = daemon.stderr
        if stream is None:
            return
        with (self._folder / "duskbell.log").open("w", encoding="utf-8") as log:
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
        if text == "started":
            # The house begins at the daemon's time, so that both clocks show the same.
            self._up_at_ms = round(datetime.fromisoformat(said["at"]).timestamp() * 1000)
            self._up_s = time.monotonic()
        if text == "connected":
            self._connected = True
        if text in {"started", "connected"}:
            if self._connected and self._up_at_ms:
                self._up.set()
            return
        if ledger == "curtain":
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
        if code is not None and "EMERGENCY" in letter.subject and code.group(1) not in self._answering:
            self._answering.add(code.group(1))
            threading.Timer(ANSWER_AFTER_S, self._answer, args=(code.group(1),)).start()

    def _answer(self, code: str) -> None:
        """Answer as a person would: by the command line."""
        words = [
            sys.executable,
            "-m",
            "controller.main",
            "acknowledge",
            code,
            "--settings",
            str(self._settings_path),
            "--person",
            "keeper",
        ]
        done = subprocess.run(words, capture_output=True, text=True, timeout=30, check=False)  # noqa: S603 - our own arguments
        self.answered = self.answered or done.returncode == 0
        if done.returncode == 0 and self._stage.house is not None:
            self._stage.house.later(self._stage.house.minutes + ON_SITE_AFTER_MIN, self._mend)
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

    def _close(self, code: int) -> int:
        """Say what was seen, and whether it was all that must be."""
        emergencies = [letter for letter in self.letters if "EMERGENCY" in letter.subject]
        self._stage.say(
            "demo",
            f"the day brought {self.moves} curtain moves, {len(emergencies)} emergency messages, "
            f"{'an answer' if self.answered else 'NO answer'}; the daemon ended with {code}",
        )
        self._stage.say(
            "demo",
            f"its record and log are in {self._folder.name}/; ask it with duskbell why and duskbell status",
        )
        return 0 if self.moves and emergencies and self.answered and code == 0 else 1


def main() -> int:
    """Run the demonstration in `demo-run/` of the current folder."""
    parser = argparse.ArgumentParser(
        prog="make demo", description="A day of the invented site in about a minute."
    )
    parser.add_argument("--once", action="store_true", help="end after one simulated day")
    return show(once=parser.parse_args().once)


def show(*, once: bool) -> int:
    """Run the demonstration in a fresh `demo-run/` of the current folder; 0 if all that must happen has happened."""
    folder = Path("demo-run").resolve()
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    folder.chmod(0o755)
    try:
        return Demo(folder).run(once=once)
    except CannotShow as error:
        sys.stderr.write(f"{error}\n")
        return 1


if __name__ == "__main__":
    raise SystemExit(main())
