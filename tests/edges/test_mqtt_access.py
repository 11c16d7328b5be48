"""Promises of the MQTT edge about accounts, rights, encryption and old brokers."""

from __future__ import annotations

import datetime as dt
import json
import ssl
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
import trustme
from brokers import MOSQUITTO_PASSWD, BrokerProcess
from conftest import StartEdge, is_settled
from peers import AIR, Ear, Peer, make_plan, number_sensor
from waiting import wait_until

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import (
    EffectDone,
    MoveCurtain,
    PublishState,
    ReadingsTaken,
    Run,
    Sample,
    TroubleSeen,
)

StartMosquitto = Callable[..., BrokerProcess]


def _reading(value: float) -> ReadingsTaken:
    return ReadingsTaken((Sample("air", value),))


def _trouble(ear: Ear) -> str:
    """Wait for a trouble and give its text."""
    return str(ear.wait_for_kind(TroubleSeen)[-1].trouble)


def _accounts(folder: Path) -> Path:
    """Write the broker's accounts: house and peer, each with its name as the password."""
    if MOSQUITTO_PASSWD is None:
        pytest.skip("the program mosquitto_passwd is not installed")
    file = folder / "accounts"
    file.touch(mode=0o600)
    for name in ("house", "peer"):
        subprocess.run([MOSQUITTO_PASSWD, "-b", str(file), name, name], check=True)
    return file


def test_a_wrong_password_is_told_and_a_renewed_one_is_used(
    start_mosquitto: StartMosquitto, start_edge: StartEdge, tmp_path: Path
) -> None:
    """The broker's refusal is a trouble, without the password in it; the file is read before each try."""
    broker = start_mosquitto(f"password_file {_accounts(tmp_path)}", anonymous=False)
    password = tmp_path / "password"
    password.write_text("wrong-guess\n")
    ear = Ear()
    plan = make_plan(broker.port, username="house", password_file=str(password))
    edge = start_edge(plan, ear, waits=False)
    text = _trouble(ear)
    assert "refuses the connection (Not authorized)" in text
    assert "wrong-guess" not in text
    password.write_text("house\n")
    wait_until(lambda: is_settled(edge), "the edge is let in")
    ear.wait_for(TroubleSeen(Watched.BROKER, None))


def test_a_missing_password_file_is_told(
    start_mosquitto: StartMosquitto, start_edge: StartEdge, tmp_path: Path
) -> None:
    """The trouble names the file, and not only the broker's refusal."""
    broker = start_mosquitto(f"password_file {_accounts(tmp_path)}", anonymous=False)
    ear = Ear()
    missing = tmp_path / "nowhere"
    plan = make_plan(broker.port, username="house", password_file=str(missing))
    start_edge(plan, ear, waits=False)
    assert f"the password file {missing} cannot be read (No such file or directory)" in _trouble(ear)


def test_a_state_the_broker_does_not_take_is_told(
    start_mosquitto: StartMosquitto, start_edge: StartEdge, tmp_path: Path
) -> None:
    """MQTT 5 says that a publication is denied; the trouble names its topic and the rest goes on."""
    rights = tmp_path / "rights"
    rights.write_text(
        "user house\ntopic read kw/#\ntopic write duskbell/kestrel/health\ntopic write duskbell/kestrel/alarms\n"
        "user peer\ntopic readwrite kw/#\ntopic read duskbell/#\n"
    )
    broker = start_mosquitto(f"password_file {_accounts(tmp_path)}", f"acl_file {rights}", anonymous=False)
    password = tmp_path / "password"
    password.write_text("house")
    ear = Ear()
    edge = start_edge(make_plan(broker.port, username="house", password_file=str(password)), ear)
    edge.act(PublishState("secret", "1"))
    edge.act(PublishState("alarms", "[]"))
    assert "duskbell/kestrel/secret (Not authorized)" in _trouble(ear)
    with Peer(broker.port, "duskbell/kestrel/alarms", account="peer") as peer:
        wait_until(lambda: peer.heard, "the allowed state is there")
        peer.say("kw/air", "21")
    ear.wait_for(_reading(21.0))


def test_an_old_broker_is_spoken_to_in_its_own_version(
    old_broker: BrokerProcess, start_edge: StartEdge
) -> None:
    """A broker that refuses MQTT 5 gets 3.1.1, and readings and commands go on as usual."""
    ear = Ear()
    edge = start_edge(make_plan(old_broker.port), ear)
    assert edge._connection.link is not None
    assert not edge._connection.link.modern
    ear.wait_for(TroubleSeen(Watched.BROKER, None))
    with Peer(old_broker.port, "kw/motor/do", version=3) as peer:
        peer.say("kw/air", "21")
        ear.wait_for(_reading(21.0))
        now_ms = edge._clock.house_ms()
        edge.act(
            MoveCurtain(
                "1-0", "main", Run.OPEN, 0.0, 60_000, edge._clock.utc_ms(), now_ms + 30_000, "evening"
            )
        )
        ear.wait_for(EffectDone("1-0", "handed to the broker"))
        wait_until(lambda: peer.heard, "the board has the command")
        assert json.loads(peer.heard[0].payload)["drawn_percent"] == 0.0


