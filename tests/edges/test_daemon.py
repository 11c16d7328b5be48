"""The whole daemon on real parts: a real broker, a real mail server, the real command line."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from brokers import BrokerProcess
from paho.mqtt import publish
from site_file import write_site
from waiting import wait_until

from simulators.live.brokers import LOOPBACK, free_port
from simulators.live.mailbox import Letter, Mailbox

pytestmark = pytest.mark.slow

Start = Callable[..., subprocess.Popen[str]]


def _duskbell(*words: str) -> list[str]:
    """Return the words that start a command of this checkout."""
    return [sys.executable, "-m", "controller.main", *words]


@pytest.fixture
def start() -> Iterator[Start]:
    """Start the daemon with a settings file; whatever still runs is ended after the test."""
    with ExitStack() as stack:

        def _start(settings: Path, *more: str) -> subprocess.Popen[str]:
            log = stack.enter_context((settings.parent / "daemon.log").open("a", encoding="utf-8"))
            words = _duskbell("run", "--settings", str(settings), "--log", "json", *more)
            daemon = subprocess.Popen(words, stderr=log, text=True)

            def _end() -> None:
                if daemon.poll() is None:
                    daemon.send_signal(signal.SIGKILL)
                daemon.wait(timeout=10)

            stack.callback(_end)
            return daemon

        yield _start


def _ask(settings: Path, *words: str) -> tuple[int, str]:
    """Ask the running daemon as a person would."""
    done = subprocess.run(
        _duskbell(*words, "--settings", str(settings)),
        capture_output=True,
        text=True,
        check=False,
        timeout=30,
    )
    return done.returncode, done.stdout + done.stderr


def _wait_up(settings: Path) -> None:
    """Wait until the daemon answers and hears the broker."""

    def _is_up() -> bool:
        code, said = _ask(settings, "status", "--json")
        return code == 0 and "broker" not in json.loads(said)["status"]["troubles"]

    wait_until(_is_up, "the daemon answers", within_s=20)


def _say(broker: BrokerProcess, topic: str, payload: bytes | str) -> None:
    """Publish as a sensor does."""
    publish.single(topic, payload, qos=1, hostname=LOOPBACK, port=broker.port)


def _emergencies(letters: tuple[Letter, ...]) -> list[Letter]:
    """Return the calls among the messages."""
    return [letter for letter in letters if "EMERGENCY" in letter.subject]


def test_a_low_reading_calls_once_within_its_delay_and_an_answer_ends_the_calls(
    mosquitto: BrokerProcess, start: Start, tmp_path: Path
) -> None:
    """One mail within on-delay and a second; it names the value and the limit; the answer stops the repeats."""
    arrived: list[float] = []
    with Mailbox(lambda _: arrived.append(time.monotonic())) as mailbox:
        settings = write_site(tmp_path, broker_port=mosquitto.port, mail_port=mailbox.port)
        start(settings)
        _wait_up(settings)
        _say(mosquitto, "trial/oxygen", "3.1")
        began = time.monotonic()
        wait_until(lambda: mailbox.letters, "a mail", within_s=10)

        assert 2.0 <= arrived[0] - began <= 3.0
        [letter] = _emergencies(mailbox.letters)
        assert letter.to == ("keeper@trial.example",)
        assert "3.1 mg/L (limit 4)" in letter.text
        assert "Start the spare air pump" in letter.text
        code = letter.text.split("Answer with code ")[1][:4]

        status, said = _ask(settings, "acknowledge", "0000", "--person", "keeper")
        assert status == 1
        assert code in said
        status, said = _ask(settings, "acknowledge", code, "--person", "keeper")
        assert status == 0
        assert "keeper has it" in said
        status, said = _ask(settings, "acknowledge", code, "--person", "keeper")
        assert "keeper has it already" in said
        _, said = _ask(settings, "status", "--json")
        [alarm] = [each for each in json.loads(said)["status"]["alarms"] if each["alarm"] == "oxygen low"]
        assert (alarm["state"], alarm["answered_by"]) == ("acknowledged", "keeper")
        assert len(_emergencies(mailbox.letters)) == 1


def test_killed_between_commit_and_send_the_message_still_arrives_after_the_restart(
    mosquitto: BrokerProcess, start: Start, tmp_path: Path
) -> None:
    """With the mail server away the message is committed and not sent; kill -9; the next start sends it."""
    port = free_port()
    settings = write_site(tmp_path, broker_port=mosquitto.port, mail_port=port, on_delay_s=0.5)
    daemon = start(settings)
    _wait_up(settings)
    _say(mosquitto, "trial/oxygen", "2.5")
    log = settings.parent / "daemon.log"
    wait_until(lambda: '"rule": "queued"' in log.read_text(encoding="utf-8"), "the message is committed")
    daemon.send_signal(signal.SIGKILL)
    daemon.wait(timeout=10)

    with Mailbox(port=port) as mailbox:
        start(settings)
        wait_until(lambda: _emergencies(mailbox.letters), "the message arrives", within_s=20)

        assert "2.5 mg/L" in _emergencies(mailbox.letters)[0].text


def test_any_bytes_on_a_sensor_topic_are_counted_and_never_a_value(
    mosquitto: BrokerProcess, start: Start, tmp_path: Path
) -> None:
    """NaN, rubbish, nothing and ten megabytes are refused and counted; the next good number is taken."""
    with Mailbox() as mailbox:
        settings = write_site(tmp_path, broker_port=mosquitto.port, mail_port=mailbox.port)
        daemon = start(settings)
        _wait_up(settings)
        for payload in (b"nan", b"", b"\xff\xfe", b"1e999", b"{" * 5000, b"x" * 10_000_000, "٣".encode()):
            _say(mosquitto, "trial/oxygen", payload)
        _say(mosquitto, "trial/oxygen", b"6.2")

        def _has_value() -> bool:
            _, said = _ask(settings, "status", "--json")
            return any(s["value"] == 6.2 for s in json.loads(said)["status"]["sensors"])

        wait_until(_has_value, "the good value counts")
        _, said = _ask(settings, "status", "--json")
        [refused] = [
            each for each in json.loads(said)["status"]["refused_payloads"] if each["topic"] == "trial/oxygen"
        ]
        assert refused["count"] == 7
        assert daemon.poll() is None


def test_a_broker_absent_at_start_is_an_alarm_and_no_exit(start: Start, tmp_path: Path) -> None:
    """The daemon lives, says so, and ends cleanly when asked."""
    with Mailbox() as mailbox:
        settings = write_site(tmp_path, broker_port=free_port(), mail_port=mailbox.port)
        daemon = start(settings)

        def _says_so() -> bool:
            code, said = _ask(settings, "status", "--json")
            return code == 0 and "broker" in json.loads(said)["status"]["troubles"]

        wait_until(_says_so, "the trouble is said", within_s=20)
        assert daemon.poll() is None
        daemon.terminate()
        assert daemon.wait(timeout=15) == 0


def test_new_settings_with_a_mistake_are_refused_whole_and_good_ones_come_into_force(
    mosquitto: BrokerProcess, start: Start, tmp_path: Path
) -> None:
    """The old settings stay in force until a good file is there."""
    with Mailbox() as mailbox:
        settings = write_site(tmp_path, broker_port=mosquitto.port, mail_port=mailbox.port)
        start(settings)
        _wait_up(settings)
        good = settings.read_text(encoding="utf-8")
        running = tmp_path / "running.toml"
        running.write_text(good, encoding="utf-8")
        settings.write_text(good.replace("limit = 4.0", 'limit = "four"'), encoding="utf-8")
        assert _ask(running, "reload")[0] == 1

        def _troubles() -> dict[str, str]:
            return dict(json.loads(_ask(running, "status", "--json")[1])["status"]["troubles"])

        wait_until(lambda: "settings" in _troubles(), "the refusal is said")
        assert "duskbell.toml:" in _troubles()["settings"]
        settings.write_text(good.replace("limit = 4.0", "limit = 5.0"), encoding="utf-8")
        _ask(running, "reload")
        wait_until(lambda: "settings" not in _troubles(), "the good file is in force")
        _say(mosquitto, "trial/oxygen", "4.5")
        wait_until(lambda: _emergencies(mailbox.letters), "the new limit counts", within_s=10)
        assert "(limit 5)" in _emergencies(mailbox.letters)[0].text


def test_a_broken_file_locks_nobody_out_and_a_restart_goes_on_with_the_last_good_one(
    mosquitto: BrokerProcess, start: Start, tmp_path: Path
) -> None:
    """The daemon is answered through the broken file, and reboots onto what was good before, saying so."""
    with Mailbox() as mailbox:
        settings = write_site(tmp_path, broker_port=mosquitto.port, mail_port=mailbox.port, on_delay_s=0.5)
        daemon = start(settings)
        _wait_up(settings)
        _say(mosquitto, "trial/oxygen", "3.0")
        wait_until(lambda: _emergencies(mailbox.letters), "the call")
        settings.write_text(settings.read_text(encoding="utf-8") + "\ncolour = red\n", encoding="utf-8")
        code = mailbox.letters[0].text.split("Answer with code ")[1][:4]

        status, said = _ask(settings, "acknowledge", code, "--person", "stranger")
        assert status == 1
        assert "stranger is not among the people of the settings: keeper" in said
        assert _ask(settings, "acknowledge", code, "--person", "keeper")[0] == 0
        status, said = _ask(settings, "reload")
        assert status == 1
        assert "refused; the old settings stay in force:" in said
        daemon.terminate()
        assert daemon.wait(timeout=15) == 0
        start(settings)
        _wait_up(settings)
        _, said = _ask(settings, "status", "--json")
        assert "duskbell.toml:" in json.loads(said)["status"]["troubles"]["settings"]


def test_a_reload_tells_what_is_in_force_and_what_waits_for_a_restart(
    mosquitto: BrokerProcess, start: Start, tmp_path: Path
) -> None:
    """Each change is named; one that needs a restart says so."""
    with Mailbox() as mailbox:
        settings = write_site(tmp_path, broker_port=mosquitto.port, mail_port=mailbox.port)
        start(settings)
        _wait_up(settings)
        text = settings.read_text(encoding="utf-8").replace("limit = 4.0", "limit = 4.5")
        settings.write_text(
            text.replace(f"port = {mosquitto.port}", f"port = {free_port()}"), encoding="utf-8"
        )

        status, said = _ask(settings, "reload")

        assert status == 0
        assert "limit" in said
        assert "4 -> 4.5" in said
        assert "(takes effect after a restart)" in said


def test_a_dry_run_says_what_it_would_do_and_moves_nothing(
    mosquitto: BrokerProcess, start: Start, tmp_path: Path
) -> None:
    """No command leaves the daemon, the real board's reports are nobody's, and the record says what would be."""
    heard: list[str] = []
    ear = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    ear.on_message = lambda _client, _data, message: heard.append(message.topic)
    ear.connect(LOOPBACK, mosquitto.port)
    ear.subscribe("trial/curtain/command")
    ear.loop_start()
    try:
        with Mailbox() as mailbox:
            settings = write_site(tmp_path, broker_port=mosquitto.port, mail_port=mailbox.port)
            text = settings.read_text(encoding="utf-8").replace(
                'name = "main"', 'name = "main"\ndry_run = true'
            )
            text = text.replace(
                "[curtain.light_ceiling]", "[curtain.light_ceiling]\ndraw_delay_min = 0\nfilter_min = 0"
            )
            settings.write_text(text, encoding="utf-8")
            # The quiet half minute after a start passes in half a second.
            start(settings, "--rehearsal-start", "2026-06-01T12:00:00Z", "--rehearsal-rate", "60")
            _wait_up(settings)
            _say(mosquitto, "trial/curtain/report", '{"drawn_percent": 40, "moving": false, "limit": "none"}')
            hold = ("hold", "main", "100", "--minutes", "5", "--person", "keeper")
            code, said = _ask(settings, *hold)
            assert code == 0, said
            log = settings.parent / "daemon.log"
            wait_until(lambda: "would run" in log.read_text(encoding="utf-8"), "it says so", within_s=45)
            code, said = _ask(settings, "why")

            assert code == 0
            assert "keeper wants it so" in said
            code, said = _ask(settings, "mode", "storm", "--person", "keeper")
            assert code == 1, "for how long?"
            code, said = _ask(settings, "mode", "storm", "--hours", "3", "--person", "keeper")
            assert code == 0, said
            code, said = _ask(settings, "why")
            assert "keeper says storm, for another" in said
            assert heard == []
    finally:
        ear.loop_stop()
        ear.disconnect()
