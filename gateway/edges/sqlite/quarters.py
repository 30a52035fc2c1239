"""What readings come to by the quarter of an hour, kept beside the journal so that a week is drawn at once.

The table holds the sum of every reading up to one journal number, and that number moves in the transaction
that adds to it: nothing is counted twice or left out, wherever it stops. A late reading has a high number,
so it mends its quarter when its turn comes; what has no turn yet is added when somebody looks. A store that
let readings go before there were quarters begins with its minutes; until that is done nothing more goes.
"""

from __future__ import annotations

import sqlite3

from gateway.edges.sqlite import reads
from gateway.edges.sqlite.sums import MINUTE_MS, QUARTER_MS, Sum, by_span

#: Journal numbers up to this one are in the table; "" while minutes of before are still being taken over.
UPTO = "quarters_upto"
#: The last minute that was taken over: the probe's number and the minute's.
_FROM_MINUTES = "quarters_minute"
_A_QUARTER = QUARTER_MS // MINUTE_MS

_NEXT = "SELECT n, probe, measured_at_ms, value, flags FROM reading WHERE n > ? ORDER BY n LIMIT ?"
_MINUTES = """
    SELECT probe, minute, count, last, last_ms, flags, low, high, total FROM minute
    WHERE (probe, minute) > (?, ?) ORDER BY probe, minute LIMIT ?
"""
_KEPT = "SELECT count, last, last_ms, flags, low, high, total FROM quarter WHERE probe = ? AND quarter = ?"
_PUT = "INSERT OR REPLACE INTO quarter VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
_META = "INSERT INTO meta VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value"


def place(db: sqlite3.Connection) -> int | None:
    """The journal number the table is made up to; None while minutes of before are still to be taken over."""
    found = reads.get_meta(db, UPTO)
    return int(found) if found else None


def add_next(db: sqlite3.Connection, most: int) -> int:
    """Add at most so many readings (or minutes of before) to the table; how many there were.

    Fewer than `most` means that the table is made up to the newest entry.
    """
    upto, taken = place(db), 0
    if upto is None:
        taken = _take_minutes(db, most)
        if taken == most:
            return taken
        upto, most = place(db) or 0, most - taken
    rows = db.execute(_NEXT, (upto, most)).fetchall()
    newest = rows[-1][0] if len(rows) == most else reads.newest_number(db)
    if newest > upto:
        _add(db, by_span((row[1:] for row in rows), QUARTER_MS))
        db.execute(_META, (UPTO, str(newest)))
    return taken + len(rows)


def _take_minutes(db: sqlite3.Connection, most: int) -> int:
    """Take the next minutes over. After the last one the journal follows, from where readings have gone."""
    after = reads.get_meta(db, _FROM_MINUTES)
    probe, minute = (int(part) for part in after.split()) if after else (-1, 0)
    rows = db.execute(_MINUTES, (probe, minute, most)).fetchall()
    found: dict[tuple[int, int], Sum] = {}
    for owner, number, *kept in rows:
        quarter, into = divmod(number, _A_QUARTER)
        one = Sum.kept(tuple(kept)).later(into * MINUTE_MS)
        key = (owner, quarter)
        found[key] = found[key].plus(one) if key in found else one
    _add(db, found)
    if rows:
        db.execute(_META, (_FROM_MINUTES, f"{rows[-1][0]} {rows[-1][1]}"))
    if len(rows) < most:
        db.execute(_META, (UPTO, reads.get_meta(db, reads.GONE_UPTO) or "0"))
    return len(rows)


def _add(db: sqlite3.Connection, found: dict[tuple[int, int], Sum]) -> None:
    for (probe, quarter), fresh in found.items():
        kept = db.execute(_KEPT, (probe, quarter)).fetchone()
        whole = Sum.kept(kept).plus(fresh) if kept else fresh
        db.execute(_PUT, (probe, quarter, *whole.row))


def made_up_to(db: sqlite3.Connection, n: int, most: int) -> int:
    """How far the table is made up, after one step of at most so many rows if that is not as far as `n`.

    -1 while minutes of before are still being taken over.
    """
    at = place(db)
    if at is None or at < n:
        add_next(db, most)
        at = place(db)
    return -1 if at is None else at
