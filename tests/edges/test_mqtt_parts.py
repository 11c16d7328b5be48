"""Promises of the parts of the MQTT edge that need no broker."""

from __future__ import annotations

import socket
from typing import NamedTuple

import pytest
from conftest import StartEdge
from paho.mqtt.client import MQTTMessageInfo
from paho.mqtt.enums import MQTTErrorCode, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode
from peers import AIR, Ear, make_plan, number_sensor
from waiting import wait_until

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import EffectDone, EffectFailed, TroubleSeen
from controller.edges.clock import BoardClock
from controller.edges.mqtt_link import Link
from controller.edges.mqtt_outbox import TOPICS_MAX, Outbox
from controller.edges.mqtt_subscriptions import Subscriptions
from controller.edges.mqtt_trouble import Cause, Losses, Troubles, name_topics, tell_reason
from controller.wire.route import Routes


class _Sent(NamedTuple):
    topic: str
    payload: bytes
    mid: int


class _QuietLink(Link):
    """A link without a network: it notes what it is given, and can answer before the hand-over returns."""

    def __init__(self) -> None:
        super().__init__(
            make_plan(1).broker,
            version=MQTTProtocolVersion.MQTTv5,
            clock=BoardClock("Europe/London", 0),
            will_topic="t",
            will_payload=b"",
        )
        self.sent: list[_Sent] = []
        self.asked: list[list[str]] = []
        self.answers_early_to: Outbox | None = None
        self.loses_early: Outbox | None = None
        self.code = MQTTErrorCode.MQTT_ERR_SUCCESS

    def publish(self, topic: str, payload: object = None, *_: object, **__: object) -> MQTTMessageInfo:
        assert isinstance(payload, bytes)
        info = MQTTMessageInfo(len(self.sent) + 1)
        info.rc = self.code
        self.sent.append(_Sent(topic, payload, info.mid))
        if self.answers_early_to is not None:
            self.answers_early_to.published(info.mid, None)
        if self.loses_early is not None:
            self.loses_early.lost()
        return info

    def subscribe(self, topic: object, *_: object, **__: object) -> tuple[MQTTErrorCode, int]:
        assert isinstance(topic, list)
        self.asked.append([name for name, _options in topic])
        return MQTTErrorCode.MQTT_ERR_SUCCESS, len(self.asked)


class _Desk:
    """An outbox with its inbox, its connected link, and a list of the states that were answered for."""

    def __init__(self) -> None:
        self.ear = Ear()
        self.taken: list[tuple[str, str | None]] = []
        self.outbox = Outbox(self.ear.inbox, lambda topic, refusal: self.taken.append((topic, refusal)))
        self.link = _QuietLink()
        self.outbox.connected(self.link)

    def payloads(self) -> list[bytes]:
        """Give what has been handed to the link."""
        return [sent.payload for sent in self.link.sent]


# --- the outbox -------------------------------------------------------------------------------------------


def test_one_state_of_a_topic_is_under_way_and_the_latest_follows() -> None:
    """While a state is unanswered newer ones replace each other; the last goes out upon the answer."""
    desk = _Desk()
    for number in range(5):
        desk.outbox.keep("t", b"%d" % number)
    assert desk.payloads() == [b"0"]
    assert not desk.outbox.wait_settled("t", 0.0)
    desk.outbox.published(1, None)
    assert desk.payloads() == [b"0", b"4"]
    desk.outbox.published(2, None)
    assert desk.payloads() == [b"0", b"4"]
    assert desk.outbox.wait_settled("t", 0.0)


def test_an_answer_before_the_hand_over_has_returned_counts() -> None:
    """The library's thread may be faster than the caller; neither state nor command is left hanging."""
    desk = _Desk()
    desk.link.answers_early_to = desk.outbox
    desk.outbox.keep("t", b"1")
    assert desk.outbox.wait_settled("t", 0.0)
    desk.outbox.move("m", b"go", effect_id="7-0", expiry_s=5)
    assert desk.ear.listen() == [EffectDone("7-0", "handed to the broker")]
    assert desk.outbox._early == {}


def test_a_command_that_has_not_left_fails_with_the_connection() -> None:
    """A loss fails the command under way, once; a late word of it changes nothing."""
    desk = _Desk()
    desk.outbox.move("m", b"go", effect_id="7-0", expiry_s=5)
    assert desk.ear.listen() == []
    desk.outbox.lost()
    desk.outbox.lost()
    failed = EffectFailed("7-0", "the connection was lost before the command went out")
    assert desk.ear.listen() == [failed]


