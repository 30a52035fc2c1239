"""What the tests of the source share: a real one, one in memory, and ways to publish and wait."""

import random
import subprocess
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from typing import Any

from gateway.edges.mqtt import MqttSource, Options
from gateway.ports import Message
from tests.broker import Broker

ROOT = "quern"
WAIT_S = 15.0


def until(true: Callable[[], Any], wait_s: float = WAIT_S) -> Any:
    """Wait for something to become true and return it; fails the test if it does not."""
    ends_s = time.monotonic() + wait_s
    pause = threading.Event()
    while not (found := true()):
        assert time.monotonic() < ends_s, "it did not happen in time"
        pause.wait(0.01)
    return found


def options(broker: Broker, **given: Any) -> Options:
    """As the gateway's own, with short waits."""
    fields: dict[str, Any] = {
        "host": broker.host,
        "port": broker.port,
        "client_id": "quern-gateway",
        "root": ROOT,
        "subscribe": (f"{ROOT}/#",),
    }
    return Options(**{**fields, **given})


def real(broker: Broker, session: int = 0, **given: Any) -> MqttSource:
    """A source that has been started; its reconnections wait as little as they may."""
    source = MqttSource(options(broker, **given), session=session, monotonic=time.monotonic, draw=lambda: 0.0)
    source.start()
    return source


def connected(source: MqttSource) -> MqttSource:
    """The source, once it is connected and subscribed."""
    until(lambda: source.facts()["connected"])
    return source


def publish(broker: Broker, topic: str, *payloads: str, qos: int = 1, retain: bool = False) -> None:
    """Let mosquitto_pub send these, one after the other."""
    more = ["-r"] if retain else []
    text = "".join(f"{payload}\n" for payload in payloads)
    command = ["mosquitto_pub", *broker.client_args, "-q", str(qos), "-t", topic, "-l", *more]
    subprocess.run(command, input=text, text=True, check=True, timeout=WAIT_S)


def take(source: Any, count: int) -> list[Message]:
    """That many messages, in the order they come."""
    found: list[Message] = []
    ends_s = time.monotonic() + WAIT_S
    while len(found) < count:
        assert time.monotonic() < ends_s, f"{len(found)} of {count} messages came"
        found += source.take(count - len(found), 0.2)
    return found


def payloads(messages: Sequence[Message]) -> list[str]:
    """What the messages say."""
    return [message.payload.decode() for message in messages]


class Remembered:
    """A source in memory, with a broker of its own that keeps what is not settled.

    `test_source.py` holds it to the same contract as the real one.
    """

    def __init__(self) -> None:
        self.settled: list[Message] = []
        self.statuses: list[bytes] = []
        self.changes: list[tuple[str, bool, str]] = []
        self.epoch = 1
        self.number = 1
        self._mid = 0
        self._queue: deque[Message] = deque()
        self._unsettled: dict[int, Message] = {}

    def publish(self, topic: str, *payloads: str | bytes, qos: int = 1, retain: bool = False) -> None:
        """Somebody publishes."""
        for given in payloads:
            payload = given.encode() if isinstance(given, str) else given
            self._mid = self._mid % 65535 + 1 if qos else self._mid
            message = Message(
                topic, payload, qos, self._mid if qos else 0, False, retain, self.epoch, self.number
            )
            if qos:
                self._unsettled[message.mid] = message
            self._queue.append(message)

    def reconnect(self, session_kept: bool = True) -> None:
        """The connection is lost and comes again; what waits in the queue stays there."""
        self.epoch += 1
        if not session_kept:
            self.number += 1
            self._mid = 0
            self._unsettled.clear()
        again = [message._replace(dup=True, epoch=self.epoch) for message in self._unsettled.values()]
        self._unsettled = {message.mid: message for message in again}
        self._queue.extend(again)

    def restarted(self) -> "Remembered":
        """The gateway is killed: a new source, to which the broker sends again what was not settled."""
        self._queue.clear()
        self.reconnect()
        return self

    def take(self, most: int, wait_s: float) -> list[Message]:
        return [self._queue.popleft() for _ in range(min(most, len(self._queue)))]

    def settle(self, messages: Sequence[Message]) -> None:
        for message in messages:
            if message.qos and message.epoch == self.epoch:
                self._unsettled.pop(message.mid, None)
                self.settled.append(message)

    def unsettle(self, messages: Sequence[Message]) -> None:
        """Settlements that never reached the broker."""
        self.settled = [message for message in self.settled if message not in messages]
        self._unsettled |= {message.mid: message for message in messages}

    def publish_status(self, body: bytes) -> None:
        self.statuses.append(body)

    def conditions(self) -> list[tuple[str, bool, str]]:
        found, self.changes = self.changes, []
        return found

    def session(self) -> int:
        return self.number

    def wake(self) -> None:
        """It never waits."""

    def facts(self) -> dict[str, Any]:
        return {"connected": True, "queued": len(self._queue), "settled": len(self.settled)}


def seeded() -> Callable[[], float]:
    """Numbers in [0, 1), the same in every run."""
    return random.Random(8).random
