"""The bounded queue between the network thread, which alone puts, and the writer, who alone takes."""

from __future__ import annotations

import threading
from collections import deque

from gateway.ports import Message

#: What a message costs beside its payload and topic, roughly.
_OVERHEAD = 200


class Inbox:
    """Messages in the order they came. `put` needs no lock; `ring`, after a handful, wakes the taker."""

    def __init__(self, messages: int, size: int) -> None:
        """At most `messages` of them and `size` bytes wait."""
        self._most = messages
        self._size = size
        self._waiting: deque[Message] = deque()
        self._bell = threading.Condition()
        self._woken = False
        # Each is written by one thread only.
        self._bytes_in = 0
        self._bytes_out = 0

    @property
    def full(self) -> bool:
        """Whether nothing more may be put; the last one put may be the one that made it full."""
        return len(self._waiting) >= self._most or self.size >= self._size

    def put(self, message: Message) -> None:
        """Take a message in."""
        self._bytes_in += len(message.payload) + len(message.topic) + _OVERHEAD
        self._waiting.append(message)

    def ring(self) -> None:
        """Wake the taker if there is something for it."""
        if self._waiting:
            with self._bell:
                self._bell.notify()

    def wake(self) -> None:
        """Let a waiting `take`, or else the next that would wait, return at once."""
        with self._bell:
            self._woken = True
            self._bell.notify()

    def take(self, most: int, wait_s: float) -> list[Message]:
        """The oldest, at most `most`; waits for the first at most `wait_s`."""
        waiting = self._waiting
        if not waiting and wait_s > 0:
            with self._bell:
                if not waiting and not self._woken:
                    self._bell.wait(wait_s)
                self._woken = False
        taken = [waiting.popleft() for _ in range(min(most, len(waiting)))]
        self._bytes_out += sum(len(m.payload) + len(m.topic) + _OVERHEAD for m in taken)
        return taken

    def __len__(self) -> int:
        return len(self._waiting)

    @property
    def size(self) -> int:
        """Bytes that wait."""
        return self._bytes_in - self._bytes_out

    @property
    def half_empty(self) -> bool:
        """Whether it is worth reading again after it was full."""
        return len(self._waiting) * 2 <= self._most and self.size * 2 <= self._size
