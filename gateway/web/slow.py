"""Failures to log in slow down whoever fails, and a name that is tried a little."""

from __future__ import annotations

import threading
from collections.abc import Callable

#: So many failures are free; then the wait doubles. A name is never shut for long: that would be a way to
#: keep somebody out (figures ours).
FREE, LONGEST_PEER_S, LONGEST_NAME_S = 5, 900, 30
FORGOTTEN_MS = 3_600_000
_MOST = 2000


class Slow:
    """Counts failures by name and by where they came from; bounded."""

    def __init__(self, real_ms: Callable[[], int]) -> None:
        self._real_ms = real_ms
        self._failed: dict[tuple[str, str], tuple[int, int]] = {}
        self._turn = threading.Lock()

    def wait_s(self, name: str, peer: str) -> int:
        """How long this name, from there, has to wait; 0 for not at all."""
        with self._turn:
            waits = (
                self._left_s(("name", name), LONGEST_NAME_S),
                self._left_s(("peer", peer), LONGEST_PEER_S),
            )
        return max(waits)

    def _left_s(self, key: tuple[str, str], longest_s: int) -> int:
        count, last_ms = self._failed.get(key, (0, 0))
        since_ms = self._real_ms() - last_ms
        if count < FREE or since_ms > FORGOTTEN_MS:
            return 0
        whole_s = min(longest_s, 1 << min(count - FREE + 1, 20))
        return max(0, -(-(whole_s * 1000 - since_ms) // 1000))

    def failed(self, name: str, peer: str) -> None:
        """Somebody has failed."""
        now_ms = self._real_ms()
        with self._turn:
            for key in (("name", name[:80]), ("peer", peer)):
                count, last_ms = self._failed.pop(key, (0, 0))
                self._failed[key] = (1 if now_ms - last_ms > FORGOTTEN_MS else count + 1, now_ms)
            while len(self._failed) > _MOST:
                del self._failed[next(iter(self._failed))]

    def went_well(self, name: str) -> None:
        """Somebody has logged in: nothing is held against that name. Where they came from is still slowed:
        else an account of one's own would buy more tries at another."""
        with self._turn:
            self._failed.pop(("name", name), None)
