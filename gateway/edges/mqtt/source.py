"""`ports.Source` over MQTT: one thread that connects for ever, fills the inbox and sends settlements."""

from __future__ import annotations

import logging
import os
import select
import threading
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from itertools import groupby
from operator import attrgetter
from typing import Any

from gateway.edges.mqtt.inbox import Inbox
from gateway.edges.mqtt.link import NAMES, Link
from gateway.edges.mqtt.options import Options
from gateway.edges.mqtt.retry import End, Retry
from gateway.edges.mqtt.watch import Watch
from gateway.ports import Message

log = logging.getLogger(__name__)

#: The longest the thread stands still, so that its liveness can be told.
TURN_S = 1.0
#: A broker that so often rather ended the connection than answer is not asked again what it threw away.
ASK_DROPPED = 3
#: How much the writer may be behind with statuses that could not be sent.
_STATUSES = 64


class MqttSource:
    """`monotonic` gives real seconds, `draw` numbers in [0, 1). `session` is what was kept of the last run:

    the number of the broker's session then, 0 for a store that has never been connected.
    """

    def __init__(
        self, options: Options, *, session: int, monotonic: Callable[[], float], draw: Callable[[], float]
    ) -> None:
        self._options = options
        self._now = monotonic
        self._inbox = Inbox(options.queue_messages, options.queue_bytes)
        self._retry = Retry(options.protocol, draw)
        self._watch = Watch(monotonic())
        self._session = session
        self._epoch = 0
        self._link: Link | None = None
        self._accepted_at_s: float | None = None
        self._paused_since_s: float | None = None
        self._fault = "not tried yet"
        self._asks = ASK_DROPPED
        self._settlements: deque[tuple[int, list[int]]] = deque()
        self._statuses: deque[bytes] = deque(maxlen=_STATUSES)
        self._stopping = threading.Event()
        self._bell_out, self._bell_in = os.pipe2(os.O_NONBLOCK | os.O_CLOEXEC)
        self._thread = threading.Thread(target=self._run, name="mqtt", daemon=True)
        self._turned_at_s = self._packet_at_s = self._sent_at_s = monotonic()
        self._counts = dict.fromkeys(
            ("received", "settled", "stale_settlements", "connections", "overflows"), 0
        )

    def start(self) -> None:
        """Begin to connect; returns at once."""
        self._thread.start()

    def stop(self, wait_s: float = 5.0) -> bool:
        """Send what waits, end the connection in order; whether the thread ended in time."""
        self._stopping.set()
        self._ring()
        self._inbox.wake()
        self._thread.join(wait_s)
        return not self._thread.is_alive()

    def take(self, most: int, wait_s: float) -> list[Message]:
        """As `ports.Source.take`."""
        taken = self._inbox.take(most, wait_s)
        if self._paused_since_s is not None and self._inbox.half_empty:
            self._ring()
        return taken

    def wake(self) -> None:
        """Let a waiting `take` return."""
        self._inbox.wake()

    def settle(self, messages: Sequence[Message]) -> None:
        """As `ports.Source.settle`: handed to the network thread, which sends the whole batch at once."""
        for epoch, group in groupby(messages, attrgetter("epoch")):
            self._settlements.append((epoch, [message.mid for message in group if message.qos]))
        self._ring()

    def publish_status(self, body: bytes) -> None:
        """As `ports.Source.publish_status`."""
        link = self._link
        if link is not None and link.ready:
            self._statuses.append(body)
            self._ring()

    def conditions(self) -> list[tuple[str, bool, str]]:
        """As `ports.Source.conditions`."""
        return self._watch.changes()

    def session(self) -> int:
        """As `ports.Source.session`."""
        return self._session

    def facts(self) -> dict[str, Any]:
        """As `ports.Source.facts`."""
        link, now_s = self._link, self._now()
        return {
            "connected": link is not None and link.ready,
            "protocol": NAMES[link.version] if link is not None and link.ready else None,
            "session_present": link.session_present if link is not None else None,
            "queued": len(self._inbox),
            "queued_bytes": self._inbox.size,
            **self._counts,
            "received": self._counts["received"] + (link.received if link is not None else 0),
            "reconnects": max(0, self._counts["connections"] - 1),
            "last_packet_age_s": now_s - self._packet_at_s,
            "loop_age_s": now_s - self._turned_at_s,
            "alive": self._thread.is_alive(),
            "twin": self._retry.twin,
            "dropped": self._watch.dropped,
            "fault": self._fault,
        }

    # The network thread ------------------------------------------------------------------------------

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                wait_s = self._connect_and_serve()
            except Exception as fault:  # whatever it is, this thread must not end
                log.exception("the broker's connection failed in an unforeseen way")
                self._fault = f"unforeseen: {fault!r}"
                wait_s = self._retry.after(End(self._now(), None, reached=False))
            self._rest(wait_s)

    def _connect_and_serve(self) -> float:
        """One connection, to its end; the seconds to wait before the next."""
        self._epoch += 1
        self._accepted_at_s = None
        link = Link(self._options, self._retry.version, self._epoch, self._inbox, self._asks > 0)
        reached = False
        try:
            link.open(self._accept)
            self._link, reached = link, True
            self._serve(link)
        except (OSError, ValueError) as fault:
            link.ended = link.ended or str(fault)
        finally:
            self._link = None
            self._counts["received"] += link.received
            self._asks -= link.asked
            link.close(orderly=self._stopping.is_set())
        return self._ended(link, reached)

    def _accept(self, link: Link) -> None:
        """The broker let us in; nothing has come yet."""
        if not link.session_present and self._session:
            self._session += 1
            self._watch.session_lost()
        self._session = self._session or 1
        link.session = self._session
        self._accepted_at_s = self._now()
        self._retry.accepted()
        self._counts["connections"] += 1
        log.info(
            "connected to %s:%d, MQTT %s, session %s", self._options.host, self._options.port,
            NAMES[link.version], "kept" if link.session_present else "new",
        )  # fmt: skip

    def _serve(self, link: Link) -> None:
        line = link.line
        if line is None:
            return
        poll = select.poll()
        poll.register(self._bell_out, select.POLLIN)
        number, wanted, opened_s, misc_s = line.fileno(), -1, self._now(), 0.0
        while link.ended is None and not self._stopping.is_set():
            self._send(link)
            reading = not self._paused()
            want = (select.POLLIN if reading else 0) | (select.POLLOUT if line.backlog else 0)
            if want != wanted:
                poll.register(number, want)
                wanted = want
            more = reading and line.pending()
            ready = dict(poll.poll(0 if more else TURN_S * 1000))
            now_s = self._turn(ready)
            if reading and (more or number in ready):
                self._read(link, now_s)
            elif ready.get(number, 0) & (select.POLLHUP | select.POLLERR):
                link.ended = "the connection broke while nothing was read"
            if now_s - misc_s >= TURN_S:
                misc_s = now_s
                self._look_after(link, now_s - opened_s)
        if self._stopping.is_set() and link.ended is None:
            self._send(link)

    def _paused(self) -> bool:
        """Whether the writer is so far behind that nothing more is read for now.

        A broker may send more than the receive maximum it was told (mosquitto 2.0.11 does, on draining a
        long queue). What is not read waits in the network, and then at the broker: nothing is lost by it.
        """
        if self._paused_since_s is not None:
            if self._inbox.half_empty:
                self._paused_since_s = None
        elif self._inbox.full:
            self._paused_since_s = self._now()
        return self._paused_since_s is not None

    def _look_after(self, link: Link, connected_s: float) -> None:
        """About once a second: keep the connection alive, or give it up."""
        options = self._options
        if link.session_present is None and connected_s > options.connack_s:
            link.ended = link.ended or f"no answer within {options.connack_s:g} s"
        elif self._paused_since_s is None:
            # While messages come and settlements go, the answer to a ping may stand far back in the stream:
            # paho would count the seconds until it and take a busy connection for a dead one.
            if self._now() - min(self._packet_at_s, self._sent_at_s) > options.keepalive_s / 2:
                link.misc()
        elif self._now() - self._paused_since_s > options.keepalive_s:
            # Unread for so long it would be taken for dead; what was not settled comes again.
            link.ended = link.ended or "more messages waited than there is room for"
            link.given_up = True
            self._counts["overflows"] += 1

    def _turn(self, ready: dict[int, int]) -> float:
        """What every turn of the loop does first; the time now."""
        now_s = self._turned_at_s = self._now()
        if self._bell_out in ready:
            os.read(self._bell_out, 4096)
        if self._accepted_at_s is not None and self._retry.calm(now_s - self._accepted_at_s):
            self._watch.set("twin", False, "nobody else has used our client id for a while")
        self._watch.look(now_s, self._fault)
        return now_s

    def _read(self, link: Link, now_s: float) -> None:
        was_ready = link.ready
        link.read()
        self._packet_at_s = now_s
        self._inbox.ring()
        if link.ready and not was_ready:
            self._watch.ready(now_s)
        if link.dropped is not None:
            self._watch.threw_away(now_s, link.dropped)

    def _send(self, link: Link) -> None:
        while self._settlements:
            epoch, mids = self._settlements.popleft()
            if epoch != link.epoch:
                self._counts["stale_settlements"] += len(mids)
                continue
            link.settle(mids)
            self._sent_at_s = self._turned_at_s
            self._counts["settled"] += len(mids)
        while self._statuses:
            link.publish(self._statuses.popleft())
        link.flush()

    def _ended(self, link: Link, reached: bool) -> float:
        now_s = self._now()
        lasted_s = None if self._accepted_at_s is None else now_s - self._accepted_at_s
        self._accepted_at_s = None
        if self._stopping.is_set():
            return 0.0
        self._fault = link.ended or "unknown"
        self._watch.away(now_s)
        refused = link.session_present is None and self._fault.startswith("the broker refused")
        wait_s = self._retry.after(
            End(now_s, lasted_s, reached, link.taken_over, link.unsupported, refused, link.given_up)
        )
        if self._retry.twin:
            self._watch.set(
                "twin", True, "thrown out again and again: does another program use our client id?"
            )
        log.warning("no broker: %s; next attempt in %.1f s", self._fault, wait_s)
        return wait_s

    def _rest(self, wait_s: float) -> None:
        """Wait, but turn; after an overflow until there is room again."""
        until_s = self._now() + wait_s
        poll = select.poll()
        poll.register(self._bell_out, select.POLLIN)
        while not self._stopping.is_set():
            now_s = self._turn(dict(poll.poll(min(TURN_S, max(0.0, until_s - self._now())) * 1000)))
            if now_s >= until_s and self._inbox.half_empty:
                return

    def _ring(self) -> None:
        with suppress(BlockingIOError):  # a bell that is full rings already
            os.write(self._bell_in, b".")
