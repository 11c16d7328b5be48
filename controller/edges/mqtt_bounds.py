"""Messages of any length in little memory: what is too long is read past, and only its head is kept.

The broker could be told to keep long messages away, but then nobody would ever hear of them. So they come, are
refused like everything else that is no reading, and are counted; an older broker knows no such limit anyway.
"""

from __future__ import annotations

from typing import Final

from paho.mqtt.client import Client
from paho.mqtt.enums import MQTTErrorCode, MQTTProtocolVersion

from controller.wire.document import BYTES_MAX

KEPT_BYTES: Final = 70_000
"""So much of a packet is kept: the longest topic and its number (65 539 bytes), and a payload that is too long.
[bytes]"""

CHUNK_BYTES: Final = 65_536
"""So much is read at once. [bytes]"""

_PUBLISH: Final = 0x30
_QOS: Final = 0x06


class BoundedClient(Client):
    """A client that takes messages of any length in bounded memory.

    A longer packet than `KEPT_BYTES` reaches the handler of messages with its own topic and number, and with a
    payload of zeros that is longer than any reading may be.
    """

    def _sock_recv(self, bufsize: int) -> bytes:
        """Read on, and past what is not kept: of that the library is given one byte a chunk."""
        data = super()._sock_recv(min(bufsize, CHUNK_BYTES))
        packet = self._in_packet
        if packet["have_remaining"] and len(packet["packet"]) >= KEPT_BYTES and len(data) > 1:
            packet["to_process"] -= len(data) - 1
            return data[:1]
        return data

    def _packet_handle(self) -> MQTTErrorCode:
        """Handle a packet that has come in; of one that was not kept whole, its head."""
        packet = self._in_packet
        kept = packet["packet"]
        if packet["remaining_length"] > len(kept):
            if packet["command"] & 0xF0 != _PUBLISH:
                return MQTTErrorCode.MQTT_ERR_PROTOCOL
            head = 2 + int.from_bytes(kept[:2], "big") + (2 if packet["command"] & _QOS else 0)
            no_properties = b"\0" if self._protocol == MQTTProtocolVersion.MQTTv5 else b""
            packet["packet"] = kept[:head] + no_properties + bytes(BYTES_MAX + 1)
        return super()._packet_handle()
