"""What both sides read in the same way: the journal in order, its newest stamp, the judge's place."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Iterator

from gateway.core.inputs import Entry, Input, event_from_plain
from gateway.core.reading import Reading
from gateway.errors import StoreFault
from gateway.ports import READINGS_GONE, Cursor, Numbers

#: Beside the journal: retention has looked at numbers up to this one.
GONE_UPTO = "readings_gone_upto"

_READINGS = """
    SELECT r.n, p.name, r.measured_at_ms, r.value, r.flags, r.sequence, r.battery
    FROM reading AS r JOIN probe AS p ON p.id = r.probe
    WHERE r.n > ? ORDER BY r.n LIMIT ?
"""
_STAMPS = """
    SELECT first_n, at_ms, run_ms FROM stamp
    WHERE first_n >= (SELECT max(first_n) FROM stamp WHERE first_n <= ?) AND first_n <= ?
    ORDER BY first_n
"""


def entries_after(db: sqlite3.Connection, n: int, most: int) -> list[Entry]:
    """Journal entries above `n`, in order, at most `most`."""
    if most <= 0:
        return []
    found: list[tuple[int, Input]] = [
        (row[0], Reading._make(row[1:])) for row in db.execute(_READINGS, (n, most))
    ]
    events = db.execute("SELECT n, kind, body FROM event WHERE n > ? ORDER BY n LIMIT ?", (n, most))
    found += [(number, _event(number, kind, body)) for number, kind, body in events]
    found.sort(key=lambda pair: pair[0])
    return list(_stamped(db, found[:most]))


def _event(n: int, kind: str, body: str) -> Input:
    try:
        return event_from_plain(kind, json.loads(body))
    except ValueError as fault:
        raise StoreFault(f"journal entry {n} cannot be read: {fault}") from fault


def _stamped(db: sqlite3.Connection, found: list[tuple[int, Input]]) -> Iterator[Entry]:
    if not found:
        return
    stamps = db.execute(_STAMPS, (found[0][0], found[-1][0])).fetchall()
    if not stamps:
        raise StoreFault(f"journal entry {found[0][0]} has no stamp: the store's file is damaged")
    k = 0
    for n, what in found:
        while k + 1 < len(stamps) and stamps[k + 1][0] <= n:
            k += 1
        yield Entry(n, stamps[k][1], stamps[k][2], what)


def newest_number(db: sqlite3.Connection) -> int:
    """The newest journal number; 0 when empty."""
    row = db.execute(
        "SELECT max(coalesce((SELECT max(n) FROM reading), 0), coalesce((SELECT max(n) FROM event), 0))"
    ).fetchone()
    return int(row[0])


def gone(db: sqlite3.Connection) -> int:
    """How many readings were let go because they are older than the site keeps them."""
    return int(get_meta(db, READINGS_GONE) or 0)


def newest_stamp(db: sqlite3.Connection) -> tuple[int, int]:
    """(at_ms, run_ms) of the newest entry; zeros when empty."""
    row = db.execute("SELECT at_ms, run_ms FROM stamp ORDER BY first_n DESC LIMIT 1").fetchone()
    return (row[0], row[1]) if row else (0, 0)


def last_stamp(db: sqlite3.Connection) -> tuple[int, int, int]:
    """As `ports.Journal.last_stamp`: where the judge ran on past the newest entry, both times do."""
    at_ms, run_ms = newest_stamp(db)
    n = newest_number(db)
    beyond_ms = max(0, judge_cursor(db).run_ms - run_ms) if n else 0
    return n, at_ms + beyond_ms, run_ms + beyond_ms


def judge_cursor(db: sqlite3.Connection) -> Cursor:
    """How far the judge has come; zeros before it began."""
    row = db.execute("SELECT n, run_ms FROM judge").fetchone()
    return Cursor(*row) if row else Cursor(0, 0)


def numbers(db: sqlite3.Connection) -> Numbers:
    """As `ports.Journal.numbers`."""
    row = db.execute(
        "SELECT coalesce((SELECT max(number) FROM alarm), 0), coalesce((SELECT max(number) FROM notice), 0),"
        " coalesce((SELECT max(turn) FROM turn), 0)"
    ).fetchone()
    return Numbers(*row)


def load_judge(db: sqlite3.Connection) -> tuple[Cursor, bytes | None, Cursor]:
    """(cursor, newest snapshot, the cursor that snapshot was taken at)."""
    cursor = judge_cursor(db)
    row = db.execute("SELECT n, run_ms, body FROM snapshot ORDER BY id DESC LIMIT 1").fetchone()
    if row is None:
        return cursor, None, Cursor(0, 0)
    try:
        return cursor, zlib.decompress(row[2]), Cursor(row[0], row[1])
    except zlib.error as fault:
        raise StoreFault(
            f"the judge's snapshot cannot be read: the store's file is damaged ({fault})"
        ) from fault


def get_meta(db: sqlite3.Connection, key: str) -> str | None:
    """A value kept beside the journal."""
    row = db.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
    return None if row is None else str(row[0])
