"""Promises of the MQTT edge, against a real broker."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from brokers import BrokerProcess, free_port
from conftest import StartEdge, is_settled
from paho.mqtt.enums import MQTTErrorCode
from peers import AIR, Ear, Peer, make_plan, number_sensor
from waiting import wait_until

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import (
    CurtainReported,
    EffectDone,
    EffectFailed,
    MoveCurtain,
    PayloadRefused,
    PublishState,
    ReadingsTaken,
    Run,
    Sample,
    TroubleSeen,
)
from controller.edges.mqtt import MqttEdge

HEALTH = "duskbell/kestrel/health"


def _reading(value: float, *, sensor: str = "air", fresh: bool = True) -> ReadingsTaken:
    return ReadingsTaken((Sample(sensor, value, fresh),))


def _move(
    edge: MqttEdge, effect_id: str = "1-0", *, curtain: str = "main", left_ms: int = 30_000
) -> MoveCurtain:
    return MoveCurtain(
        effect_id=effect_id,
        curtain=curtain,
        run=Run.DRAW,
        drawn_percent=60.0,
        run_at_most_ms=74_000,
        not_after_utc_ms=edge._clock.utc_ms() + left_ms,
        not_after_house_ms=edge._clock.house_ms() + left_ms,
        reason="too much light",
    )


def _cut(edge: MqttEdge) -> None:
    """Cut the connection, as a pulled plug would."""
    link = edge._connection.link
    assert link is not None
    link.cut()


# --- readings ---------------------------------------------------------------------------------------------


def test_readings_in_all_three_forms_come_in(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """A plain number, JSON with a unit of its own, and SenML each become a fresh sample."""
    ear = Ear()
    start_edge(make_plan(mosquitto.port), ear)
    with Peer(mosquitto.port) as peer:
        peer.say("kw/air", "21.5")
        peer.say("kw/light", json.dumps({"v": 412.5, "u": "W/m2"}))
        peer.say("kw/pack", json.dumps([{"bn": "tank/", "n": "t", "u": "K", "v": 298.15}]))
    ear.wait_for(_reading(21.5))
    ear.wait_for(_reading(412.5, sensor="light"))
    ear.wait_for(_reading(25.0, sensor="tank"))


def test_nothing_but_the_exact_topics_is_heard(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """A topic beside, below or above a configured one is never delivered."""
    ear = Ear()
    start_edge(make_plan(mosquitto.port), ear)
    with Peer(mosquitto.port) as peer:
        for topic in ("kw", "kw/air/1", "kw/air2", "KW/AIR", "kw/motor/do"):
            peer.say(topic, "99")
        peer.say("kw/air", "1")
    ear.wait_for(_reading(1.0))
    assert ear.of(ReadingsTaken) == [_reading(1.0)]
    assert ear.of(PayloadRefused) == []


def test_a_wildcard_in_the_settings_is_told_and_not_subscribed(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """Even if the settings let one through, no pattern is subscribed."""
    ear = Ear()
    plan = make_plan(mosquitto.port, sensors=(number_sensor("all", "kw/#"), AIR))
    start_edge(plan, ear)
    (trouble,) = [t for t in ear.wait_for_kind(TroubleSeen) if t.trouble is not None]
    assert "kw/#" in str(trouble.trouble)
    with Peer(mosquitto.port) as peer:
        peer.say("kw/other", "7")
        peer.say("kw/air", "1")
    ear.wait_for(_reading(1.0))
    assert ear.of(ReadingsTaken) == [_reading(1.0)]


def test_a_retained_reading_is_not_fresh_and_a_live_one_is(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """What the broker had kept has an unknown age; a retained board report says nothing at all."""
    ear = Ear()
    with Peer(mosquitto.port) as peer:
        peer.say("kw/air", "17", retain=True)
        peer.say("kw/motor/is", '{"drawn_percent": 40, "moving": false}', retain=True)
        start_edge(make_plan(mosquitto.port), ear)
        ear.wait_for(_reading(17.0, fresh=False))
        peer.say("kw/motor/is", '{"drawn_percent": 55, "moving": false}')
        peer.say("kw/air", "18")
    ear.wait_for(_reading(18.0))
    assert ear.of(CurtainReported) == [CurtainReported("main", 55.0, False)]


def test_a_payload_that_cannot_be_read_is_refused_and_acknowledged(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """Hostile payloads, more than the broker's window of twenty, do not hold up the next reading."""
    ear = Ear()
    start_edge(make_plan(mosquitto.port), ear)
    deep = b"[" * 4000
    bomb = b"\x9f" * 4000
    with Peer(mosquitto.port) as peer:
        for payload in (b"nan", b"1e999", b"", b"\xff\xfe", "१२".encode()) * 6:
            peer.say("kw/air", payload)
        for payload in (deep, bomb, b'{"v": NaN, "u": "W/m2"}', b'{"v": 1, "v": 2, "u": "W/m2"}'):
            peer.say("kw/light", payload)
            peer.say("kw/pack", payload)
        peer.say("kw/motor/is", b"{}")
        peer.say("kw/air", b"x" * 5_000)
        peer.say("kw/air", b"21")
    ear.wait_for(_reading(21.0))
    refused = ear.of(PayloadRefused)
    assert len(refused) == 30 + 8 + 1 + 1
    assert PayloadRefused("kw/air", "air", "the payload is longer than 4096 bytes") in refused
    assert ear.of(ReadingsTaken) == [_reading(21.0)]


