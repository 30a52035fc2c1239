"""PUBLISH packets (MQTT 5.0 and 3.1.1, section 3.3) to messages, and PUBACK: what is not left to paho."""

from __future__ import annotations

import struct
from collections.abc import Sequence

from gateway.ports import Message

#: More of a payload is not kept: every form is shorter, and what reads it still sees that it is too long.
KEPT_BYTES = 65_537
PUBLISH = 0x30
_PUBACK = b"\x40\x02"


class Malformed(ValueError):
    """The stream is no MQTT, or uses what we have not offered."""


def message(first: int, body: bytearray, version_5: bool, epoch: int, session: int) -> Message:
    """The message of a PUBLISH packet: its first byte, and what follows its length.

    Raises Malformed, also for QoS 2 and for topic aliases, which a broker may not use unasked.
    """
    qos = first >> 1 & 3
    at = 2 + (body[0] << 8 | body[1]) if len(body) >= 2 else 0
    if at <= 2 or qos > 1 or at + 2 * qos + version_5 > len(body):
        raise Malformed("the broker sent a message that is malformed or of QoS 2")
    topic, mid = body[2:at], 0
    if qos:
        mid = body[at] << 8 | body[at + 1]
        at += 2
    if version_5:
        length = body[at]
        at += 1
        if length >= 0x80:
            length, at = number(body, at - 1)
        at += length
    if at > len(body) or (qos and not mid):
        raise Malformed("the broker sent a malformed message")
    payload = bytes(body[at : at + KEPT_BYTES])
    text = topic.decode("utf-8", "backslashreplace")
    return Message(text, payload, qos, mid, first & 8 != 0, first & 1 != 0, epoch, session)


def number(data: bytearray, at: int) -> tuple[int, int]:
    """A variable byte integer (section 1.5.5 of 5.0) and where it ends, 0 if it is not whole.

    Raises Malformed for one of more than four bytes.
    """
    value = 0
    for place, byte in enumerate(data[at : at + 4]):
        value |= (byte & 0x7F) << 7 * place
        if byte < 0x80:
            return value, at + place + 1
    if len(data) >= at + 4:
        raise Malformed("the broker sent a length of more than four bytes")
    return value, 0


def settlements(mids: Sequence[int]) -> bytes:
    """PUBACK packets for these, in this order."""
    return b"".join([_PUBACK + mid for mid in map(struct.Struct("!H").pack, mids)])
