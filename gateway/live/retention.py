"""Readings are summed by the quarter of an hour, and leave the store when they are old enough.

Both rarely, in small steps between the writer's rounds.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from gateway.edges.clock import real_mono_s
from gateway.edges.sqlite import Writer
from gateway.errors import GatewayError
from gateway.live.requests import Requests

log = logging.getLogger(__name__)

DAY_MS = 86_400_000
#: What came since is summed after so long; what is not summed yet is added by whoever looks.
QUARTERS_EVERY_S = 60.0
#: Beginning again after so long; a day's readings then leave in a few hundred steps at most.
EVERY_S = 3600.0
#: The writer is held no longer than this in one step: above it steps get smaller, below half of it larger.
STEP_S = 0.025
FEW, MANY = 20, 2000
#: After a step the writer is left alone for so many times as long as it took.
REST = 10


class _Pace:
    """Steps of one kind on the writer's thread, as large as holds it no longer than it may be held."""

    def __init__(self, writer: Writer, change: Callable[[int], int]) -> None:
        self._writer, self._change = writer, change
        self.most, self.took_s, self.longest_s = 200, 0.0, 0.0

    def step(self) -> tuple[int, bool]:
        """One transaction: what it did, and whether that was as much as it might have done."""
        began_s, most = real_mono_s(), self.most
        with self._writer.atomic():
            done = self._change(most)
        self.took_s = real_mono_s() - began_s
        self.longest_s = max(self.longest_s, self.took_s)
        if self.took_s > STEP_S:
            self.most = max(FEW, self.most // 2)
        elif self.took_s < STEP_S / 2:
            self.most = min(MANY, self.most * 5 // 4)
        return done, done >= most


class Retention:
    """One thread that only asks the writer's thread. `mirrored`: the mirror's place counts, too."""

    def __init__(self, keep_days: float, writer: Writer, requests: Requests, *, mirrored: bool) -> None:
        self._keep_ms = round(keep_days * DAY_MS)
        self._writer, self._requests, self._mirrored = writer, requests, mirrored
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="retention", daemon=True)
        self._going, self._summing = _Pace(writer, self._let_go), _Pace(writer, writer.add_quarters)

    @property
    def longest_s(self) -> float:
        """The longest that one step has held the writer."""
        return max(self._going.longest_s, self._summing.longest_s)

    def start(self) -> None:
        """Look at once, then each minute and each hour."""
        self._thread.start()

    def stop(self, within_s: float) -> bool:
        """Begin no further step; whether the thread ended in time."""
        self._stopping.set()
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        due_s = real_mono_s()
        while not self._stopping.is_set():
            self._try(self.sum_up)
            if real_mono_s() >= due_s:
                self._try(self.turn)
                due_s = real_mono_s() + EVERY_S
            self._stopping.wait(QUARTERS_EVERY_S)

    def _try(self, work: Callable[[], int]) -> None:
        try:
            work()
        except GatewayError as fault:
            log.warning("old readings stay for now: %s", fault)
        except Exception:
            log.exception("old readings stay: a fault of the gateway's own")

    def sum_up(self) -> int:
        """Step until the quarters hold the newest reading; how many readings went in. Raises GatewayError."""
        summed, more = 0, True
        while more and not self._stopping.is_set():
            step, more = self._requests.do(self._summing.step)
            summed += step
            self._stopping.wait(self._summing.took_s * REST if more else 0.0)
        return summed

    def turn(self) -> int:
        """Step until nothing is old enough; how many journal numbers were passed. Raises GatewayError."""
        passed = 0
        while not self._stopping.is_set() and (step := self._requests.do(self._going.step)[0]):
            passed += step
            self._stopping.wait(self._going.took_s * REST)
        if passed:
            longest_ms = self._going.longest_s * 1000
            log.info("old readings let go: %d entries, longest %.0f ms", passed, longest_ms)
        return passed

    def _let_go(self, most: int) -> int:
        _, _, run_ms = self._writer.last_stamp()
        return self._writer.let_go(run_ms - self._keep_ms, most, mirrored=self._mirrored)
