"""The judge's place: the engine's state in memory, and what is kept of it so that it can be had again."""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from typing import Any, Protocol

from gateway.core.effects import Effect
from gateway.core.inputs import Entry
from gateway.errors import StoreMismatch
from gateway.ports import READINGS_GONE, Cursor, Journal, Numbers

log = logging.getLogger(__name__)

#: Journal entries judged in one go when there is much to catch up.
CHUNK = 5000
#: A full snapshot after so much running time, but in a fast clock not more often than this in real time.
SNAPSHOT_MS, SNAPSHOT_REAL_MS = 60_000, 5000
#: Without effects the place is kept so long (real) after the last time: with entries, with time alone.
SAVE_MS, SAVE_IDLE_MS = 1000, 10_000


CANNOT_BEGIN_AGAIN = (
    "the judge's state was kept by another version of the gateway, and old readings were let go, so the "
    "journal cannot be judged from its beginning: run the version before this one"
)


class Judge(Protocol):
    """`gateway.core.engine`, or what stands in for it."""

    def new(self) -> Any:
        """The state of a store in which nothing has happened."""

    def dump(self, state: Any) -> bytes:
        """The whole state."""

    def load(self, data: bytes) -> Any:
        """The state of a dump; raises ValueError for bytes of another version."""

    def advance(self, state: Any, entries: Sequence[Entry], until_run_ms: int) -> list[Effect]:
        """Judge entries, and ticks up to a running time."""

    def renumber(self, state: Any, numbers: Numbers) -> None:
        """Let alarms, notices and turns that are still to come have numbers above these."""


class Bench:
    """Where the judge sits. `seen` is how far the state has come; what is kept may be a little behind.

    Effects that could not be kept (a full disk) wait, and go with the next ones. A state of another version
    is made again from the journal; what was judged before stands as it was kept, and nobody is called for it.
    """

    def __init__(self, judge: Judge, journal: Journal, real_ms: Callable[[], int]) -> None:
        self._judge, self._journal, self._real_ms = judge, journal, real_ms
        self._again_to = Cursor(0, 0)
        self._state, self.seen = self._restored()
        self._effects: list[Effect] = []
        self.told = 0  #: how often effects were kept since the start
        self._saved, self._snapped = self.seen, self.seen
        self._saved_real_ms = self._snapped_real_ms = real_ms()

    def _restored(self) -> tuple[Any, Cursor]:
        judged, snapshot, at = self._journal.load_judge()
        if snapshot is not None:
            try:
                return self._judge.load(snapshot), at
            except ValueError as fault:
                if int(self._journal.get_meta(READINGS_GONE) or 0):
                    raise StoreMismatch(CANNOT_BEGIN_AGAIN) from fault
                log.warning("the judge begins again at the journal's first entry: %s", fault)
                self._again_to = judged
        return self._judge.new(), Cursor(0, 0)

    def advance(self, entries: Sequence[Entry], until_run_ms: int) -> None:
        """Judge the entries that follow on `seen`, and the time up to a running time."""
        self._effects += self._judge.advance(self._state, entries, until_run_ms)
        self.seen = Cursor(entries[-1].n if entries else self.seen.n, until_run_ms)

    @property
    def state(self) -> Any:
        """The judge's state, to be looked at on the writer's thread and kept by nobody."""
        return self._state

    def catch_up(self, until_run_ms: int) -> None:
        """Judge everything the journal holds beyond the state, keeping what comes of it on the way."""
        if self._again_to.n:
            self._judge_again()
        while entries := self._journal.entries_after(self.seen.n, CHUNK):
            self.advance(entries, entries[-1].run_ms)
            self.save()
        self.advance([], until_run_ms)

    def _judge_again(self) -> None:
        """Up to where another version had come, for the state alone."""
        end = self._again_to
        while most := min(CHUNK, end.n - self.seen.n):
            entries = self._journal.entries_after(self.seen.n, most)
            self.advance(entries, entries[-1].run_ms)
        self.advance([], max(end.run_ms, self.seen.run_ms))
        self._effects = []
        self._judge.renumber(self._state, self._journal.numbers())
        self._again_to = Cursor(0, 0)
        self.save(snapshot=True)

    @property
    def due(self) -> bool:
        """Whether it is time to keep the place."""
        since_ms = self._real_ms() - self._saved_real_ms
        patience_ms = SAVE_IDLE_MS if self.seen.n == self._saved.n else SAVE_MS
        return bool(self._effects) or since_ms >= patience_ms

    def save(self, snapshot: bool = False) -> bool:
        """Keep effects and place in one transaction; whether there were effects. Raises StoreFull."""
        real_ms = self._real_ms()
        snapshot = snapshot or (
            self.seen.run_ms - self._snapped.run_ms >= SNAPSHOT_MS
            and real_ms - self._snapped_real_ms >= SNAPSHOT_REAL_MS
        )
        body = self._judge.dump(self._state) if snapshot else None
        with self._journal.atomic():
            self._journal.save_effects(self._effects, self.seen, body)
        had = bool(self._effects)
        self.told += had
        self._effects, self._saved, self._saved_real_ms = [], self.seen, real_ms
        if snapshot:
            self._snapped, self._snapped_real_ms = self.seen, real_ms
        return had
