"""The reading side of the store: short read transactions on a connection that can change nothing."""

from __future__ import annotations

import shutil
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gateway.core.effects import Cause, TurnKnown
from gateway.core.inputs import Entry
from gateway.core.site import Site
from gateway.edges.sqlite import grains, lists, mirror, reads, web
from gateway.edges.sqlite.faults import faults
from gateway.edges.sqlite.place import DATABASE, RESERVE
from gateway.ports import (
    AlarmLine,
    Aside,
    Cursor,
    DueNotice,
    KeptEffect,
    Minute,
    MirrorState,
    NoticeLine,
    OrderedEffect,
    Quarter,
    RejectedCount,
    RejectedLine,
    Sizes,
    WebLine,
)


class Reader:
    """`ports.Reader` over one read-only SQLite connection. `opening.open_reader` makes it."""

    def __init__(self, db: sqlite3.Connection, directory: Path) -> None:
        self._db = db
        self._directory = directory
        self._turn = threading.RLock()
        self._depth = 0

    @contextmanager
    def snapshot(self) -> Iterator[None]:
        """As `ports.Reader.snapshot`; it nests, and the outermost decides the moment."""
        with self._turn, faults():
            if self._depth == 0:
                self._db.execute("BEGIN")
            self._depth += 1
            try:
                yield
            finally:
                self._depth -= 1
                if self._depth == 0 and self._db.in_transaction:
                    self._db.execute("ROLLBACK")

    def entries_after(self, n: int, most: int) -> list[Entry]:
        """As `ports.Reader.entries_after`."""
        with self.snapshot():
            return reads.entries_after(self._db, n, most)

    def last_stamp(self) -> tuple[int, int, int]:
        """As `ports.Reader.last_stamp`."""
        with self.snapshot():
            return reads.last_stamp(self._db)

    def load_judge(self) -> tuple[Cursor, bytes | None, Cursor]:
        """As `ports.Reader.load_judge`."""
        with self.snapshot():
            return reads.load_judge(self._db)

    def get_meta(self, key: str) -> str | None:
        """As `ports.Reader.get_meta`."""
        with self.snapshot():
            return reads.get_meta(self._db, key)

    def alarms(self, ended: bool, most: int = 1000) -> list[AlarmLine]:
        """As `ports.Reader.alarms`."""
        with self.snapshot():
            return lists.alarms(self._db, ended, most)

    def has_alarm(self, number: int) -> bool:
        """As `ports.Reader.has_alarm`."""
        with self._turn, faults():
            return lists.has_alarm(self._db, number)

    def notices(self, most: int) -> list[NoticeLine]:
        """As `ports.Reader.notices`."""
        with self.snapshot():
            return lists.notices(self._db, most)

    def due_notices(self) -> list[DueNotice]:
        """As `ports.Reader.due_notices`."""
        with self.snapshot():
            return lists.due_notices(self._db)

    def due_count(self) -> int:
        """As `ports.Reader.due_count`."""
        with self.snapshot():
            return lists.due_count(self._db)

    def turns(self, most: int = 1000) -> list[TurnKnown]:
        """As `ports.Reader.turns`."""
        with self.snapshot():
            return lists.turns(self._db, most)

    def rejected(self, most: int) -> list[RejectedLine]:
        """As `ports.Reader.rejected`."""
        with self.snapshot():
            return lists.rejected(self._db, most)

    def rejected_counts(self) -> list[RejectedCount]:
        """As `ports.Reader.rejected_counts`."""
        with self.snapshot():
            return lists.rejected_counts(self._db)

    def counts(self) -> dict[str, int]:
        """As `ports.Reader.counts`."""
        with self.snapshot():
            return dict(self._db.execute("SELECT name, count FROM total ORDER BY name"))

    def effects(self, after: Cause = (0, -1), most: int = 10_000) -> list[KeptEffect]:
        """As `ports.Reader.effects`."""
        with self.snapshot():
            return lists.effects(self._db, after, most)

    def effects_in_order(self, after: int, most: int) -> list[OrderedEffect]:
        """As `ports.MirrorReader.effects_in_order`."""
        with self.snapshot():
            return mirror.effects_in_order(self._db, after, most)

    def site_at(self, n: int) -> Site | None:
        """As `ports.MirrorReader.site_at`."""
        with self.snapshot():
            return mirror.site_at(self._db, n)

    def mirror(self) -> MirrorState | None:
        """As `ports.MirrorReader.mirror`."""
        with self.snapshot():
            return mirror.load(self._db)

    def aside(self, most: int, *, again: bool = False) -> list[Aside]:
        """As `ports.MirrorReader.aside`."""
        with self.snapshot():
            return mirror.aside(self._db, most, again)

    def count_aside(self) -> int:
        """As `ports.MirrorReader.count_aside`."""
        with self.snapshot():
            return mirror.count_aside(self._db)

    def minutes(self, probe: str, from_ms: int, to_ms: int, most: int = 1500) -> list[Minute]:
        """As `ports.Reader.minutes`."""
        with self.snapshot():
            return grains.minutes(self._db, probe, from_ms, to_ms, most)

    def quarters(self, probe: str, from_ms: int, to_ms: int, most: int = 1500) -> list[Quarter]:
        """As `ports.Reader.quarters`."""
        with self.snapshot():
            return grains.quarters(self._db, probe, from_ms, to_ms, most)

    def web_lines(self) -> list[WebLine]:
        """As `ports.WebReader.web_lines`."""
        with self.snapshot():
            return web.lines(self._db)

    def sizes(self) -> Sizes:
        """As `ports.Reader.sizes`."""
        path = self._directory / DATABASE
        free = shutil.disk_usage(self._directory).free
        log = path.with_name(f"{DATABASE}-wal")
        return Sizes(_bytes(path), _bytes(log), _bytes(self._directory / RESERVE), free)

    def close(self) -> None:
        """As `ports.Reader.close`."""
        with self._turn, faults():
            self._db.close()


def _bytes(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0