def test_a_topic_the_broker_does_not_let_us_hear_is_told(
    old_broker: BrokerProcess, start_edge: StartEdge
) -> None:
    """A refused subscription is a trouble that names the topic, and the other topics are heard."""
    ear = Ear()
    plan = make_plan(old_broker.port, sensors=(AIR, number_sensor("well", "kw/secret")))
    edge = start_edge(plan, ear)
    ear.wait_for(TroubleSeen(Watched.BROKER, "these topics cannot be heard: kw/secret (no reason given)"))
    with Peer(old_broker.port, version=3) as peer:
        peer.say("kw/air", "21")
    ear.wait_for(_reading(21.0))
    edge.change_plan(make_plan(old_broker.port, sensors=(AIR,)))
    ear.wait_for(TroubleSeen(Watched.BROKER, None))


class _Authority:
    """A certificate authority of the test's own, and files for a broker."""

    def __init__(self, folder: Path, name: str) -> None:
        self._folder = folder
        self._authority = trustme.CA()
        self.file = folder / f"{name}.pem"
        self._authority.cert_pem.write_to_path(str(self.file))

    def lines(self, host: str, not_after: dt.datetime | None = None) -> tuple[str, ...]:
        """Issue a certificate for `host`; give the lines of a broker's configuration that use it."""
        certificate = self._authority.issue_cert(
            host,
            not_before=dt.datetime(2020, 1, 1, tzinfo=dt.UTC),
            not_after=not_after or dt.datetime(2090, 1, 1, tzinfo=dt.UTC),
        )
        own, key = self._folder / "broker.pem", self._folder / "broker.key"
        certificate.cert_chain_pems[0].write_to_path(str(own))
        certificate.private_key_pem.write_to_path(str(key))
        return (f"cafile {self.file}", f"certfile {own}", f"keyfile {key}")


def test_an_encrypted_connection_carries_readings(
    start_mosquitto: StartMosquitto, start_edge: StartEdge, tmp_path: Path
) -> None:
    """With the authority's certificate the broker is believed and readings come."""
    authority = _Authority(tmp_path, "ours")
    broker = start_mosquitto(*authority.lines("127.0.0.1"))
    ear = Ear()
    edge = start_edge(make_plan(broker.port, tls=True, tls_ca_file=str(authority.file)), ear)
    edge.act(PublishState("alarms", "[]"))
    assert edge._outbox.wait_settled("duskbell/kestrel/alarms", 10)
    assert edge._connection.link is not None
    sock = edge._connection.link.socket()
    assert isinstance(sock, ssl.SSLSocket)
    assert sock.version() in {"TLSv1.2", "TLSv1.3"}


@pytest.mark.parametrize(
    ("host", "not_after", "authority", "words"),
    [
        ("127.0.0.1", None, "theirs", "is not trusted"),
        ("127.0.0.2", None, "ours", "is not trusted"),
        (
            "127.0.0.1",
            dt.datetime(2021, 1, 1, tzinfo=dt.UTC),
            "ours",
            "not valid at the board's time",
        ),
        ("127.0.0.1", None, "nowhere", "the authority's certificate"),
    ],
)
# The library lets go of a socket whose handshake failed without closing it; it is closed by being let go of.
@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
def test_a_broker_that_cannot_prove_itself_is_not_used(
    start_mosquitto: StartMosquitto,
    start_edge: StartEdge,
    tmp_path: Path,
    host: str,
    not_after: dt.datetime | None,
    authority: str,
    words: str,
) -> None:
    """Another authority, another name, a wrong time, a missing file: no connection, and a trouble that says which."""
    ours = _Authority(tmp_path, "ours")
    _Authority(tmp_path, "theirs")
    broker = start_mosquitto(*ours.lines(host, not_after))
    ear = Ear()
    edge = start_edge(
        make_plan(broker.port, tls=True, tls_ca_file=str(tmp_path / f"{authority}.pem")), ear, waits=False
    )
    assert words in _trouble(ear)
    assert not edge._connection.connected


def test_a_broker_said_to_be_old_is_spoken_to_in_its_own_version_at_once(
    old_broker: BrokerProcess, start_edge: StartEdge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With `mqtt_3_only` nothing is guessed: no wait for an answer that never comes, and no other version tried."""
    monkeypatch.setattr("controller.edges.mqtt_connection.ANSWER_TIMEOUT_MS", 60_000)
    ear = Ear()
    plan = make_plan(old_broker.port)
    plan = plan.model_copy(update={"broker": plan.broker.model_copy(update={"mqtt_3_only": True})})
    edge = start_edge(plan, ear)

    link = wait_until(
        lambda: edge._connection.connected and edge._connection.link, "it is connected", within_s=10
    )

    assert not link.modern
