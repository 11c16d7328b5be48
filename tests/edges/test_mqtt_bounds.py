"""Packets of any length reach the handler of messages in little memory. Packets are built by MQTT 5.0, section 3.3."""

from __future__ import annotations

import socket
import threading
import tracemalloc
from collections.abc import Iterator

import pytest
from paho.mqtt.client import MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode, MQTTProtocolVersion

from controller.edges.mqtt_bounds import KEPT_BYTES, BoundedClient
from controller.wire.document import BYTES_MAX

MODERN, OLD = MQTTProtocolVersion.MQTTv5, MQTTProtocolVersion.MQTTv311
MEGABYTE = 1_000_000


def write_length(length: int) -> bytes:
    """Write a variable byte integer (MQTT 5.0, section 1.5.5)."""
    digits = bytearray()
    while True:
        length, digit = divmod(length, 128)
        digits.append(digit | (128 if length else 0))
        if not length:
            return bytes(digits)


def write_publish(
    payload: bytes, *, topic: bytes = b"kw/air", version: MQTTProtocolVersion, qos: int = 1, user: bytes = b""
) -> bytes:
    """Write a PUBLISH packet, number 7, with `user` as user properties."""
    number = (7).to_bytes(2, "big") if qos else b""
    properties = write_length(len(user)) + user if version is MODERN else b""
    body = len(topic).to_bytes(2, "big") + topic + number + properties + payload
    return bytes([0x30 | qos << 1]) + write_length(len(body)) + body


class Reader:
    """A client at one end of a pair of sockets."""

    def __init__(self, version: MQTTProtocolVersion) -> None:
        self.heard: list[MQTTMessage] = []
        self.client = BoundedClient(CallbackAPIVersion.VERSION2, protocol=version, manual_ack=True)
        self.client.on_message = lambda _client, _data, message: self.heard.append(message)
        self.far, near = socket.socketpair()
        self.client._sock = near

    def take(self, *packets: bytes) -> MQTTErrorCode:
        """Send packets and read until each has been handled, or one was refused."""
        sender = threading.Thread(target=self.far.sendall, args=(b"".join(packets),), daemon=True)
        sender.start()
        wanted = len(self.heard) + len(packets)
        while len(self.heard) < wanted:
            code = self.client._packet_read()
            if code not in {MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_AGAIN}:
                return code
        sender.join(5.0)
        return MQTTErrorCode.MQTT_ERR_SUCCESS

    def close(self) -> None:
        """Close both ends."""
        self.far.close()
        if self.client._sock is not None:
            self.client._sock.close()
            self.client._sock = None


@pytest.fixture(params=[MODERN, OLD])
def reader(request: pytest.FixtureRequest) -> Iterator[Reader]:
    """Read by either protocol."""
    reader = Reader(request.param)
    yield reader
    reader.close()


def test_what_fits_is_whole(reader: Reader) -> None:
    """A reading arrives as it was sent, and so does the next one in the same breath."""
    version = reader.client._protocol
    reader.take(
        *(write_publish(text, version=MQTTProtocolVersion(version)) for text in (b"21.5", b"x" * 60_000))
    )

    assert [message.payload for message in reader.heard] == [b"21.5", b"x" * 60_000]


@pytest.mark.parametrize("size", [KEPT_BYTES - 12, KEPT_BYTES, KEPT_BYTES + 1, 135_536, 3 * MEGABYTE])
@pytest.mark.parametrize("qos", [0, 1])
def test_what_does_not_fit_has_its_topic_and_is_too_long(reader: Reader, size: int, qos: int) -> None:
    """Topic and number are the sender's, the payload is longer than any reading, and the next packet is whole."""
    version = MQTTProtocolVersion(reader.client._protocol)
    long = write_publish(b"1" * size, version=version, qos=qos)
    reader.take(long, write_publish(b"22", version=version))
    first, second = reader.heard

    assert (first.topic, first.mid, first.qos) == ("kw/air", 7 if qos else 0, qos)
    assert len(first.payload) > BYTES_MAX
    assert (second.topic, second.payload) == ("kw/air", b"22")


def test_the_longest_topic_and_endless_properties_are_read_past(reader: Reader) -> None:
    """Even a topic of 65 535 bytes is whole; properties beyond all measure do not break the stream."""
    version = MQTTProtocolVersion(reader.client._protocol)
    pair = b"\x26" + b"\xff\xff" + b"k" * 65_535 + b"\xff\xff" + b"v" * 65_535
    topic = b"t" * 65_535
    reader.take(
        write_publish(b"1" * MEGABYTE, topic=topic, version=version),
        write_publish(b"1" if version is MODERN else b"1" * MEGABYTE, version=version, user=pair * 8),
        write_publish(b"23", version=version),
    )

    assert [message.topic for message in reader.heard] == ["t" * 65_535, "kw/air", "kw/air"]
    assert [len(message.payload) > BYTES_MAX for message in reader.heard] == [True, True, False]


def test_memory_stays_small(reader: Reader) -> None:
    """Twenty megabytes pass through less than one."""
    packet = write_publish(b"1" * 20 * MEGABYTE, version=MQTTProtocolVersion(reader.client._protocol))
    tracemalloc.start()
    try:
        reader.take(packet)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()

    # `b"".join` of one packet is the packet itself.
    assert peak < MEGABYTE


def test_a_long_packet_that_is_no_message_is_a_breach(reader: Reader) -> None:
    """Only messages may be long: anything else of that length ends the connection."""
    answer = bytes([0x90]) + write_length(MEGABYTE) + b"\0" * MEGABYTE

    assert reader.take(answer) is MQTTErrorCode.MQTT_ERR_PROTOCOL