def test_a_command_fails_if_the_connection_is_lost_during_the_hand_over() -> None:
    """A loss that the library's thread tells while the caller is still handing over is not overlooked."""
    desk = _Desk()
    desk.link.loses_early = desk.outbox
    desk.outbox.move("m", b"go", effect_id="7-0", expiry_s=5)
    assert desk.ear.listen() == [EffectFailed("7-0", "the connection was lost before the command went out")]


def test_a_command_that_the_library_does_not_take_fails() -> None:
    """The library's own refusal is a failure at once."""
    desk = _Desk()
    desk.link.code = MQTTErrorCode.MQTT_ERR_NO_CONN
    desk.outbox.move("m", b"go", effect_id="7-0", expiry_s=5)
    assert desk.ear.listen() == [
        EffectFailed("7-0", "the connection to the broker does not take the command")
    ]


def test_every_state_is_sent_again_on_a_new_connection() -> None:
    """Answered or not: the broker may have forgotten all of it."""
    desk = _Desk()
    desk.outbox.keep("a", b"1")
    desk.outbox.published(1, None)
    desk.outbox.keep("b", b"2")
    desk.outbox.lost()
    desk.outbox.keep("b", b"3")
    desk.outbox.connected(desk.link)
    assert [sent[:2] for sent in desk.link.sent] == [("a", b"1"), ("b", b"2"), ("a", b"1"), ("b", b"3")]


def test_states_are_bounded() -> None:
    """Two hundred topics are kept; another one is refused, and a kept one may still change."""
    desk = _Desk()
    assert all(desk.outbox.keep(f"t{number}", b"1") for number in range(TOPICS_MAX))
    assert not desk.outbox.keep("one more", b"1")
    assert desk.outbox.keep("t0", b"2")
    assert len(desk.link.sent) == 200


def test_a_full_library_costs_one_sending_only() -> None:
    """If the library takes no more, the state stays the latest and goes out with the next change."""
    desk = _Desk()
    desk.link.code = MQTTErrorCode.MQTT_ERR_QUEUE_SIZE
    desk.outbox.keep("t", b"1")
    desk.link.code = MQTTErrorCode.MQTT_ERR_SUCCESS
    desk.outbox.keep("t", b"2")
    assert desk.payloads() == [b"1", b"2"]


# --- troubles ---------------------------------------------------------------------------------------------


def test_a_trouble_is_told_when_it_begins_changes_and_is_over() -> None:
    """The same words twice are told once; None comes only when the last cause is over."""
    ear = Ear()
    troubles = Troubles(ear.inbox)
    troubles.end(Cause.CONNECTION)
    assert ear.listen() == []
    assert troubles.begin(Cause.CONNECTION, "lost")
    assert not troubles.begin(Cause.CONNECTION, "lost")
    assert troubles.begin(Cause.SUBSCRIPTIONS, "not t")
    troubles.end(Cause.CONNECTION)
    troubles.end(Cause.SUBSCRIPTIONS)
    troubles.end(Cause.SUBSCRIPTIONS)
    told = [event.trouble for event in ear.of(TroubleSeen)]
    assert told == ["lost", "lost; not t", "not t", None]
    assert {event.part for event in ear.of(TroubleSeen)} == {Watched.BROKER}


def test_three_takeovers_in_a_minute_are_a_contest() -> None:
    """Two are not, nor are three in more than a minute; a minute without one ends it."""
    losses = Losses()
    for at_ms in (0, 20_000):
        losses.note(at_ms, taken_over=True)
    assert losses.explain("me", 20_000) is None
    losses.note(60_001, taken_over=True)
    assert losses.explain("me", 60_001) is None
    losses.note(70_000, taken_over=True)
    assert losses.explain("me", 70_000) == "another program uses our client id me"
    assert not losses.are_over(130_000)
    assert losses.are_over(130_001)


def test_losses_without_a_word_are_only_perhaps_a_contest() -> None:
    """A broker that does not say why it closed leaves room for other causes."""
    losses = Losses()
    for at_ms in (0, 1_000, 2_000):
        losses.note(at_ms, taken_over=at_ms > 0)
    assert "perhaps another program uses our client id me" in str(losses.explain("me", 2_000))


def test_many_topics_are_named_briefly() -> None:
    """Four are named, the rest is a number."""
    assert name_topics({"b": "no", "a": "no"}) == "a (no), b (no)"
    assert name_topics(dict.fromkeys("fedcba", "no")) == "a (no), b (no), c (no), d (no), and 2 more"


