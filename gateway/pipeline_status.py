"""The retained status (contract C5): how far the gateway has come, for whoever waits for it."""

from __future__ import annotations

import json
from collections.abc import Callable

from gateway.core.moment import rfc3339
from gateway.ports import Clock, Source

EVERY_MS = 5000


class Status:
    """`received` and `settled` count messages of this run, without the gateway's own topics."""

    def __init__(
        self, source: Source, clock: Clock, real_ms: Callable[[], int], notices_due: Callable[[], int]
    ) -> None:
        self.received = 0
        self.settled = 0
        self._source = source
        self._clock = clock
        self._real_ms = real_ms
        self._notices_due = notices_due
        self._told_ms = real_ms() - EVERY_MS

    def due(self) -> bool:
        """Whether the last one is old."""
        return self._real_ms() - self._told_ms >= EVERY_MS

    def tell(self, state: str, committed: int, judged: int, judged_to_ms: int) -> None:
        """Publish: the newest journal number, the newest judged, and the calendar time judged to."""
        body = {
            "state": state,
            # The calendar may stand up to a second behind what was judged to; what is told must not.
            "at": rfc3339(max(self._clock.wall_ms(), judged_to_ms)),
            "received": self.received,
            "settled": self.settled,
            "committed": committed,
            "judged": judged,
            "judged_to": rfc3339(judged_to_ms),
            "notices_due": self._notices_due(),
        }
        self._source.publish_status(json.dumps(body).encode())
        self._told_ms = self._real_ms()
