"""Letting raw readings go: oldest first, a few at a time, what they come to by the minute is kept for ever.

Old is what was committed long enough ago by running time, which no step of a clock can change. A reading the
judge or the mirror may still need stays. Figures are sums of committed readings: where some of a minute were
let go and others not yet, `grains` counts both together. One that comes after others of its minute were let
go is refused: it may be one of them, and would be counted twice. No reading goes before it is in the sum of
its quarter of an hour.
"""

from __future__ import annotations

import sqlite3

from gateway.edges.sqlite import quarters, reads
from gateway.edges.sqlite.sums import MINUTE_MS, Sum, by_span
from gateway.ports import READINGS_GONE

#: So many stamps are looked at in one step, at most.
_STAMPS = 2000

_READ_STAMPS = """
    SELECT first_n, run_ms FROM stamp
    WHERE first_n >= coalesce((SELECT max(first_n) FROM stamp WHERE first_n <= ?), 0)
    ORDER BY first_n LIMIT ?
"""
_OLD = "SELECT n, probe, measured_at_ms, value, flags FROM reading WHERE n > ? AND n <= ? ORDER BY n LIMIT ?"
_KEPT = "SELECT count, last, last_ms, flags, low, high, total FROM minute WHERE probe = ? AND minute = ?"
_PUT = "INSERT OR REPLACE INTO minute VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_META = "INSERT INTO meta VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value"
# Entries of a stamp that has none any more are looked for nowhere.
_EMPTY_STAMPS = """
    DELETE FROM stamp WHERE first_n IN (
        SELECT a.first_n FROM (
            SELECT first_n, lead(first_n) OVER (ORDER BY first_n) AS next_n FROM stamp
            WHERE first_n >= coalesce((SELECT max(first_n) FROM stamp WHERE first_n <= ?), 0)
                AND first_n <= ?
        ) AS a
        WHERE a.next_n IS NOT NULL AND a.next_n <= ?
            AND NOT EXISTS (SELECT 1 FROM event WHERE n >= a.first_n AND n < a.next_n)
            AND NOT EXISTS (SELECT 1 FROM reading WHERE n >= a.first_n AND n < a.next_n)
    )
"""


def let_go(db: sqlite3.Connection, until_run_ms: int, most: int, *, mirrored: bool) -> int:
    """Let at most `most` readings go that were committed at or before that running time.

    Returns how many journal numbers were looked at; 0 means that nothing is old enough, or that the quarters
    are not far enough yet. `mirrored`: what the mirror has not taken stays.
    """
    upto = int(reads.get_meta(db, reads.GONE_UPTO) or 0)
    old = min(_old_number(db, upto, until_run_ms), _free(db, mirrored))
    rows = db.execute(_OLD, (upto, old, most)).fetchall()
    if len(rows) == most:
        old = rows[-1][0]
    if old > upto:
        old = min(old, quarters.made_up_to(db, old, most))
    if old <= upto:
        return 0
    rows = [row for row in rows if row[0] <= old]
    for (probe, minute), found in by_span((row[1:] for row in rows), MINUTE_MS).items():
        kept = db.execute(_KEPT, (probe, minute)).fetchone()
        whole = Sum.kept(kept).plus(found) if kept else found
        db.execute(_PUT, (probe, minute, *whole.row))
    db.execute("DELETE FROM reading WHERE n > ? AND n <= ?", (upto, old))
    db.execute(_EMPTY_STAMPS, (upto, old + 1, old + 1))
    db.execute(_META, (reads.GONE_UPTO, str(old)))
    db.execute(_META, (READINGS_GONE, str(reads.gone(db) + len(rows))))
    return old - upto


def _old_number(db: sqlite3.Connection, upto: int, until_run_ms: int) -> int:
    """The last journal number after `upto` whose stamp is old enough, looking at some stamps only."""
    stamps = db.execute(_READ_STAMPS, (upto + 1, _STAMPS)).fetchall()
    for first_n, run_ms in stamps:
        if run_ms > until_run_ms:
            return int(first_n) - 1
    if len(stamps) == _STAMPS:
        return int(stamps[-1][0]) - 1
    return reads.newest_number(db)


def _free(db: sqlite3.Connection, mirrored: bool) -> int:
    """The last journal number that nobody has to see again; never the newest, or it would be given twice."""
    judged = db.execute("SELECT min(n) FROM snapshot").fetchone()[0]
    written = db.execute("SELECT min(n) FROM mirror").fetchone()[0] if mirrored else None
    needed = [judged or 0, written or 0] if mirrored else [judged or 0]
    return min(*needed, reads.newest_number(db) - 1)
