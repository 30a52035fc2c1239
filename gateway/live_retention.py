"""Raw readings that are old enough leave the store: rarely, in small steps between the writer's rounds."""

from __future__ import annotations

import logging
import threading

from gateway.edges.clock import real_mono_s
from gateway.edges.sqlite import Writer
from gateway.errors import GatewayError
from gateway.live_requests import Requests

log = logging.getLogger(__name__)

DAY_MS = 86_400_000
#: Beginning again after so long; a day's readings then leave in a few hundred steps at most.
EVERY_S = 3600.0
#: The writer is held no longer than this in one step: above it steps get smaller, below half of it larger.
STEP_S = 0.025
FEW, MANY = 20, 2000
#: After a step the writer is left alone for so many times as long as it took.
REST = 10


class Retention:
    """One thread that only asks the writer's thread. `mirrored`: the mirror's place counts, too."""

    def __init__(self, keep_days: float, writer: Writer, requests: Requests, *, mirrored: bool) -> None:
        self._keep_ms = round(keep_days * DAY_MS)
        self._writer, self._requests, self._mirrored = writer, requests, mirrored
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="retention", daemon=True)
        self._most, self._took_s = 200, 0.0
        self.longest_s = 0.0  #: that one step has held the writer

    def start(self) -> None:
        """Look at once, then each hour."""
        self._thread.start()

    def stop(self, within_s: float) -> bool:
        """Begin no further step; whether the thread ended in time."""
        self._stopping.set()
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stopping.is_set():
            try:
                self.turn()
            except GatewayError as fault:
                log.warning("old readings stay for now: %s", fault)
            except Exception:
                log.exception("old readings stay: a fault of the gateway's own")
            self._stopping.wait(EVERY_S)

    def turn(self) -> int:
        """Step until nothing is old enough; how many journal numbers were passed. Raises GatewayError."""
        passed = 0
        while not self._stopping.is_set() and (step := self._requests.do(self._step)):
            passed += step
            self._stopping.wait(self._took_s * REST)
        if passed:
            log.info("old readings let go: %d entries, longest %.0f ms", passed, self.longest_s * 1000)
        return passed

    def _step(self) -> int:
        """On the writer's thread."""
        began_s = real_mono_s()
        _, _, run_ms = self._writer.last_stamp()
        with self._writer.atomic():
            passed = self._writer.let_go(run_ms - self._keep_ms, self._most, mirrored=self._mirrored)
        self._took_s = real_mono_s() - began_s
        self.longest_s = max(self.longest_s, self._took_s)
        if self._took_s > STEP_S:
            self._most = max(FEW, self._most // 2)
        elif self._took_s < STEP_S / 2:
            self._most = min(MANY, self._most * 5 // 4)
        return passed
