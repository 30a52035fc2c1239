"""The stream from the broker, cut into packets: MQTT 5.0 sections 1.5.5, 2.1, 3.3 and 3.4, and any bytes."""

import socket
from collections.abc import Iterator
from contextlib import suppress
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.edges.mqtt.line import KEPT, LARGEST, Line
from gateway.edges.mqtt.publication import KEPT_BYTES, PUBLISH, Malformed, message, number, settlements
from gateway.ports import Message

#: Less than a line reads at once.
PIECE = 50_000


def varint(value: int) -> bytes:
    """A variable byte integer, after the algorithm of section 1.5.5."""
    out = bytearray()
    while True:
        value, digit = divmod(value, 128)
        out.append(digit | (128 if value else 0))
        if not value:
            return bytes(out)


def packet(first: int, body: bytes) -> bytes:
    """A whole control packet."""
    return bytes([first]) + varint(len(body)) + body


def body_of(said: Message, version_5: bool, properties: bytes = b"") -> bytes:
    """What a PUBLISH of this message holds after its length."""
    topic = said.topic.encode()
    mid = said.mid.to_bytes(2, "big") if said.qos else b""
    more = varint(len(properties)) + properties if version_5 else b""
    return len(topic).to_bytes(2, "big") + topic + mid + more + said.payload


def publish(said: Message, version_5: bool, properties: bytes = b"") -> bytes:
    """The whole PUBLISH packet."""
    return packet(PUBLISH | said.dup << 3 | said.qos << 1 | said.retain, body_of(said, version_5, properties))


MESSAGES = st.builds(
    lambda topic, payload, qos, mid, dup, retain: Message(topic, payload, qos, mid * qos, dup, retain, 1, 2),
    st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30), st.binary(max_size=200),
    st.integers(0, 1), st.integers(1, 65535), st.booleans(), st.booleans(),
)  # fmt: skip


