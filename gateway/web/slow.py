"""Failures to log in slow down whoever fails, and a name that is tried a little; a start forgives nothing."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterable

from gateway.errors import GatewayError
from gateway.ports import WebLine
from gateway.web.keep import Keep
from gateway.web.secret import digest

log = logging.getLogger(__name__)

KIND = "slow"
#: So many failures are free; then the wait doubles. A name is never shut for long: that would be a way to
#: keep somebody out (figures ours).
FREE, LONGEST_PEER_S, LONGEST_NAME_S = 5, 900, 30
FORGOTTEN_MS = 3_600_000
#: What is held in memory, and of it in the store: only who has to wait, so that nobody fills it for nothing.
MOST, MOST_KEPT = 2000, 200

_Failed = tuple[int, int]


class Slow:
    """Counts failures by name and by where they came from; bounded. Any thread may call it.

    By their digests: what is typed as a name may have been the password.
    """

    def __init__(
        self,
        keep: Keep,
        real_ms: Callable[[], int],
        lines: Iterable[WebLine] = (),
        *,
        most: int = MOST,
        most_kept: int = MOST_KEPT,
    ) -> None:
        self._keep, self._real_ms, self._most, self._most_kept = keep, real_ms, most, most_kept
        kept = [line for line in lines if line.kind == KIND]
        found = sorted((line.body["last_ms"], line.body["count"], line.key) for line in kept)
        self._failed: dict[str, _Failed] = {key: (count, last_ms) for last_ms, count, key in found}
        self._kept = {line.key: None for line in kept}
        self._turn = threading.Lock()

    def wait_s(self, name: str, peer: str) -> int:
        """How long this name, from there, has to wait; 0 for not at all."""
        with self._turn:
            waits = (self._left_s(_name(name), LONGEST_NAME_S), self._left_s(_peer(peer), LONGEST_PEER_S))
        return max(waits)

    def _left_s(self, key: str, longest_s: int) -> int:
        count, last_ms = self._failed.get(key, (0, 0))
        now_ms = self._real_ms()
        if last_ms > now_ms:
            # The clock was wrong then: nobody is kept out until it comes to that time again.
            last_ms = now_ms
            self._failed[key] = (count, now_ms)
        since_ms = now_ms - last_ms
        if count < FREE or since_ms > FORGOTTEN_MS:
            return 0
        whole_s = min(longest_s, 1 << min(count - FREE + 1, 20))
        return max(0, -(-(whole_s * 1000 - since_ms) // 1000))

    def failed(self, name: str, peer: str) -> None:
        """Somebody has failed."""
        now_ms, keep, gone = self._real_ms(), {}, []
        with self._turn:
            for key in (_name(name), _peer(peer)):
                count, last_ms = self._failed.pop(key, (0, 0))
                self._failed[key] = (1 if now_ms - last_ms > FORGOTTEN_MS else count + 1, now_ms)
                if self._failed[key][0] >= FREE:
                    keep[key] = self._failed[key]
            while len(self._failed) > self._most:
                gone += self._unkept(next(iter(self._failed)))
            for key in keep:
                self._kept.pop(key, None)
                self._kept[key] = None
            while len(self._kept) > self._most_kept:
                oldest = next(iter(self._kept))
                del self._kept[oldest]
                gone.append(oldest)
        self._write(keep, gone)

    def went_well(self, name: str) -> None:
        """Somebody has logged in: nothing is held against that name. Where they came from is still slowed:
        else an account of one's own would buy more tries at another."""
        with self._turn:
            gone = self._unkept(_name(name))
        self._write({}, gone)

    def sweep(self) -> None:
        """Forget what is long past; now and then."""
        now_ms, gone = self._real_ms(), list[str]()
        with self._turn:
            # Either way: what lies far ahead was kept while the clock was wrong.
            past = [key for key, one in self._failed.items() if abs(now_ms - one[1]) > FORGOTTEN_MS]
            for key in past:
                gone += self._unkept(key)
        self._write({}, gone)

    def _unkept(self, key: str) -> list[str]:
        """Forget one; it, if it is in the store, too."""
        self._failed.pop(key, None)
        there = key in self._kept
        self._kept.pop(key, None)
        return [key] if there else []

    def _write(self, keep: dict[str, _Failed], gone: list[str]) -> None:
        try:
            for key, (count, last_ms) in keep.items():
                body = {"count": count, "last_ms": last_ms}
                self._keep.put(KIND, key, last_ms + FORGOTTEN_MS, body)
            for key in gone:
                self._keep.drop(KIND, key)
        except GatewayError as fault:
            # Who failed is slowed all the same, until the next start.
            log.warning("how often logging in failed could not be kept: %s", fault)


def _name(name: str) -> str:
    return digest(f"name {name[:80]}")


def _peer(peer: str) -> str:
    return digest(f"peer {peer}")
