"""The contract of `ports.Source`, held to by the real one over mosquitto and by the one in memory."""

from collections.abc import Callable, Iterator
from contextlib import suppress

import pytest

from gateway.ports import Message, Source
from tests.broker import Broker
from tests.contracts.source import Remembered, connected, payloads, publish, real, take, until


class Real:
    """mosquitto and mosquitto_pub behind the words of `Remembered`."""

    def __init__(self, broker: Broker) -> None:
        self.broker = broker
        self.source = connected(real(broker))

    def publish(self, topic: str, *texts: str, qos: int = 1) -> None:
        publish(self.broker, topic, *texts, qos=qos)

    def reconnect(self) -> None:
        """The broker stops in order and comes again with what it kept."""
        before = self.source.facts()["connections"]
        self.broker.restart()
        until(lambda: self.source.facts()["connections"] > before and self.source.facts()["connected"])

    def settled(self, messages: list[Message]) -> None:
        """Settle, and wait until that has been sent."""
        before = self.source.facts()["settled"]
        self.source.settle(messages)
        until(lambda: self.source.facts()["settled"] == before + len(messages))


class InMemory:
    """`Remembered`, and nothing to wait for."""

    def __init__(self) -> None:
        self.source = Remembered()
        self.publish = self.source.publish
        self.reconnect = self.source.reconnect
        self.settled: Callable[[list[Message]], None] = self.source.settle


@pytest.fixture(params=["in memory", pytest.param("mosquitto", marks=pytest.mark.broker)])
def side(request: pytest.FixtureRequest) -> Iterator[Real | InMemory]:
    """Each of the two."""
    if request.param == "in memory":
        yield InMemory()
        return
    found = Real(request.getfixturevalue("broker"))
    yield found
    with suppress(RuntimeError):
        found.source.stop()


def test_messages_come_oldest_first_with_all_that_is_known_of_them(side: Real | InMemory) -> None:
    source: Source = side.source
    side.publish("quern/bed-c/c2", "17.1", "17.2")
    side.publish("quern/bed-c/c1", "16.9", qos=0)
    first, second, third = take(source, 3)
    assert (first.topic, first.payload, first.qos, first.dup, first.retain) == (
        "quern/bed-c/c2",
        b"17.1",
        1,
        False,
        False,
    )
    assert (second.payload, second.epoch, second.session) == (b"17.2", first.epoch, first.session)
    assert first.mid != second.mid
    assert (third.topic, third.qos, third.mid) == ("quern/bed-c/c1", 0, 0)
    assert first.session == source.session() == 1


def test_no_more_is_taken_than_asked_for(side: Real | InMemory) -> None:
    side.publish("quern/a", *map(str, range(5)))
    until(lambda: side.source.facts()["queued"] == 5)
    assert payloads(side.source.take(2, 0.0)) == ["0", "1"]
    assert payloads(side.source.take(9, 0.0)) == ["2", "3", "4"]
    assert side.source.take(9, 0.0) == []


def test_what_is_not_settled_comes_again_and_what_is_does_not(side: Real | InMemory) -> None:
    side.publish("quern/a", *map(str, range(4)))
    before = take(side.source, 4)
    side.settled(before[:2])
    side.reconnect()
    again = take(side.source, 2)
    assert payloads(again) == ["2", "3"]
    assert [(m.mid, m.dup, m.session) for m in again] == [(m.mid, True, 1) for m in before[2:]]
    assert again[0].epoch > before[0].epoch
    assert side.source.take(9, 0.3) == []


def test_a_settlement_of_an_older_connection_is_dropped(side: Real | InMemory) -> None:
    side.publish("quern/a", "0", "1")
    before = take(side.source, 2)
    side.reconnect()
    side.source.settle(before)
    assert payloads(take(side.source, 2)) == ["0", "1"]
    side.reconnect()
    again = take(side.source, 2)
    assert payloads(again) == ["0", "1"]


def test_what_waits_in_the_queue_outlives_the_connection(side: Real | InMemory) -> None:
    side.publish("quern/a", "0", "1")
    until(lambda: side.source.facts()["queued"] == 2)
    side.reconnect()
    found = take(side.source, 4)
    assert payloads(found) == ["0", "1", "0", "1"]
    assert [m.dup for m in found] == [False, False, True, True]
