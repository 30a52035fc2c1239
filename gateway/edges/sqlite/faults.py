"""What SQLite complains about, in plain words and by whose fault it is."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from gateway.errors import StoreFault, StoreFull

#: The index beside the write-ahead log could not grow: SQLite calls that an I/O error, it is a full disk.
_NO_ROOM = frozenset({sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR_SHMSIZE})
_DAMAGED = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
_WORDS = {
    sqlite3.SQLITE_BUSY: "another program is writing to its file; close it",
    sqlite3.SQLITE_LOCKED: "another program holds its file; close it",
    sqlite3.SQLITE_READONLY: "its file may not be written to; mend its permissions",
    sqlite3.SQLITE_PERM: "its file may not be opened; mend its permissions",
    sqlite3.SQLITE_CANTOPEN: "its file cannot be opened; is it there, and may it be read?",
    sqlite3.SQLITE_IOERR: "the disk did not do what it was told; look at its health",
}


def store_fault(fault: sqlite3.Error) -> StoreFault:
    """The fault to raise in place of one of SQLite's."""
    code = getattr(fault, "sqlite_errorcode", None)
    name = getattr(fault, "sqlite_errorname", type(fault).__name__)
    said = f"({name}: {fault})"
    if code in _NO_ROOM:
        return StoreFull(f"the disk is full: the store cannot keep more {said}")
    primary = None if code is None else code & 0xFF
    if primary in _DAMAGED:
        return StoreFault(
            f"the store's file is damaged: keep a copy of it for repair and restore the last back-up {said}"
        )
    words = _WORDS.get(primary or 0, "its own fault or the library's")
    return StoreFault(f"the store cannot go on: {words} {said}")


@contextmanager
def faults() -> Iterator[None]:
    """Inside, whatever SQLite or its binding raises becomes a StoreFault; its cause stays attached."""
    try:
        yield
    except sqlite3.Error as fault:
        raise store_fault(fault) from fault
    except OverflowError as fault:
        raise StoreFault(f"the store keeps whole numbers of at most 64 bits ({fault})") from fault