@pytest.mark.parametrize("old", [False, True])
def test_a_huge_payload_is_refused_and_counted(
    mosquitto: BrokerProcess, start_edge: StartEdge, *, old: bool
) -> None:
    """Ten megabytes are refused like any other bytes, by either protocol, and cost neither connection nor order."""
    ear = Ear()
    start_edge(make_plan(mosquitto.port, mqtt_3_only=old), ear)
    with Peer(mosquitto.port) as peer:
        for size in (4_097, 65_536, 70_000, 200_000, 10_000_000):
            peer.say("kw/air", b"1" * size)
        peer.say("kw/air", b"21")
    ear.wait_for(_reading(21.0))
    assert (
        ear.of(PayloadRefused)
        == [PayloadRefused("kw/air", "air", "the payload is longer than 4096 bytes")] * 5
    )
    assert ear.of(TroubleSeen) == []


def test_a_flood_on_one_topic_leaves_the_others_alone(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """Of five thousand messages some hundred come through, the rest is counted and said; others come at once."""
    ear = Ear()
    start_edge(make_plan(mosquitto.port), ear)
    with Peer(mosquitto.port) as flooder, Peer(mosquitto.port) as peer:
        began = time.monotonic()
        flooder.say_often("kw/air", b"20", 5_000)
        flooder.say("kw/air", b"20")
        peer.say("kw/light", '{"v": 300, "u": "W/m2"}')
        ear.wait_for(_reading(300.0, sensor="light"))
        (refused,) = ear.wait_for_kind(PayloadRefused)
        took_s = time.monotonic() - began
    assert (refused.topic, refused.source) == ("kw/air", "air")
    assert "faster than 50 a second" in refused.reason
    through = ear.of(ReadingsTaken).count(_reading(20.0))
    assert 300 <= through <= 300 + 50 * (took_s + 1)


# --- acknowledging ----------------------------------------------------------------------------------------


def test_a_reading_is_acknowledged_only_once_committed(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """Before the commit it comes again on a new connection; after the commit it does not."""
    ear = Ear(commits=False)
    edge = start_edge(make_plan(mosquitto.port), ear)
    with Peer(mosquitto.port) as peer:
        peer.say("kw/air", "21")
        wait_until(lambda: len(ear.of(ReadingsTaken)) == 1, "the reading has come")
        early = ear.uncommitted.pop()
        _cut(edge)
        wait_until(lambda: len(ear.of(ReadingsTaken)) == 2, "it has come again")
        early()  # belongs to the lost connection, and acknowledges nothing on this one
        edge.act(PublishState("alarms", "[]"))
        assert edge._outbox.wait_settled("duskbell/kestrel/alarms", 10)  # the broker has all that was sent
        _cut(edge)
        wait_until(lambda: len(ear.of(ReadingsTaken)) == 3, "it has come a third time")
        ear.uncommitted.pop()()
        peer.say("kw/air", "22")
        wait_until(lambda: _reading(22.0) in ear.listen(), "the connection has carried the acknowledgement")
        ear.uncommitted.pop()()
        _cut(edge)
        ear.commits = True
        wait_until(lambda: edge._connection.number == 4 and is_settled(edge), "it is back")
        peer.say("kw/air", "23")
    ear.wait_for(_reading(23.0))
    assert ear.of(ReadingsTaken).count(_reading(21.0)) == 3


def test_a_killed_daemon_gets_its_uncommitted_reading_again(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """A reading heard by a process that is killed before the commit comes to the next one; its will is done."""
    plan = make_plan(mosquitto.port)
    program = Path(__file__).with_name("house_process.py")
    with Peer(mosquitto.port, HEALTH) as peer:
        process = subprocess.Popen(
            [sys.executable, str(program), plan.model_dump_json()],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        try:
            wait_until(lambda: b'{"state": "online"}' in peer.payloads(HEALTH), "it is online", within_s=30)
            peer.say("kw/air", "21")
            assert process.stdout is not None
            assert process.stdout.readline() == b"heard 21.0\n"
        finally:
            process.kill()
            process.wait(10)
            if process.stdout is not None:
                process.stdout.close()
        will = wait_until(lambda: peer.payloads(HEALTH)[1:], "the will is done")
        assert json.loads(will[0]) == {"state": "offline", "why": "connection lost"}
        with Peer(mosquitto.port, HEALTH) as late:
            wait_until(lambda: late.payloads(HEALTH) == will, "who comes later finds it too")
        peer.say("kw/air", "22")
        ear = Ear()
        start_edge(plan, ear)
        ear.wait_for(_reading(22.0))
    assert ear.of(ReadingsTaken) == [_reading(21.0), _reading(22.0)]


def test_readings_wait_for_a_stopped_daemon(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """The broker keeps readings (QoS 1) of a stopped daemon's session, and no old word of a board (QoS 0)."""
    plan = make_plan(mosquitto.port)
    start_edge(plan, Ear()).stop()
    ear = Ear()
    with Peer(mosquitto.port) as peer:
        peer.say("kw/air", "20")
        peer.say("kw/air", "21")
        peer.say("kw/motor/is", '{"drawn_percent": 40, "moving": false}')
    start_edge(plan, ear)
    ear.wait_for(_reading(21.0))
    assert ear.of(ReadingsTaken) == [_reading(20.0), _reading(21.0)]
    assert ear.of(CurtainReported) == []


def test_a_reader_that_fails_loses_one_message_only(
    mosquitto: BrokerProcess, start_edge: StartEdge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mistake of ours in reading is refused and acknowledged like a bad payload, and the next one is read."""
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port), ear)
    routes = edge._subscriptions.routes
    read = routes.read

    def _read(topic: str, payload: bytes, *, retained: bool, now_utc_ms: int) -> tuple[object, ...]:
        if payload == b"13":
            raise ZeroDivisionError
        return read(topic, payload, retained=retained, now_utc_ms=now_utc_ms)

    monkeypatch.setattr(routes, "read", _read)
    with Peer(mosquitto.port) as peer:
        for _ in range(30):
            peer.say("kw/air", "13")
        peer.say("kw/air", "14")
    ear.wait_for(_reading(14.0))
    assert ear.of(PayloadRefused) == [PayloadRefused("kw/air", "air", "it could not be read")] * 30


# --- commands ---------------------------------------------------------------------------------------------


def test_a_command_goes_out_once_and_is_reported(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """A move reaches the board at QoS 0, not retained, and is done when it has left."""
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port), ear)
    with Peer(mosquitto.port, "kw/motor/do") as board:
        edge.act(_move(edge))
        ear.wait_for(EffectDone("1-0", "handed to the broker"))
        (heard,) = wait_until(lambda: board.heard, "the board has it")
        command = json.loads(heard.payload)
        assert (command["command"], command["drawn_percent"], command["run_at_most_s"]) == ("1-0", 60.0, 74.0)
        assert (heard.qos, heard.retained) == (0, False)
        board.say("kw/motor/is", '{"drawn_percent": 3, "moving": true, "command": "1-0"}')
    ear.wait_for(CurtainReported("main", 3.0, True, command_id="1-0"))


@pytest.mark.parametrize(
    ("curtain", "left_ms", "reason"),
    [
        ("main", -1, "the command came too late to be sent"),
        ("side", 30_000, "there is no such curtain in the settings"),
    ],
)
def test_a_command_that_cannot_be_right_fails_at_once(
    mosquitto: BrokerProcess, start_edge: StartEdge, curtain: str, left_ms: int, reason: str
) -> None:
    """A command past its instant, or for no known curtain, is not sent."""
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port), ear)
    with Peer(mosquitto.port, "kw/motor/do") as board:
        edge.act(_move(edge, curtain=curtain, left_ms=left_ms))
        assert ear.of(EffectFailed) == [EffectFailed("1-0", reason)]
        edge.act(_move(edge, "2-0"))
        wait_until(lambda: board.heard, "the next command has come")
        assert [json.loads(heard.payload)["command"] for heard in board.heard] == ["2-0"]


def test_a_command_without_a_connection_fails_and_is_never_sent_later(
    start_mosquitto: Callable[..., BrokerProcess], start_edge: StartEdge
) -> None:
    """While the broker is away commands fail at once; nothing of them comes when it is back."""
    broker = start_mosquitto()
    ear = Ear()
    edge = start_edge(make_plan(broker.port), ear)
    broker.end()
    ear.wait_for_kind(TroubleSeen)
    edge.act(_move(edge, "1-0"))
    assert ear.of(EffectFailed) == [EffectFailed("1-0", "there is no connection to the broker")]
    broker.start()
    with Peer(broker.port, "kw/motor/do") as board:
        wait_until(lambda: is_settled(edge), "the edge is back")
        edge.act(_move(edge, "2-0"))
        wait_until(lambda: board.heard, "the new command has come")
        assert [json.loads(heard.payload)["command"] for heard in board.heard] == ["2-0"]


# --- states -----------------------------------------------------------------------------------------------


def test_a_state_is_retained_and_only_the_latest_matters(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """An onlooker who comes later finds the latest state of each topic, and that the house is online."""
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port), ear)
    for number in range(100):
        edge.act(PublishState("curtain/main", json.dumps({"n": number})))
    edge.act(PublishState("alarms", "[]"))
    assert edge._outbox.wait_settled("duskbell/kestrel/curtain/main", 10)
    assert edge._outbox.wait_settled("duskbell/kestrel/alarms", 10)
    assert edge._outbox.wait_settled(HEALTH, 10)
    topics = ("duskbell/kestrel/curtain/main", "duskbell/kestrel/alarms", HEALTH)
    with Peer(mosquitto.port, *topics) as onlooker:
        wait_until(lambda: len(onlooker.heard) == 3, "three states are there")
        assert {heard.topic: heard.payload for heard in onlooker.heard} == {
            "duskbell/kestrel/curtain/main": b'{"n": 99}',
            "duskbell/kestrel/alarms": b"[]",
            HEALTH: b'{"state": "online"}',
        }
        assert all(heard.retained for heard in onlooker.heard)


def test_a_clean_stop_says_offline_itself(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """A broker does no will after a goodbye, so the edge publishes its end; at the next start it is online."""
    plan = make_plan(mosquitto.port)
    with Peer(mosquitto.port, HEALTH) as onlooker:
        start_edge(plan, Ear()).stop()
        wait_until(lambda: len(onlooker.heard) == 2, "it has come and gone")
        start_edge(plan, Ear())
        wait_until(lambda: len(onlooker.heard) == 3, "it has come again")
        states = [json.loads(payload) for payload in onlooker.payloads(HEALTH)]
    assert states == [{"state": "online"}, {"state": "offline", "why": "stopped"}, {"state": "online"}]


def test_states_of_a_lost_connection_come_once_and_newest_last(
    start_mosquitto: Callable[..., BrokerProcess], start_edge: StartEdge
) -> None:
    """A frozen broker leaves a state unanswered; after its end the newest state is what the next one keeps."""
    broker = start_mosquitto()
    ear = Ear()
    edge = start_edge(make_plan(broker.port), ear)
    broker.freeze()
    for number in range(3):
        edge.act(PublishState("alarms", str(number)))
    broker.end()
    ear.wait_for_kind(TroubleSeen)
    edge.act(PublishState("alarms", "9"))
    broker.start()
    wait_until(lambda: is_settled(edge), "the edge is back")
    assert edge._outbox.wait_settled("duskbell/kestrel/alarms", 10)
    with Peer(broker.port, "duskbell/kestrel/alarms") as onlooker:
        wait_until(lambda: onlooker.heard, "the state is there")
        assert onlooker.payloads("duskbell/kestrel/alarms") == [b"9"]


def test_a_state_with_an_impossible_topic_harms_nothing(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """A tail with a wildcard is not published, and the next state is."""
    edge = start_edge(make_plan(mosquitto.port), Ear())
    edge.act(PublishState("curtain/#", "1"))
    edge.act(PublishState("curtain/1", "1"))
    with Peer(mosquitto.port, "duskbell/kestrel/curtain/1") as onlooker:
        wait_until(lambda: onlooker.heard, "the state is there")


# --- the settings change ----------------------------------------------------------------------------------


def test_new_settings_change_what_is_heard(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """A new sensor is heard, one that is gone no longer, and one that stays all along; no reconnect."""
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port), ear)
    edge.change_plan(make_plan(mosquitto.port, sensors=(AIR, number_sensor("leaf", "kw/leaf"))))
    wait_until(lambda: is_settled(edge), "the new subscription is answered")
    with Peer(mosquitto.port) as peer:
        peer.say("kw/light", '{"v": 300, "u": "W/m2"}')
        peer.say("kw/leaf", "19")
        peer.say("kw/air", "20")
    ear.wait_for(_reading(20.0))
    assert ear.of(ReadingsTaken) == [_reading(19.0, sensor="leaf"), _reading(20.0)]
    assert ear.of(TroubleSeen) == []


def test_topics_of_an_older_session_are_let_go(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """A session that still holds a topic of older settings: its messages mean nothing and it is unsubscribed."""
    start_edge(make_plan(mosquitto.port), Ear()).stop()
    with Peer(mosquitto.port) as peer:
        for _ in range(30):
            peer.say("kw/light", '{"v": 300, "u": "W/m2"}')
        ear = Ear()
        edge = start_edge(make_plan(mosquitto.port, sensors=(AIR,)), ear)
        peer.say("kw/air", "20")
        ear.wait_for(_reading(20.0))
    assert ear.of(ReadingsTaken) == [_reading(20.0)]
    assert edge._subscriptions._foreign == {"kw/light"}


# --- the broker goes and comes ----------------------------------------------------------------------------


def test_a_broker_that_is_absent_at_the_start_is_a_trouble(
    start_mosquitto: Callable[..., BrokerProcess], start_edge: StartEdge
) -> None:
    """The edge starts without it, says so once, and is in order once the broker is there."""
    broker = start_mosquitto()
    broker.end()
    ear = Ear()
    edge = start_edge(make_plan(broker.port), ear, waits=False)
    (trouble,) = ear.wait_for_kind(TroubleSeen)
    assert trouble == TroubleSeen(Watched.BROKER, f"no broker answers at 127.0.0.1:{broker.port}")
    broker.start()
    wait_until(lambda: is_settled(edge), "the edge is connected")
    ear.wait_for(TroubleSeen(Watched.BROKER, None))
    assert len(ear.of(TroubleSeen)) == 2
    assert edge.tick_age_s() < 5.0


def test_a_broker_that_forgot_everything_is_told_again(
    start_mosquitto: Callable[..., BrokerProcess], start_edge: StartEdge
) -> None:
    """After a kill that loses sessions and retained states, topics are subscribed and states published again."""
    broker = start_mosquitto()
    ear = Ear()
    edge = start_edge(make_plan(broker.port), ear)
    edge.act(PublishState("alarms", "[1]"))
    assert edge._outbox.wait_settled("duskbell/kestrel/alarms", 10)
    broker.end()
    lost, *_ = ear.wait_for_kind(TroubleSeen)
    assert lost.trouble is not None
    broker.start()
    ear.wait_for(TroubleSeen(Watched.BROKER, None))
    wait_until(lambda: is_settled(edge), "the edge is subscribed again")
    with Peer(broker.port, "duskbell/kestrel/alarms", HEALTH) as peer:
        wait_until(lambda: len(peer.heard) == 2, "the states are there again")
        peer.say("kw/air", "21")
    ear.wait_for(_reading(21.0))


@pytest.mark.slow
def test_a_silent_broker_is_noticed(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """A broker that is frozen for twice the keep-alive is a trouble told once; when it thaws all is well."""
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port, keep_alive_s=5), ear)
    mosquitto.freeze()
    ear.wait_for_kind(TroubleSeen, within_s=20)
    edge.act(_move(edge))
    assert [failed.effect_id for failed in ear.of(EffectFailed)] == ["1-0"]
    mosquitto.thaw()
    ear.wait_for(TroubleSeen(Watched.BROKER, None), within_s=30)
    lost = [t for t in ear.of(TroubleSeen) if t.trouble is not None and "lost" in t.trouble]
    assert len(lost) == 1


@pytest.mark.slow
def test_two_programs_with_one_client_id_are_told(mosquitto: BrokerProcess, start_edge: StartEdge) -> None:
    """Three takeovers within a minute name the client id; the trouble outlasts the next good connection."""
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port), ear)
    for _ in range(3):
        wait_until(lambda: is_settled(edge), "the edge is connected")
        with Peer(mosquitto.port, client_id="duskbell"):
            wait_until(lambda: not edge._connection.connected, "the edge has lost its place")
    wait_until(lambda: is_settled(edge), "the edge is connected")
    # mosquitto 2.0 closes the connection without giving its reason. The word that the connection is back
    # may come a moment after the connection itself; then the contest alone is left.
    ear.wait_for(
        TroubleSeen(
            Watched.BROKER,
            "the connection is lost again and again; perhaps another program uses our client id duskbell",
        )
    )


def test_the_loop_starts_over_when_something_breaks_in_it(
    mosquitto: BrokerProcess, start_edge: StartEdge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever is raised in the library's thread costs one connection, not all readings for ever."""
    monkeypatch.setattr("controller.edges.mqtt_link._MEND_PAUSE_S", 0.05)
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port), ear)
    link = edge._connection.link
    assert link is not None
    tick = link.on_tick

    def _break(_now_house_ms: int) -> None:
        link.on_tick = tick
        raise KeyError("broken")

    link.on_tick = _break
    (trouble, *_) = ear.wait_for_kind(TroubleSeen)
    assert "our own loop" in str(trouble.trouble)
    ear.wait_for(TroubleSeen(Watched.BROKER, None))
    wait_until(lambda: is_settled(edge), "the edge is connected again")
    with Peer(mosquitto.port) as peer:
        peer.say("kw/air", "21")
    ear.wait_for(_reading(21.0))


def test_a_connection_that_does_not_move_takes_no_command(
    mosquitto: BrokerProcess, start_edge: StartEdge
) -> None:
    """If the loop has not turned for five seconds a command fails, whatever the library says of itself."""
    ear = Ear()
    edge = start_edge(make_plan(mosquitto.port), ear)
    link = edge._connection.link
    assert link is not None
    link.loop_misc = lambda: MQTTErrorCode.MQTT_ERR_SUCCESS  # type: ignore[method-assign]
    link.ticked_house_ms = edge._clock.house_ms() - 6_000
    assert edge.tick_age_s() >= 6.0
    edge.act(_move(edge))
    assert ear.of(EffectFailed) == [EffectFailed("1-0", "the connection to the broker does not move")]


def test_stopping_is_quick_and_twice_is_once(start_edge: StartEdge) -> None:
    """Stopping needs no broker, and a second stop does nothing."""
    edge = start_edge(make_plan(free_port()), Ear(), waits=False)
    edge.stop()
    edge.stop()
    assert edge.tick_age_s() == 0.0
