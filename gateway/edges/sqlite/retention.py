"""Letting raw readings go: oldest first, a few at a time, what they come to by the minute is kept for ever.

Old is what was committed long enough ago by running time, which no step of a clock can change. A reading the
judge or the mirror may still need stays. Figures are sums of committed readings: one that comes late, after
others of its minute were let go, is added to them when it goes itself, and `minutes` counts both together.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from typing import NamedTuple

from gateway.edges.sqlite import reads
from gateway.ports import READINGS_GONE, Minute

MINUTE_MS = 60_000
#: Journal numbers up to this one have been looked at.
UPTO = "readings_gone_upto"
#: So many stamps are looked at in one step, at most.
_STAMPS = 2000

_READ_STAMPS = """
    SELECT first_n, run_ms FROM stamp
    WHERE first_n >= coalesce((SELECT max(first_n) FROM stamp WHERE first_n <= ?), 0)
    ORDER BY first_n LIMIT ?
"""
_OLD = "SELECT n, probe, measured_at_ms, value, flags FROM reading WHERE n > ? AND n <= ? ORDER BY n LIMIT ?"
_KEPT = "SELECT count, last, last_ms, flags, low, high, total FROM minute WHERE probe = ? AND minute = ?"
_SPAN = """
    SELECT minute, count, last, last_ms, flags, low, high, total FROM minute
    WHERE probe = ? AND minute BETWEEN ? AND ? ORDER BY minute LIMIT ?
"""
_RAW = """
    SELECT measured_at_ms, value, flags FROM reading
    WHERE probe = ? AND measured_at_ms BETWEEN ? AND ? ORDER BY measured_at_ms
"""
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


class _Sum(NamedTuple):
    """What some readings of one minute come to."""

    times: int
    last: float
    last_ms: int
    flags: int
    low: float
    high: float
    total: float

    def plus(self, other: _Sum) -> _Sum:
        """Both together; of two last ones the later measured."""
        last = max((self.last_ms, self.last), (other.last_ms, other.last), key=lambda pair: pair[0])
        return _Sum(
            self.times + other.times,
            last[1],
            last[0],
            self.flags | other.flags,
            min(self.low, other.low),
            max(self.high, other.high),
            self.total + other.total,
        )

    @classmethod
    def kept(cls, row: tuple[int, float, int, int, float | None, float | None, float | None]) -> _Sum:
        """From a row of the table."""
        times, last, last_ms, flags, low, high, total = row
        if low is None or high is None or total is None:
            return cls(times, last, last_ms, flags, last, last, float(last))
        return cls(times, last, last_ms, flags, low, high, total)

    @property
    def row(self) -> tuple[int, float, int, int, float | None, float | None, float | None]:
        """For the table."""
        if self.times == 1:
            return (1, self.last, self.last_ms, self.flags, None, None, None)
        return (self.times, self.last, self.last_ms, self.flags, self.low, self.high, self.total)


def let_go(db: sqlite3.Connection, until_run_ms: int, most: int, *, mirrored: bool) -> int:
    """Let at most `most` readings go that were committed at or before that running time.

    Returns how many journal numbers were looked at; 0 means that nothing is old enough. `mirrored`: what the
    mirror has not taken stays.
    """
    upto = int(reads.get_meta(db, UPTO) or 0)
    old = min(_old_number(db, upto, until_run_ms), _free(db, mirrored))
    rows = db.execute(_OLD, (upto, old, most)).fetchall()
    if len(rows) == most:
        old = rows[-1][0]
    if old <= upto:
        return 0
    for (probe, minute), found in _by_minute((row[1:]) for row in rows).items():
        kept = db.execute(_KEPT, (probe, minute)).fetchone()
        whole = _Sum.kept(kept).plus(found) if kept else found
        db.execute(_PUT, (probe, minute, *whole.row))
    db.execute("DELETE FROM reading WHERE n > ? AND n <= ?", (upto, old))
    db.execute(_EMPTY_STAMPS, (upto, old + 1, old + 1))
    db.execute(_META, (UPTO, str(old)))
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


def _by_minute(rows: Iterable[tuple[int, int, float, int]]) -> dict[tuple[int, int], _Sum]:
    found: dict[tuple[int, int], _Sum] = {}
    for probe, measured_ms, value, flags in rows:
        minute, into_ms = divmod(measured_ms, MINUTE_MS)
        one = _Sum(1, value, into_ms, flags, value, value, float(value))
        key = (probe, minute)
        found[key] = found[key].plus(one) if key in found else one
    return found


def minutes(db: sqlite3.Connection, probe: str, from_ms: int, to_ms: int, most: int) -> list[Minute]:
    """As `ports.Reader.minutes`."""
    row = db.execute("SELECT id FROM probe WHERE name = ?", (probe,)).fetchone()
    if row is None or most <= 0:
        return []
    first, last = from_ms // MINUTE_MS, to_ms // MINUTE_MS
    found: dict[int, _Sum] = {}
    for minute, *kept in db.execute(_SPAN, (row[0], first, last, most)):
        found[minute] = _Sum.kept(tuple(kept))
    raw = db.execute(_RAW, (row[0], first * MINUTE_MS, last * MINUTE_MS + MINUTE_MS - 1))
    for (_, minute), fresh in _first_minutes(raw, most).items():
        found[minute] = found[minute].plus(fresh) if minute in found else fresh
    return [_shown(minute, found[minute]) for minute in sorted(found)[:most]]


def _first_minutes(raw: Iterable[tuple[int, float, int]], most: int) -> dict[tuple[int, int], _Sum]:
    """The sums of the first so many minutes; a span of months is not read whole."""
    taken: list[tuple[int, int, float, int]] = []
    seen: set[int] = set()
    for measured_ms, value, flags in raw:
        seen.add(measured_ms // MINUTE_MS)
        if len(seen) > most:
            break
        taken.append((0, measured_ms, value, flags))
    return _by_minute(taken)


def _shown(minute: int, what: _Sum) -> Minute:
    begin_ms = minute * MINUTE_MS
    mean = what.total / what.times
    return Minute(
        begin_ms, what.times, what.low, mean, what.high, what.last, begin_ms + what.last_ms, what.flags
    )
