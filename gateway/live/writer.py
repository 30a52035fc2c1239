"""The writer's thread: requests, messages, judgement, for ever; what it cannot handle ends the gateway."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable

from gateway.core.inputs import Condition, Delivery, Event
from gateway.edges.clock import real_mono_ms
from gateway.errors import StoreFull
from gateway.live.requests import Requests
from gateway.pipeline import Pipeline
from gateway.ports import Clock

log = logging.getLogger(__name__)

WAIT_S = 0.5
#: A clock that is not set for so long after the start is somebody's business (ours).
CLOCK_AFTER_MS = 5 * 60_000
_FULL_PAUSE_S = 1.0


class WriterThread:
    """Owns the pipeline from `start` to the end. `ended` is called when it ends, however."""

    def __init__(
        self, pipeline: Pipeline, requests: Requests, clock: Clock, ended: Callable[[], None]
    ) -> None:
        self._pipeline, self._requests, self._clock, self._ended = pipeline, requests, clock, ended
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._run, name="writer")
        self._began_ms = self.moved_ms = real_mono_ms()  #: when it last came round, for the watchdog
        self._clock_wrong = False
        self.fault: BaseException | None = None

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self, within_s: float) -> bool:
        """Finish the round, keep everything, say that the gateway stops; whether it did so in time."""
        self._stopping.set()
        self._thread.join(within_s)
        return not self._thread.is_alive()

    @property
    def alive(self) -> bool:
        """Whether it still runs."""
        return self._thread.is_alive()

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                self._round()
            self._requests.serve(self._commit)
            self._pipeline.end()
        except BaseException as fault:
            # Not caught to go on: a gateway that limps would look as if it watched.
            log.critical("the writer has failed; the gateway ends", exc_info=True)
            self.fault = fault
        finally:
            self._requests.close()
            self._ended()

    def _round(self) -> None:
        try:
            self._requests.serve(self._commit)
            self._look_at_clock()
            self._pipeline.step(WAIT_S)
        except StoreFull as fault:
            log.error("disk full, not even an event could be kept: %s", fault)
            self._stopping.wait(_FULL_PAUSE_S)
        self.moved_ms = real_mono_ms()

    def _commit(self, event: Event) -> int:
        number = self._pipeline.record(event)
        if not isinstance(event, Delivery):
            # Whoever wrote it down looks next, and must not read that nobody has answered.
            self._pipeline.judge()
        return number

    def _look_at_clock(self) -> None:
        wrong = not self._clock.trusted()
        if wrong and real_mono_ms() - self._began_ms < CLOCK_AFTER_MS:
            return
        if wrong != self._clock_wrong:
            self._pipeline.record(
                Condition("clock", wrong, "not set since the machine started" if wrong else "set")
            )
            self._clock_wrong = wrong