@pytest.mark.parametrize("code", [0x80, 0x87, 0x8F])
def test_a_refused_subscription_names_its_topic_until_it_is_granted(code: int) -> None:
    """Failure codes of SUBACK (MQTT 5.0 section 3.9.3) are troubles; granted QoS 0 and 1 are none."""
    ear = Ear()
    plan = make_plan(1, sensors=(AIR, number_sensor("well", "kw/well")))
    subscriptions = Subscriptions(Routes(plan), Troubles(ear.inbox))
    link = _QuietLink()
    subscriptions.subscribe_all(link)
    (topics,) = link.asked
    answers = [ReasonCode(PacketTypes.SUBACK, identifier=code if t == "kw/well" else 1) for t in topics]
    subscriptions.answered(1, answers)
    (trouble,) = ear.of(TroubleSeen)
    assert "kw/well" in str(trouble.trouble)
    assert "kw/air" not in str(trouble.trouble)
    subscriptions.subscribe_all(link)
    subscriptions.answered(2, [ReasonCode(PacketTypes.SUBACK, identifier=0) for _ in topics])
    assert ear.of(TroubleSeen)[-1].trouble is None


# --- servers that are no brokers --------------------------------------------------------------------------


def _answer_connects(server: socket.socket, *answers: bytes) -> list[int]:
    """Take a connection for each answer, send it, and hang up; give the protocol version each asked for."""
    versions = []
    server.settimeout(15)
    for answer in answers:
        caller, _address = server.accept()
        with caller:
            connect = caller.recv(20)
            # The version follows the protocol's name: 5, or 4 for 3.1.1 (both standards, section 3.1.2.2).
            versions.append(connect[connect.index(b"MQTT") + 4])
            caller.sendall(answer)
    return versions


def test_a_server_that_closes_without_a_word_is_a_trouble(start_edge: StartEdge) -> None:
    """A port that hangs up, as one for encrypted connections does, is told; 3.1.1 has its turn after two tries."""
    ear = Ear()
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        edge = start_edge(make_plan(port), ear, waits=False)
        assert _answer_connects(server, b"", b"", b"") == [5, 5, 4]
    text = f"the broker at 127.0.0.1:{port} closes the connection without a word"
    ear.wait_for(TroubleSeen(Watched.BROKER, text))
    edge.stop()


@pytest.mark.parametrize(
    "refusal",
    [
        b"\x20\x02\x00\x01",  # CONNACK of 3.1.1: unacceptable protocol version (section 3.2.2.3)
        b"\x20\x03\x00\x84\x00",  # CONNACK of MQTT 5: unsupported protocol version (section 3.2.2.2)
    ],
)
def test_a_broker_that_refuses_the_version_gets_the_older_one_at_once(
    start_edge: StartEdge, refusal: bytes
) -> None:
    """Its refusal is no trouble, and the older version is tried without a wait."""
    ear = Ear()
    with socket.create_server(("127.0.0.1", 0)) as server:
        edge = start_edge(make_plan(server.getsockname()[1]), ear, waits=False)
        assert _answer_connects(server, refusal, b"\x20\x02\x00\x00") == [5, 4]
        wait_until(lambda: edge._connection.number == 1, "it is connected")
        assert not any("refuses" in str(event.trouble) for event in ear.of(TroubleSeen))
        edge.stop()


def test_nonsense_in_place_of_an_answer_harms_nothing(start_edge: StartEdge) -> None:
    """A server that talks another protocol is a trouble like a silent one."""
    ear = Ear()
    with socket.create_server(("127.0.0.1", 0)) as server:
        edge = start_edge(make_plan(server.getsockname()[1]), ear, waits=False)
        _answer_connects(server, b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\x20\x7f" + b"\xff" * 127)
        (trouble, *_) = ear.wait_for_kind(TroubleSeen)
        assert trouble.trouble is not None
        edge.stop()
        assert edge.tick_age_s() == 0.0


@pytest.mark.parametrize(
    ("code", "said"),
    [
        # MQTT 5.0 section 2.4, table 2-6.
        (0x80, "no reason given"),
        (0x8B, "it is shutting down"),
        (0x8D, "nothing came through in time"),
        (0x8E, "another program took our place"),
        (0x97, "Quota exceeded"),
    ],
)
def test_a_reason_of_the_broker_is_said_in_plain_words(code: int, said: str) -> None:
    """What only the standard calls so is put plainly; a name that is plain already is kept."""
    assert said == tell_reason(ReasonCode(PacketTypes.DISCONNECT, identifier=code))