@pytest.fixture(scope="module")
def listener() -> Iterator[socket.socket]:
    """Where the pairs of sockets come from."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        yield found


def read_all(listener: socket.socket, pieces: list[bytes]) -> tuple[list[tuple[int, bytes]], bytes]:
    """Every packet a line gives for these pieces, each received by itself; and what was laid before paho."""
    near = socket.create_connection(listener.getsockname())
    far, _ = listener.accept()
    with near, far:
        line = Line(near)
        found: list[tuple[int, bytes]] = []
        near.settimeout(10)
        for piece in pieces:
            for at in range(0, len(piece), PIECE):
                part = piece[at : at + PIECE]
                far.sendall(part)
                # All of it has come, and nothing else: the line gets exactly this part.
                assert len(near.recv(len(part), socket.MSG_PEEK | socket.MSG_WAITALL)) == len(part)
                line.fill()
                while one := line.packet():
                    found.append((one[0], bytes(one[1])))
        paho = b""
        with suppress(BlockingIOError):
            while True:
                paho += line.recv(7)
        return found, paho


@pytest.mark.parametrize(
    ("value", "text"),
    [(0, "00"), (127, "7f"), (128, "8001"), (16383, "ff7f"), (16384, "808001"), (2097151, "ffff7f"),
     (2097152, "80808001"), (268435455, "ffffff7f")],
)  # fmt: skip
def test_lengths_of_the_standards_table(value: int, text: str) -> None:
    # MQTT 5.0, table 1-1: the bounds of one to four bytes.
    data = bytearray.fromhex(text)
    assert number(bytearray(b"x") + data, 1) == (value, 1 + len(data))
    assert varint(value) == data
    for short in range(len(data)):
        assert number(data[:short], 0)[1] == 0


def test_a_length_of_five_bytes_is_no_mqtt() -> None:
    with pytest.raises(Malformed):
        number(bytearray.fromhex("8080808001"), 0)


@given(MESSAGES, st.booleans(), st.sampled_from([0, 1, 127, 128, 300]))
def test_a_message_is_what_was_published(said: Message, version_5: bool, properties: int) -> None:
    more = b"\x26" * properties if version_5 else b""
    first = publish(said, version_5)[0]
    assert message(first, bytearray(body_of(said, version_5, more)), version_5, 1, 2) == said


@given(st.integers(PUBLISH, PUBLISH + 15), st.binary(max_size=60), st.booleans())
def test_any_body_is_a_message_or_malformed(first: int, body: bytes, version_5: bool) -> None:
    try:
        found = message(first, bytearray(body), version_5, 1, 2)
    except Malformed:
        return
    assert found.topic
    assert found.qos in (0, 1)
    assert bool(found.mid) == bool(found.qos)


def test_quality_2_is_not_what_we_asked_for() -> None:
    with pytest.raises(Malformed, match="QoS 2"):
        message(PUBLISH | 4, bytearray(b"\x00\x01a\x00\x01\x00x"), True, 1, 2)


@given(st.lists(MESSAGES, max_size=6), st.data())
def test_however_the_stream_is_cut_the_packets_are_the_same(
    listener: socket.socket, said: list[Message], data: st.DataObject
) -> None:
    ping = b"\xd0\x00"
    stream = b"".join(publish(one, True) + ping for one in said)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=6)))
    pieces = [stream[a:b] for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True) if a < b]
    found, paho = read_all(listener, pieces)
    assert [message(first, bytearray(body), True, 1, 2) for first, body in found[::2]] == said
    assert found[1::2] == [(0xD0, b"")] * len(said)
    assert paho == ping * len(said), "what is not a message is paho's"


def test_a_huge_message_is_cut_and_what_follows_is_whole(listener: socket.socket) -> None:
    huge = Message("quern/a", b"x" * (LARGEST + 100_000), 1, 5, False, False, 1, 2)
    next_one = huge._replace(payload=b"17.2", mid=6)
    for size in (1, 65_536, 10_000_000):
        stream = publish(huge, True)[: -1 if size == 1 else None] + (b"x" if size == 1 else b"")
        pieces = [stream + publish(next_one, True)] if size > 65_536 else [stream, publish(next_one, True)]
        found, _ = read_all(listener, pieces)
        assert [len(body) for _, body in found] == [KEPT, len(body_of(next_one, True))]
        cut = message(found[0][0], bytearray(found[0][1]), True, 1, 2)
        assert cut == huge._replace(payload=huge.payload[:KEPT_BYTES])
        assert message(found[1][0], bytearray(found[1][1]), True, 1, 2) == next_one


@given(st.binary(max_size=300))
def test_any_stream_gives_packets_or_is_malformed(listener: socket.socket, stream: bytes) -> None:
    try:
        found, _ = read_all(listener, [stream] if stream else [])
    except Malformed:
        return
    assert sum(2 + len(body) for _, body in found) <= len(stream)


def test_settlements_are_puback_packets_in_order() -> None:
    # MQTT 5.0, section 3.4.2.1: with reason 0x00 and no properties the packet ends after the identifier.
    assert settlements([1, 258, 65535]) == bytes.fromhex("40020001400201024002ffff")
    assert settlements([]) == b""


def test_paho_sees_the_end_only_after_everything_before_it(listener: socket.socket) -> None:
    near = socket.create_connection(listener.getsockname())
    far, _ = listener.accept()
    said = Message("quern/a", b"1", 1, 1, False, False, 1, 2)
    with near, far:
        line: Any = Line(near)
        far.sendall(publish(said, True))
        far.shutdown(socket.SHUT_WR)
        near.settimeout(5)
        line.fill()
        line.fill()
        assert not line.over
        with pytest.raises(BlockingIOError):
            Line(near).recv(1)
        assert line.packet() is not None
        assert line.packet() is None
        assert line.over
        assert line.recv(1) == b""
