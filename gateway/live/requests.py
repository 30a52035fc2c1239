"""What other threads want committed: they hand it to the writer's thread and wait for the number."""

from __future__ import annotations

import queue
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as TooLate
from typing import Any, NamedTuple, TypeVar

from gateway.core.inputs import Event
from gateway.errors import GatewayError, NoAnswer

T = TypeVar("T")

MOST = 1000
WITHIN_S = 10.0


class _Request(NamedTuple):
    what: Event | Callable[[], Any]
    number: Future[Any]


class Requests:
    """`wake` tells the writer's thread that something waits. At most MOST wait at once."""

    def __init__(self, wake: Callable[[], None]) -> None:
        self._wake = wake
        self._waiting: queue.Queue[_Request] = queue.Queue(MOST)
        self._closed = False

    def record(self, event: Event, within_s: float = WITHIN_S) -> int:
        """The event's journal number once it is committed; raises NoAnswer, or what the store said."""
        number: int = self._ask(event, within_s)
        return number

    def do(self, work: Callable[[], T], within_s: float = WITHIN_S) -> T:
        """What this returns, called on the writer's thread outside any transaction; raises as `record`."""
        done: T = self._ask(work, within_s)
        return done

    def _ask(self, what: Event | Callable[[], Any], within_s: float) -> Any:
        request = _Request(what, Future())
        if self._closed:
            raise NoAnswer("the gateway is stopping")
        try:
            self._waiting.put(request, timeout=within_s)
        except queue.Full:
            raise NoAnswer(f"{MOST} requests wait already") from None
        self._wake()
        try:
            return request.number.result(within_s)
        except TooLate:
            # Taken back if the writer has not begun with it; else it will be committed all the same.
            begun = "it may still be kept" if not request.number.cancel() else "it was not kept"
            raise NoAnswer(f"the store did not answer within {within_s:g} s; {begun}") from None

    def serve(self, commit: Callable[[Event], int]) -> int:
        """Commit what waits, in order; how many. Called by the writer's thread only.

        A store that cannot keep an event is the asker's news; any other fault is the writer's, too.
        """
        served = 0
        while True:
            try:
                what, number = self._waiting.get_nowait()
            except queue.Empty:
                return served
            if not number.set_running_or_notify_cancel():
                continue
            try:
                number.set_result(what() if callable(what) else commit(what))
            except GatewayError as fault:
                number.set_exception(fault)
            except BaseException as fault:
                number.set_exception(NoAnswer(f"the gateway failed: {fault!r}"))
                raise
            served += 1

    def close(self) -> None:
        """Take nothing more; whoever waits still is told so."""
        self._closed = True
        while True:
            try:
                self._waiting.get_nowait().number.set_exception(NoAnswer("the gateway is stopping"))
            except queue.Empty:
                return
