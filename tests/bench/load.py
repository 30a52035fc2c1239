"""Two hundred probes on forty beds: the site, and as many of their messages as asked for, put to a broker."""

import random
import socket
import struct
from collections.abc import Iterable, Iterator

from gateway.core.site import Day, Floor, Person, Phone, Place, Probe, Programme, Shift, Site

ROOT = "quern"
BEDS, PROBES_IN_BED = 40, 5
EVERY_S = 60


def site() -> Site:
    """Beds of one floor, each with a whole programme, so that every reading is judged."""
    days = tuple(
        Day(day, 16.0, 18.0 + day / 4, 22.0, 25.0, 10.0, 8.0, 12.0) for day in (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)
    )
    beds = tuple(
        Place(f"bed-{i:02d}", "bed", f"Bed {i}", "floor-1", i * 5.0, i * 5.0 + 5.0, None, "floor")
        for i in range(BEDS)
    )
    probes = tuple(
        Probe(
            f"{bed.id}-t{i}", bed.id, "temperature", "Cel", f"{ROOT}/{bed.id}/t{i}", EVERY_S,
            range_low=-10.0, range_high=60.0, plausible_low=-40.0, plausible_high=120.0,
        )
        for bed in beds
        for i in range(PROBES_IN_BED)
    )  # fmt: skip
    return Site(
        "bench", "Quern Hill Maltings", "Europe/London",
        (Floor("floor-1", BEDS * 5.0),), beds, probes,
        (Person("ada", "Ada", "maltster"),), (Phone("ada-1", "ada", "webhook"),),
        (Shift(("ada",), tuple(range(7)), 0, 0),), (Programme("floor", days=days),),
    )  # fmt: skip


def messages(count: int, newest_s: float) -> Iterator[tuple[str, bytes]]:
    """(topic, payload), one reading a minute and probe, the newest at about `newest_s` (Unix)."""
    draw = random.Random(14)
    probes = site().probes
    rounds = -(-count // len(probes))
    sent = 0
    for turn in range(rounds):
        for number, probe in enumerate(probes):
            if sent == count:
                return
            at_s = newest_s - (rounds - turn) * EVERY_S + number * 0.25
            value = 16.0 + draw.uniform(-0.3, 0.3) + number % 5 * 0.2
            yield probe.topic, f'{{"v":{value:.2f},"t":{at_s:.2f},"n":{turn}}}'.encode()
            sent += 1


def publish(host: str, port: int, count: int, newest_s: float) -> None:
    """Publish at QoS 1 (MQTT 3.1.1) and wait until the broker has acknowledged every message."""
    with Publisher(host, port) as out:
        out.send(messages(count, newest_s))


class Publisher:
    """One connection that publishes at QoS 1; `send` returns once the broker has acknowledged all of it."""

    def __init__(self, host: str, port: int) -> None:
        self._line = socket.create_connection((host, port), 10)
        self._sent = 0

    def __enter__(self) -> "Publisher":
        # No keep-alive: between two messages nothing is sent.
        self._line.sendall(b"\x10" + _sized(b"\x00\x04MQTT\x04\x02\x00\x00" + _text("bench-load")))
        answer = _exactly(self._line, 4)
        assert answer == b"\x20\x02\x00\x00", "the broker does not let the load in"
        return self

    def send(self, batch: Iterable[tuple[str, bytes]]) -> None:
        """Five hundred at a time."""
        piece = bytearray()
        waiting = 0
        for topic, payload in batch:
            self._sent += 1
            piece += b"\x32" + _sized(_text(topic) + struct.pack("!H", self._sent % 65535 + 1) + payload)
            waiting += 1
            if waiting == 500:
                self._line.sendall(piece)
                _exactly(self._line, 4 * waiting)
                piece.clear()
                waiting = 0
        self._line.sendall(piece)
        _exactly(self._line, 4 * waiting)

    def __exit__(self, *_fault: object) -> None:
        with self._line:
            self._line.sendall(b"\xe0\x00")


def _sized(body: bytes) -> bytes:
    assert len(body) < 128 * 128
    size = bytes([len(body)]) if len(body) < 128 else bytes([len(body) % 128 | 128, len(body) // 128])
    return size + body


def _text(text: str) -> bytes:
    return struct.pack("!H", len(text)) + text.encode()


def _exactly(line: socket.socket, size: int) -> bytes:
    found = b""
    while len(found) < size:
        more = line.recv(size - len(found))
        assert more, "the broker closed the load's connection"
        found += more
    return found
