"""Opening the store: for the one writer, and for readers who can change nothing."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from gateway.edges.sqlite import restored, schema
from gateway.edges.sqlite.faults import faults
from gateway.edges.sqlite.place import (
    DATABASE,
    RESERVE_BYTES,
    Lock,
    Reserve,
    make_directory,
    take_writers_place,
)
from gateway.edges.sqlite.reader import Reader
from gateway.edges.sqlite.reads import get_meta
from gateway.edges.sqlite.writer import Writer
from gateway.errors import StoreFault, StoreFull, StoreMismatch

#: STRICT tables came with this one.
OLDEST_SQLITE = (3, 37, 0)

# Only the writer's connection may ever run a checkpoint: SQLite before 3.51.3 can lose a commit where two
# connections do (https://sqlite.org/wal.html, "The WAL-reset bug"). Readers are opened mode=ro, which cannot.
_WRITER = (
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",
    "PRAGMA busy_timeout = 5000",
    "PRAGMA wal_autocheckpoint = 4000",
    "PRAGMA journal_size_limit = 67108864",
    "PRAGMA cache_size = -8000",
    "PRAGMA temp_store = MEMORY",
    "PRAGMA trusted_schema = OFF",
)
_READER = (
    "PRAGMA query_only = ON",
    "PRAGMA busy_timeout = 5000",
    "PRAGMA trusted_schema = OFF",
)


def open_writer(
    directory: Path,
    *,
    site_id: str,
    clock_kind: str,
    reserve_bytes: int = RESERVE_BYTES,
    connection: type[sqlite3.Connection] = sqlite3.Connection,
) -> Writer:
    """The writer's side of the store in this directory, made if need be. One thread at a time may use it.

    Raises StoreHeld if another process writes to it, StoreMismatch if it belongs to another site, another
    kind of clock or a newer gateway, StoreFull or StoreFault if it cannot be opened.
    """
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise StoreFault(f"SQLite {sqlite3.sqlite_version} is too old; 3.37 or newer is needed")
    make_directory(directory)
    lock = take_writers_place(directory)
    reserve = Reserve(directory, reserve_bytes)
    identity = {"site": site_id, "clock": clock_kind}
    try:
        try:
            writer = _writer(directory, lock, reserve, identity, connection)
        except StoreFull:
            # Even opening takes a little room. A gateway started again on a full disk must still call out.
            if not reserve.free():
                raise
            writer = _writer(directory, lock, reserve, identity, connection)
    except BaseException:
        lock.release()
        raise
    writer.restore_reserve()
    return writer


@faults()
def _writer(
    directory: Path,
    lock: Lock,
    reserve: Reserve,
    identity: dict[str, str],
    connection: type[sqlite3.Connection],
) -> Writer:
    db = sqlite3.connect(
        directory / DATABASE, isolation_level=None, check_same_thread=False, factory=connection
    )
    try:
        for pragma in _WRITER:
            db.execute(pragma)
        schema.migrate(db)
        writer = Writer(db, lock, reserve)
        _identify(writer, directory, identity)
        restored.enter(writer)
    except BaseException:
        db.close()
        raise
    return writer


def _identify(writer: Writer, directory: Path, identity: dict[str, str]) -> None:
    """A new store remembers whose it is; another one's is refused."""
    for key, words in (("site", "belongs to the site"), ("clock", "was kept by the clock")):
        kept = writer.get_meta(key)
        if kept is not None and kept != identity[key]:
            raise StoreMismatch(
                f"{directory}: this store {words} {kept!r}, not {identity[key]!r}; "
                "give another directory, or put back what it was"
            )
    if writer.get_meta("clock") is None:
        with writer.atomic():
            for key, value in identity.items():
                writer.set_meta(key, value)


def open_reader(directory: Path) -> Reader:
    """The reading side: sees what is committed, changes nothing, never stops the writer.

    Raises StoreFault if there is no store, StoreMismatch if its schema is not the one this gateway knows.
    """
    path = directory / DATABASE
    if not path.is_file():
        raise StoreFault(f"{directory}: there is no store here; the gateway makes one when it first runs")
    with faults():
        db = sqlite3.connect(
            f"{path.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None, check_same_thread=False
        )
        try:
            for pragma in _READER:
                db.execute(pragma)
            _check_schema(db)
        except BaseException:
            db.close()
            raise
    return Reader(db, directory)


def _check_schema(db: sqlite3.Connection) -> None:
    number, known = schema.version_of(db), schema.migrations()[-1].number
    schema.check_not_newer(number, known)
    if number < known or get_meta(db, "clock") is None:
        raise StoreMismatch(
            f"the store is of an older schema ({number}; this gateway reads {known}): "
            "run the gateway once to bring it up to date"
        )
