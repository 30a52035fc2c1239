"""The mirror in the daemon: its thread, its way to the writer, and `mirror --resend` from outside."""

from __future__ import annotations

import logging
import random
import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from gateway.edges import control
from gateway.edges.clock import WallClock, real_mono_ms
from gateway.edges.sqlite import Reader, Writer, open_writer
from gateway.errors import GatewayError, NoAnswer, StoreHeld
from gateway.live.requests import Requests
from gateway.live.store import WITHIN_S, reader_of
from gateway.mirror import Mirror, stand_down
from gateway.ports import Aside, MirrorState
from gateway.settings import SeriesSettings

log = logging.getLogger(__name__)

RESEND = "mirror-resend"


def keeper(
    writer: Writer, requests: Requests
) -> Callable[[MirrorState, Sequence[Aside], Sequence[int]], int]:
    """Has the writer's thread keep what the mirror says; returns once it is committed."""

    def keep(state: MirrorState, aside: Sequence[Aside], gone: Sequence[int]) -> int:
        def work() -> int:
            with writer.atomic():
                writer.save_mirror(state, aside, gone)
            return 0

        return requests.do(work)

    return keep


class MirrorThread:
    """The mirror where the site file names a server; else nothing but the end of a former one's alarm."""

    def __init__(
        self, series: SeriesSettings | None, writer: Writer, requests: Requests, reader: Reader
    ) -> None:
        self._reader, self._record = reader, requests.record
        self._keep = keeper(writer, requests)
        self._stopping = threading.Event()
        self._interrupt: Callable[[], None] = lambda: None
        self.mirror = self._mirror(series) if series else None
        self._thread = threading.Thread(target=self._run, name="mirror", daemon=True)

    def _mirror(self, series: SeriesSettings) -> Mirror:
        # Only who has a server pays for the library: it takes 16 MB.
        from gateway.edges.influx import Influx

        real = WallClock()
        server = Influx(
            series.url, series.org, series.bucket, series.token, real,
            timeout_s=series.timeout_s, ca_file=series.tls_ca_file,
        )  # fmt: skip
        self._interrupt = server.interrupt
        return Mirror(
            server, f"{series.url} {series.org}/{series.bucket}", self._reader, keep=self._keep,
            record=self._record, clock=real, jitter=random.random, every_s=series.every_s,
            batch=series.batch, alarm_after_s=series.alarm_after_s, newest_days=series.newest_days,
        )  # fmt: skip

    def start(self) -> None:
        """Begin where the last run ended."""
        self._thread.start()

    def stop(self, within_s: float) -> bool:
        """Break off what is under way, it will be written again; whether the thread ended in time."""
        self._stopping.set()
        self._interrupt()
        self._thread.join(within_s)
        return not self._thread.is_alive()

    def facts(self) -> dict[str, Any] | None:
        """For `health`; None without a server."""
        if self.mirror is None:
            return None
        return {"moved_age_s": (real_mono_ms() - self.mirror.moved_ms) / 1000}

    def _run(self) -> None:
        if self.mirror is not None:
            self.mirror.run(self._stopping)
            return
        try:
            stand_down(self._reader, self._keep, self._record)
        except GatewayError as fault:
            log.warning("a former time-series server's alarm still stands: %s", fault)


def answering(handle: control.Handler, writer: Writer, requests: Requests) -> control.Handler:
    """The control socket's handler, which knows RESEND too: {"lines": n}."""

    def answer(request: dict[str, Any]) -> dict[str, Any]:
        if request.get("kind") != RESEND:
            return handle(request)
        try:
            return {"lines": requests.do(lambda: _mark(writer))}
        except GatewayError as fault:
            return {"fault": str(fault), "again": True}

    return answer


def _mark(writer: Writer) -> int:
    with writer.atomic():
        return writer.resend_mirror()


def resend(store: Path, within_s: float = WITHIN_S) -> int:
    """Have the lines kept aside sent again at the mirror's next turn; how many there are.

    By the daemon, or where none runs by this process, for the next one. Raises NoAnswer where neither could
    be had in time.
    """
    reader = reader_of(store)
    try:
        identity = reader.get_meta("site") or "", reader.get_meta("clock") or "wall"
    finally:
        reader.close()
    until_ms = real_mono_ms() + round(within_s * 1000)
    pause = threading.Event()
    while True:
        try:
            reply = control.ask(store, {"kind": RESEND}, max(0.1, (until_ms - real_mono_ms()) / 1000))
        except OSError:
            reply = {"fault": "no gateway answers"}
        if isinstance(reply.get("lines"), int):
            return int(reply["lines"])
        try:
            writer = open_writer(store, site_id=identity[0], clock_kind=identity[1])
        except StoreHeld as held:
            if real_mono_ms() >= until_ms:
                raise NoAnswer(f"{held}, and: {reply.get('fault')}") from held
            pause.wait(0.1)
            continue
        try:
            return _mark(writer)
        finally:
            writer.close()
