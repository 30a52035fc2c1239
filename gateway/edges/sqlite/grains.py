"""What a probe said by the minute and by the quarter of an hour: kept sums and what is still raw."""

from __future__ import annotations

import sqlite3
from bisect import bisect_left
from collections.abc import Iterable
from functools import partial

from gateway.edges.sqlite import reads
from gateway.edges.sqlite.quarters import place
from gateway.edges.sqlite.sums import MINUTE_MS, QUARTER_MS, Sum, by_span
from gateway.ports import Minute, Quarter

#: Up to so many entries not yet in the table are looked through; of more, the probe's own are sought.
FEW = 20_000

_MINUTES = """
    SELECT minute, count, last, last_ms, flags, low, high, total FROM minute
    WHERE probe = ? AND minute BETWEEN ? AND ? ORDER BY minute LIMIT ?
"""
_RAW = """
    SELECT measured_at_ms, value, flags FROM reading
    WHERE probe = ? AND measured_at_ms BETWEEN ? AND ? ORDER BY measured_at_ms
"""
# Made in SQLite, since a page of twenty probes and a week is made of thirteen thousand of them.
_QUARTERS = f"""
    SELECT quarter * {QUARTER_MS}, count, coalesce(low, last), coalesce(total, last) * 1.0 / count,
        coalesce(high, last), last, quarter * {QUARTER_MS} + last_ms, flags
    FROM quarter WHERE probe = ? AND quarter BETWEEN ? AND ? ORDER BY quarter LIMIT ?
"""  # noqa: S608 - a constant of ours
_QUARTER = "SELECT count, last, last_ms, flags, low, high, total FROM quarter WHERE probe = ? AND quarter = ?"
# `Quarter._make` without a call of Python's for each row.
_quarter = partial(tuple.__new__, Quarter)
# The plus keeps SQLite from the other index.
_FRESH_IN_ORDER = """
    SELECT probe, measured_at_ms, value, flags FROM reading
    WHERE +probe = ? AND n > ? AND +measured_at_ms BETWEEN ? AND ?
"""
_FRESH_OF_PROBE = """
    SELECT probe, measured_at_ms, value, flags FROM reading
    WHERE probe = ? AND +n > ? AND measured_at_ms BETWEEN ? AND ?
"""


def minutes(db: sqlite3.Connection, probe: str, from_ms: int, to_ms: int, most: int) -> list[Minute]:
    """As `ports.Reader.minutes`."""
    number = _number(db, probe)
    if number is None or most <= 0:
        return []
    found = _by_minute(db, number, from_ms, to_ms, most)
    return [Minute(*_shown(minute * MINUTE_MS, found[minute])) for minute in sorted(found)[:most]]


def quarters(
    db: sqlite3.Connection, probe: str, from_ms: int, to_ms: int, most: int, few: int = FEW
) -> list[Quarter]:
    """As `ports.Reader.quarters`; `few` decides how what is not yet in the table is found, not what."""
    number = _number(db, probe)
    if number is None or most <= 0 or to_ms < from_ms:
        return []
    begin_ms = from_ms - from_ms % MINUTE_MS
    end_ms = to_ms - to_ms % MINUTE_MS + MINUTE_MS
    first, beyond = -(-begin_ms // QUARTER_MS), end_ms // QUARTER_MS
    upto = place(db)
    if upto is None or beyond <= first:
        return _from_minutes(db, number, begin_ms, end_ms, most)
    found = _from_minutes(db, number, begin_ms, first * QUARTER_MS, most)
    found += _whole(db, number, (first, beyond - 1), upto, most, few)
    found += _from_minutes(db, number, beyond * QUARTER_MS, end_ms, most)
    return found[:most]


def _number(db: sqlite3.Connection, probe: str) -> int | None:
    row = db.execute("SELECT id FROM probe WHERE name = ?", (probe,)).fetchone()
    return None if row is None else int(row[0])


def _by_minute(db: sqlite3.Connection, probe: int, from_ms: int, to_ms: int, most: int) -> dict[int, Sum]:
    """The sums of the minutes both ends lie in and those between: of the first `most`, at least."""
    first, last = from_ms // MINUTE_MS, to_ms // MINUTE_MS
    found: dict[int, Sum] = {}
    for minute, *kept in db.execute(_MINUTES, (probe, first, last, most)):
        found[minute] = Sum.kept(tuple(kept))
    raw = db.execute(_RAW, (probe, first * MINUTE_MS, last * MINUTE_MS + MINUTE_MS - 1))
    for (_, minute), fresh in by_span(_first_minutes(raw, most), MINUTE_MS).items():
        found[minute] = found[minute].plus(fresh) if minute in found else fresh
    return found


def _first_minutes(raw: Iterable[tuple[int, float, int]], most: int) -> list[tuple[int, int, float, int]]:
    """The readings of the first so many minutes; a span of months is not read whole."""
    taken: list[tuple[int, int, float, int]] = []
    seen: set[int] = set()
    for measured_ms, value, flags in raw:
        seen.add(measured_ms // MINUTE_MS)
        if len(seen) > most:
            break
        taken.append((0, measured_ms, value, flags))
    return taken


def _from_minutes(db: sqlite3.Connection, probe: int, begin_ms: int, end_ms: int, most: int) -> list[Quarter]:
    """Quarters, also cut ones, from the minutes between two whole minutes."""
    if end_ms <= begin_ms:
        return []
    of_minute = QUARTER_MS // MINUTE_MS
    wanted = of_minute * most
    by_minute = _by_minute(db, probe, begin_ms, end_ms - 1, wanted)
    found: dict[int, Sum] = {}
    for minute in sorted(by_minute)[:wanted]:
        quarter, into = divmod(minute, of_minute)
        one = by_minute[minute].later(into * MINUTE_MS)
        found[quarter] = found[quarter].plus(one) if quarter in found else one
    shown = [_shown(quarter * QUARTER_MS, found[quarter]) for quarter in sorted(found)[:most]]
    return [Quarter(max(begin_ms, one[0]), *one[1:]) for one in shown]


def _whole(
    db: sqlite3.Connection, probe: int, span: tuple[int, int], upto: int, most: int, few: int
) -> list[Quarter]:
    """Whole quarters, first and last, from the table and what came after it was last made up."""
    found: list[Quarter] = list(map(_quarter, db.execute(_QUARTERS, (probe, *span, most))))
    newest = reads.newest_number(db)
    if newest == upto:
        return found
    sql = _FRESH_IN_ORDER if newest - upto <= few else _FRESH_OF_PROBE
    until_ms = (span[1] + 1) * QUARTER_MS - 1
    fresh = by_span(db.execute(sql, (probe, upto, span[0] * QUARTER_MS, until_ms)), QUARTER_MS)
    if not fresh:
        return found
    for (_, quarter), later in fresh.items():
        kept = db.execute(_QUARTER, (probe, quarter)).fetchone()
        begin_ms = quarter * QUARTER_MS
        made = Quarter(*_shown(begin_ms, Sum.kept(kept).plus(later) if kept else later))
        at = bisect_left(found, begin_ms, key=_begin)
        found[at : at + (at < len(found) and found[at].begin_ms == begin_ms)] = [made]
    return found[:most]


def _begin(one: Quarter) -> int:
    return one.begin_ms


def _shown(begin_ms: int, what: Sum) -> tuple[int, int, float, float, float, float, int, int]:
    mean = what.total / what.times
    return begin_ms, what.times, what.low, mean, what.high, what.last, begin_ms + what.last_ms, what.flags
