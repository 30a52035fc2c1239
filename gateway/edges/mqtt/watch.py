"""The conditions of the connection: broker, session, dropped, twin. Changes are handed out once, in order."""

from __future__ import annotations

from collections import deque

#: No connection for longer than this is an alarm's business.
BROKER_AFTER_S = 60.0
#: What a broker throws away is told at most this often.
DROPPED_EACH_S = 60.0

Change = tuple[str, bool, str]


class Watch:
    """Times are seconds of one clock that only grows."""

    def __init__(self, now_s: float) -> None:
        self._changes: deque[Change] = deque()
        self._on: set[str] = set()
        self._away_since_s: float | None = now_s
        self.dropped: int | None = None  #: by the broker since it started, of all clients; None: not told
        self._told: tuple[float, int] | None = None

    def ready(self, now_s: float) -> None:
        """Connected and subscribed."""
        self._away_since_s = None
        self.set("broker", False, "connected again")

    def away(self, now_s: float) -> None:
        """No longer connected."""
        if self._away_since_s is None:
            self._away_since_s = now_s

    def session_lost(self) -> None:
        """The broker has forgotten us: what it kept for us is gone. It happens, and has no end to report."""
        self._changes.append(("session", True, "the broker forgot us, messages may be missing"))

    def threw_away(self, now_s: float, count: int) -> None:
        """What the broker has counted. What it counted before we first heard is nobody's news, nor is less:
        then it was started again. It has no end to report."""
        self.dropped = count
        if self._told is None or count < self._told[1]:
            self._told = (now_s - DROPPED_EACH_S, count)
        told_s, before = self._told
        if count > before and now_s - told_s >= DROPPED_EACH_S:
            self._told = (now_s, count)
            self._changes.append(("dropped", True, f"{count - before} messages thrown away by the broker"))

    def look(self, now_s: float, why: str) -> None:
        """What has become true or false by time alone. `why` is the last fault of the connection."""
        if self._away_since_s is not None and now_s - self._away_since_s > BROKER_AFTER_S:
            self.set("broker", True, f"no connection to the broker for {BROKER_AFTER_S:.0f} s: {why}")

    def set(self, name: str, on: bool, detail: str) -> None:
        """Note a change; what stays as it was is no change."""
        if on == (name in self._on):
            return
        self._on.symmetric_difference_update({name})
        self._changes.append((name, on, detail))

    def changes(self) -> list[Change]:
        """Since the last call. May be called from another thread than the rest."""
        return [self._changes.popleft() for _ in range(len(self._changes))]
