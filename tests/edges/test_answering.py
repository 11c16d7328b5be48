"""The whole daemon answered on its page and commanded from its board: a call, a page, a code, a test, a silence."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from brokers import BrokerProcess
from paho.mqtt import publish
from site_file import write_site
from test_page import Browser
from waiting import wait_until

from simulators.live.brokers import LOOPBACK, free_port
from simulators.live.mailbox import Mailbox

pytestmark = pytest.mark.slow


def _words(*words: str) -> list[str]:
    return [sys.executable, "-m", "controller.main", *words]


def _ask(settings: Path, *words: str) -> tuple[int, str]:
    """Ask the running daemon as a person on the board would."""
    done = subprocess.run(
        _words(*words, "--settings", str(settings)), capture_output=True, text=True, check=False, timeout=30
    )
    return done.returncode, done.stdout + done.stderr


def _state(settings: Path, name: str) -> str:
    """Return the state of an alarm."""
    _, said = _ask(settings, "status", "--json")
    return next(
        (each["state"] for each in json.loads(said)["status"]["alarms"] if each["alarm"] == name), "normal"
    )


def test_a_call_is_answered_on_the_page_and_silenced_in_company(
    mosquitto: BrokerProcess, tmp_path: Path
) -> None:
    """Low oxygen, a mail with a code, the page shows it without the code, the code answers; then test and silence."""
    port = free_port()
    with Mailbox() as mailbox:
        settings = write_site(tmp_path, broker_port=mosquitto.port, mail_port=mailbox.port, on_delay_s=0.5)
        text = settings.read_text(encoding="utf-8")
        deputy = '[[person]]\nname = "deputy"\nemail = "deputy@trial.example"\n\n'
        first = '[[call]]\nresponse = "emergency"'
        text = text.replace(first, deputy + first, 1)
        settings.write_text(f'{text}\n[page]\nport = {port}\nnames = ["trial.example"]\n', encoding="utf-8")
        with (tmp_path / "daemon.log").open("w", encoding="utf-8") as log:
            daemon = subprocess.Popen(_words("run", "--settings", str(settings), "--log", "json"), stderr=log)
        try:
            wait_until(lambda: _ask(settings, "status")[0] == 0, "the daemon answers", within_s=20)
            wait_until(lambda: "broker" not in json.loads(_ask(settings, "status", "--json")[1])["status"]["troubles"],
                       "it hears the broker", within_s=20)  # fmt: skip
            publish.single("trial/oxygen", "3.1", qos=1, hostname=LOOPBACK, port=mosquitto.port)
            wait_until(lambda: mailbox.letters, "a mail", within_s=10)
            code = mailbox.letters[0].text.split("Answer with code ")[1][:4]

            browser = Browser(port)
            assert browser.ask("GET") == 200
            assert "oxygen low" in browser.text
            assert "First: Start the spare air pump" in browser.text
            assert code not in browser.text
            assert browser.send(code="0000", person="keeper") == 403
            assert _state(settings, "oxygen low") == "unacknowledged"
            assert browser.send(code=code, person="keeper") == 200
            assert "keeper has it: oxygen low" in browser.text
            assert _state(settings, "oxygen low") == "acknowledged"

            status, said = _ask(settings, "test-call", "keeper", "--person", "deputy")
            assert (status, "test calls wait for their answer: keeper" in said) == (0, True), said
            wait_until(
                lambda: any("TEST" in letter.subject for letter in mailbox.letters), "the test", within_s=10
            )
            test = next(letter for letter in mailbox.letters if "TEST" in letter.subject)
            assert browser.send(code=test.text.split("Reply ")[1][:4], person="keeper") == 200
            assert "the test call has reached you" in browser.text

            words = (
                "out-of-service",
                "oxygen low",
                "--replacement",
                "hand meter every hour",
                "--person",
                "keeper",
            )
            assert _ask(settings, *words, "--second", "keeper")[0] == 1
            status, said = _ask(settings, *words, "--second", "deputy")
            assert (status, "out of service (keeper and deputy)" in said) == (0, True), said
            assert _state(settings, "oxygen low") == "out of service"
            status, said = _ask(settings, "back", "oxygen low", "--person", "deputy")
            assert (status, "back in service: unacknowledged" in said) == (0, True), said

            status, said = _ask(settings, "report", "calls", "--json")
            report = json.loads(said)
            assert (status, report["calls"], report["calls_by_person"]["keeper"] >= 1) == (0, 2, True), said
        finally:
            daemon.send_signal(signal.SIGTERM)
            daemon.wait(timeout=15)
