"""A copy of the store in one file, and a look into a store or a copy: is it whole, and what is in it?

A copy is made inside one read transaction of a connection of its own, so it is the store of one moment, and
commits meanwhile neither wait for it nor start it again; only the log cannot be folded until it is done.
"""

from __future__ import annotations

import os
import sqlite3
import zlib
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any, NamedTuple

from gateway.core.inputs import Restored
from gateway.edges.sqlite import reads, restored, schema
from gateway.edges.sqlite.faults import faults, store_fault
from gateway.edges.sqlite.place import DATABASE, take_writers_place
from gateway.errors import StoreFault, StoreMismatch

#: 1 MB in one go, then a breath: the writer's commits need the same disk.
PAGES = 256
_NAMED = 20
_TABLES = ("reading", "event", "effect", "alarm", "notice", "attempt", "turn", "rejected")


class Contents(NamedTuple):
    """What a store holds: whose it is, its newest entry and the times of the first and it, rows by table."""

    site: str
    clock: str
    schema: int
    newest: int
    first_at_ms: int
    last_at_ms: int
    rows: dict[str, int]


class Look(NamedTuple):
    """What was found in a file: its contents, if they could be read, and everything that is wrong."""

    contents: Contents | None
    faults: list[str]


def make(directory: Path, target: Path, breathe: Callable[[], None]) -> Contents:
    """Copy the store as it is now into a new file; what is in it. `breathe` is called after each megabyte,
    and what it raises ends the copying.

    Raises StoreFault where it cannot be made or is not equal to the store; no file is left then.
    """
    if target.exists():
        raise StoreFault(f"{target}: there is a file already")
    try:
        with faults():
            held = _copy(directory / DATABASE, target, breathe)
        _fsync(target)
        found = look(target)
        if found.faults or found.contents != held:
            why = "; ".join(found.faults) or f"{found.contents} in place of {held}"
            raise StoreFault(f"{target}: the copy is not equal to the store: {why}")
    except BaseException:
        target.unlink(missing_ok=True)
        raise
    return held


def _copy(source: Path, target: Path, breathe: Callable[[], None]) -> Contents:
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600))
    with closing(_connect(source)) as store, closing(_open(target, "")) as copy:
        store.execute("BEGIN")
        held = _contents(store)
        copy.execute("PRAGMA synchronous = OFF")  # made durable in one go, once it is whole
        store.backup(copy, pages=PAGES, progress=lambda *_: breathe())
        store.execute("ROLLBACK")
        # One file without a log beside it: what is copied elsewhere is then whole.
        copy.execute("PRAGMA journal_mode = DELETE").fetchall()
    return held


def look(path: Path) -> Look:
    """Whether a store's file (or a copy) is whole: SQLite's own check, every count, every number."""
    if not path.is_file():
        return Look(None, [f"{path}: there is no such file"])
    try:
        with closing(_connect(path)) as db:
            db.execute("BEGIN")
            schema.check_not_newer(schema.version_of(db), schema.migrations()[-1].number)
            said = [row[0] for row in db.execute(f"PRAGMA integrity_check({_NAMED})")]
            if said != ["ok"]:
                return Look(None, [f"{path}: damaged: {line}" for line in said])
            return Look(_contents(db), list(_inner_faults(db)))
    except sqlite3.Error as fault:
        return Look(None, [f"{path}: {store_fault(fault)}"])
    except (StoreFault, StoreMismatch) as fault:
        return Look(None, [f"{path}: {fault}"])


def place(file: Path, directory: Path, moved: Restored) -> None:
    """Put a copy into an empty store's place, whole or not at all; the first to write to it enters `moved`.

    Raises StoreFault or StoreHeld.
    """
    target, fresh = directory / DATABASE, directory / f"{DATABASE}.new"
    directory.mkdir(mode=0o700, parents=True, exist_ok=True)
    lock = take_writers_place(directory)
    try:
        beside = [path for path in directory.glob(f"{DATABASE}*") if path != fresh]
        if beside:
            raise StoreFault(
                f"{beside[0]}: there is a store here already; move it away, or name another place"
            )
        fresh.unlink(missing_ok=True)
        write_through(file, fresh)
        with faults(), closing(_open(fresh, "")) as db:
            db.execute("PRAGMA synchronous = FULL")
            restored.mark(db, moved)
        os.link(fresh, target)
    except OSError as fault:
        raise StoreFault(f"{target}: cannot be written ({fault})") from fault
    finally:
        fresh.unlink(missing_ok=True)
        lock.release()
    _fsync(directory)


def write_through(source: Path, target: Path) -> None:
    """Copy bytes into a new file, for its owner only, and have the disk keep them. Raises OSError."""
    handle = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
    try:
        with source.open("rb") as given, os.fdopen(handle, "wb") as taken:
            while part := given.read(1 << 20):
                taken.write(part)
            taken.flush()
            os.fsync(taken.fileno())
        if target.stat().st_size != source.stat().st_size:
            raise OSError(f"{target}: not as long as {source}")
    except BaseException:
        target.unlink(missing_ok=True)
        raise


def _fsync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _connect(path: Path) -> sqlite3.Connection:
    """To read only. A copy has no log beside it and may lie where nothing can be written."""
    alone = not path.with_name(f"{path.name}-wal").exists() and path.name != DATABASE
    return _open(path, "&immutable=1" if alone else "", mode="ro")


def _open(path: Path, more: str, mode: str = "rw") -> sqlite3.Connection:
    return sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}{more}",
        uri=True,
        isolation_level=None,
        check_same_thread=False,
    )


def _contents(db: sqlite3.Connection) -> Contents:
    meta: dict[str, Any] = dict(db.execute("SELECT key, value FROM meta WHERE key IN ('site', 'clock')"))
    first = db.execute("SELECT at_ms FROM stamp ORDER BY first_n LIMIT 1").fetchone()
    return Contents(
        meta.get("site", ""),
        meta.get("clock", ""),
        schema.version_of(db),
        reads.newest_number(db),
        first[0] if first else 0,
        reads.newest_stamp(db)[0],
        {table: db.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in _TABLES},  # noqa: S608
    )


def _inner_faults(db: sqlite3.Connection) -> list[str]:
    """What SQLite cannot know: that the journal has no gap and that all else refers to what is there."""
    found = [
        f"{row[0]} row {row[1]} refers to a {row[2]} that is not there"
        for row in db.execute("PRAGMA foreign_key_check").fetchmany(_NAMED)
    ]
    held = _contents(db)
    twice = db.execute("SELECT count(*) FROM event WHERE n IN (SELECT n FROM reading)").fetchone()[0]
    if twice:
        found.append(f"{twice} journal numbers are used twice")
    known = held.rows["reading"] + held.rows["event"] + reads.gone(db)
    if known != held.newest:
        found.append(f"the journal counts to {held.newest} and holds {known}")
    lost = db.execute("SELECT count(*) FROM reading WHERE probe NOT IN (SELECT id FROM probe)").fetchone()[0]
    if lost:
        found.append(f"{lost} readings are of no probe")
    if reads.judge_cursor(db).n > held.newest:
        found.append("the judge is further than the journal")
    for (body,) in db.execute("SELECT body FROM snapshot"):
        try:
            zlib.decompress(body)
        except zlib.error as fault:
            found.append(f"a snapshot of the judge cannot be read: {fault}")
    return found
