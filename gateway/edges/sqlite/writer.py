"""The writer's side of the store: every change in one transaction, on one connection."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import wraps
from typing import Any, Concatenate, ParamSpec, TypeVar

from gateway.core.effects import Effect
from gateway.core.inputs import Delivery, Entry, Event
from gateway.core.reading import Reading, Rejected
from gateway.edges.sqlite import effects as outcome
from gateway.edges.sqlite import mirror, quarters, reads, retention, web
from gateway.edges.sqlite.append import Appender
from gateway.edges.sqlite.beside import Beside
from gateway.edges.sqlite.faults import faults
from gateway.edges.sqlite.place import Lock, Reserve
from gateway.ports import Added, Aside, Cursor, MirrorState, Numbers

P = ParamSpec("P")
T = TypeVar("T")


def _change(
    method: Callable[Concatenate[Writer, P], T],
) -> Callable[Concatenate[Writer, P], T]:
    """A change is made inside `atomic()`; SQLite's complaints come out as StoreFault."""

    @wraps(method)
    def checked(self: Writer, /, *args: P.args, **kwargs: P.kwargs) -> T:
        if not self._open:
            raise RuntimeError(f"{method.__name__} is called outside atomic()")
        with faults():
            return method(self, *args, **kwargs)

    return checked


class Writer:
    """`ports.Journal` over one SQLite connection; `opening.open_writer` makes it."""

    def __init__(self, db: sqlite3.Connection, lock: Lock, reserve: Reserve) -> None:
        self._db = db
        self._lock: Lock | None = lock
        self._reserve = reserve
        self._appender = Appender(db)
        self._beside = Beside(db)
        self._open = False
        self._stale = True

    @contextmanager
    def atomic(self) -> Iterator[None]:
        """As `ports.Journal.atomic`; after a rollback all that memory holds is drawn from the file again."""
        if self._open:
            raise RuntimeError("atomic() does not nest")
        self._roll_back()  # what is still open is a transaction that could not be rolled back when it failed
        with faults():
            self._db.execute("BEGIN IMMEDIATE")
        self._open = True
        try:
            with faults():
                self._recall()
            yield
            with faults():
                self._db.execute("COMMIT")
        except BaseException:
            self._stale = True
            self._roll_back()
            raise
        finally:
            self._open = False

    def _recall(self) -> None:
        if self._stale:
            self._appender.recall()
            self._stale = False

    def _roll_back(self) -> None:
        # SQLite has rolled back by itself after a full disk or an I/O error; a second time would be an error.
        if self._db.in_transaction:
            with suppress(sqlite3.Error):  # the fault that led here is the one to report
                self._db.execute("ROLLBACK")

    @_change
    def add_readings(self, at_ms: int, run_ms: int, readings: Sequence[Reading]) -> Added:
        """As `ports.Journal.add_readings`."""
        return self._appender.add_readings(at_ms, run_ms, readings)

    @_change
    def add_event(self, at_ms: int, run_ms: int, event: Event) -> Entry:
        """As `ports.Journal.add_event`; a Delivery is noted with its notice in the same transaction."""
        entry = self._appender.add_event(at_ms, run_ms, event)
        if isinstance(event, Delivery):
            outcome.keep_delivery(self._db, entry.n, at_ms, event)
        return entry

    @_change
    def keep_rejected(self, at_ms: int, rejected: Sequence[Rejected]) -> None:
        """As `ports.Journal.keep_rejected`."""
        self._beside.keep_rejected(at_ms, rejected)

    @_change
    def note_counts(self, /, **counts: int) -> None:
        """As `ports.Journal.note_counts`."""
        self._beside.note_counts(counts)

    @_change
    def remember_delivery(self, digest: bytes, keep: int) -> bool:
        """As `ports.Journal.remember_delivery`."""
        return self._beside.remember(digest, keep)

    @_change
    def save_effects(self, effects: Sequence[Effect], cursor: Cursor, snapshot: bytes | None) -> None:
        """As `ports.Journal.save_effects`. An effect that differs from the one kept for its cause changes
        nothing and is counted as `effects_differing`."""
        differing = sum(not outcome.keep(self._db, effect) for effect in effects)
        if differing:
            self._beside.note_counts({"effects_differing": differing})
        outcome.keep_judge(self._db, cursor, snapshot)

    @_change
    def set_meta(self, key: str, value: str) -> None:
        """As `ports.Journal.set_meta`."""
        self._beside.set_meta(key, value)

    @_change
    def put_web(self, kind: str, key: str, ends_ms: int | None, body: dict[str, Any]) -> None:
        """As `ports.WebWriter.put_web`."""
        web.put(self._db, kind, key, ends_ms, body)

    @_change
    def drop_web(self, kind: str, key: str) -> bool:
        """As `ports.WebWriter.drop_web`."""
        return web.drop(self._db, kind, key)

    @_change
    def save_mirror(self, state: MirrorState, aside: Sequence[Aside], gone: Sequence[int]) -> None:
        """As `ports.MirrorWriter.save_mirror`."""
        mirror.save(self._db, state, aside, gone)

    @_change
    def resend_mirror(self) -> int:
        """As `ports.MirrorWriter.resend_mirror`."""
        return mirror.resend(self._db)

    @_change
    def let_go(self, until_run_ms: int, most: int, *, mirrored: bool) -> int:
        """As `retention.let_go`."""
        looked_at = retention.let_go(self._db, until_run_ms, most, mirrored=mirrored)
        if looked_at:
            self._stale = True
        return looked_at

    @_change
    def add_quarters(self, most: int) -> int:
        """As `quarters.add_next`."""
        return quarters.add_next(self._db, most)

    def entries_after(self, n: int, most: int) -> list[Entry]:
        """As `ports.Journal.entries_after`."""
        with faults():
            return reads.entries_after(self._db, n, most)

    def last_stamp(self) -> tuple[int, int, int]:
        """As `ports.Journal.last_stamp`."""
        with faults():
            return reads.last_stamp(self._db)

    def load_judge(self) -> tuple[Cursor, bytes | None, Cursor]:
        """As `ports.Journal.load_judge`."""
        with faults():
            return reads.load_judge(self._db)

    def numbers(self) -> Numbers:
        """As `ports.Journal.numbers`."""
        with faults():
            return reads.numbers(self._db)

    def get_meta(self, key: str) -> str | None:
        """As `ports.Journal.get_meta`."""
        with faults():
            return reads.get_meta(self._db, key)

    def schema(self) -> int:
        """The number of the newest migration this file has had."""
        with faults():
            return int(self._db.execute("PRAGMA user_version").fetchone()[0])

    def checkpoint(self) -> None:
        """As `ports.Journal.checkpoint`; folds as much as the readers of the moment allow, waits for none."""
        if self._open:
            raise RuntimeError("checkpoint is called inside atomic()")
        with faults():
            self._db.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchall()

    def free_reserve(self) -> bool:
        """Give up the room held back for a full disk, so that alarms still commit; whether there was any."""
        return self._reserve.free()

    def restore_reserve(self) -> bool:
        """Hold room back again if there is enough; whether the reserve stands afterwards."""
        return self._reserve.restore()

    def close(self) -> None:
        """Close the file and give the writer's place up; a second time does nothing."""
        if self._open:
            raise RuntimeError("close is called inside atomic()")
        if self._lock is None:
            return
        lock, self._lock = self._lock, None
        try:
            with faults():
                self._db.close()
        finally:
            lock.release()
