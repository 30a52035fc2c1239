"""The simulators' line to the broker: publishes at QoS 1, takes orders into a bounded queue.

MQTT 3.1.1, for every broker knows it. Nothing is worked out in the library's thread.
"""

import contextlib
import json
import queue
import socket
import threading
from collections import deque
from datetime import datetime

from paho.mqtt.client import Client, ConnectFlags, MQTTMessage, MQTTMessageInfo, MQTTv311
from paho.mqtt.enums import CallbackAPIVersion, MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

QUEUED_MOST = 20_000
ORDERS_MOST = 100
MARKS_MOST = 50
"""Steps on their way to the broker at once: a wait for each would cost a round trip a step."""
ORDER_KEPT_BYTES = 4096
"""More than an order may have, so that a longer one is still seen to be too long."""


class Line:
    """One connection of our own client id; reconnects by itself."""

    def __init__(self, client_id: str, root: str, watch_status: bool) -> None:
        self.orders: queue.Queue[bytes] = queue.Queue(ORDERS_MOST)
        self.orders_lost = 0
        self.published = 0
        self.refused = 0
        self.up = threading.Event()
        self.judged = threading.Condition()
        self.judged_to_s = 0.0
        self._root, self._watch_status = root, watch_status
        self._last: MQTTMessageInfo | None = None
        self._marks: deque[MQTTMessageInfo] = deque()
        client = self._client = Client(
            CallbackAPIVersion.VERSION2, client_id=client_id, clean_session=True, protocol=MQTTv311
        )
        client.max_queued_messages_set(QUEUED_MOST)
        client.max_inflight_messages_set(100)
        client.reconnect_delay_set(1, 10)
        client.on_socket_open = _without_delay
        client.on_connect = self._on_connect
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message

    def open(self, host: str, port: int) -> None:
        """Begin to connect; `up` is set once it stands and orders are heard."""
        self._client.connect_async(host, port, keepalive=30)
        self._client.loop_start()

    def publish(self, topic: str, payload: bytes) -> None:
        """Hand a message over at QoS 1; one that finds the queue full is counted, not sent."""
        info = self._client.publish(topic, payload, qos=1)
        # What is published while the connection is down goes out on the next one.
        if info.rc in (MQTTErrorCode.MQTT_ERR_SUCCESS, MQTTErrorCode.MQTT_ERR_NO_CONN):
            self.published += 1
            self._last = info
        else:
            self.refused += 1

    def mark(self) -> None:
        """Count the last message as the end of a step."""
        if self._last is not None:
            self._marks.append(self._last)

    def has_room(self, within_s: float) -> bool:
        """Wait until few enough steps are on their way; False if there were still too many."""
        while len(self._marks) > MARKS_MOST:
            if not _taken(self._marks[0], within_s):
                return False
            self._marks.popleft()
        return True

    def settled(self, within_s: float) -> bool:
        """Wait until the broker has taken the last message; False if it did not within the time."""
        return self._last is None or _taken(self._last, within_s)

    def wait_judged(self, to_s: float, within_s: float) -> bool:
        """Wait until the gateway has judged up to a moment; False if it did not within the time."""
        with self.judged:
            return self.judged.wait_for(lambda: self.judged_to_s >= to_s, within_s)

    def close(self) -> None:
        """Leave in order."""
        self._client.disconnect()
        self._client.loop_stop()

    def _on_connect(
        self, client: Client, _data: object, _flags: ConnectFlags, code: ReasonCode, _props: Properties | None
    ) -> None:
        if code.is_failure:
            return
        topics = [f"{self._root}/sim/command"]
        if self._watch_status:
            topics.append(f"{self._root}/gateway/status")
        client.subscribe([(topic, 1) for topic in topics])

    def _on_subscribe(self, *_: object) -> None:
        self.up.set()

    def _on_disconnect(self, *_: object) -> None:
        self.up.clear()

    def _on_message(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        if message.topic.endswith("/gateway/status"):
            self._note_status(bytes(message.payload))
            return
        try:
            self.orders.put_nowait(bytes(message.payload[:ORDER_KEPT_BYTES]))
        except queue.Full:
            self.orders_lost += 1

    def _note_status(self, payload: bytes) -> None:
        to_s = judged_to_s(payload)
        if to_s is not None:
            with self.judged:
                self.judged_to_s = max(self.judged_to_s, to_s)
                self.judged.notify_all()


def judged_to_s(status: bytes) -> float | None:
    """How far a gateway's status says it has judged, Unix seconds; None for anything else."""
    try:
        return datetime.fromisoformat(json.loads(status)["judged_to"]).timestamp()
    except (ValueError, KeyError, TypeError, RecursionError):
        return None


def _taken(info: MQTTMessageInfo, within_s: float) -> bool:
    with contextlib.suppress(RuntimeError, ValueError):
        info.wait_for_publish(within_s)
        return info.is_published()
    return False


def _without_delay(_client: Client, _data: object, sock: object) -> None:
    """Small packets go out at once; else each waits for the acknowledgement of the one before."""
    if isinstance(sock, socket.socket):
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
