"""Appending to the journal: numbers without a gap, one reading per probe and time."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence

from gateway.core.inputs import Entry, Event, event_to_plain
from gateway.core.reading import OWN_TIME, Reading
from gateway.core.timeline import REBASE_MS
from gateway.edges.sqlite import reads
from gateway.edges.sqlite.sums import MINUTE_MS
from gateway.ports import Added

_INSERT = "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (probe, measured_at_ms) DO NOTHING"
_KEPT = "SELECT value FROM reading WHERE probe = ? AND measured_at_ms = ?"
#: The end of the newest minute of a probe that readings were let go from.
_GONE = "SELECT (max(minute) + 1) * ? FROM minute WHERE probe = ?"
_GONE_FROM = """
    SELECT 1 FROM minute AS m WHERE m.probe = ? AND m.minute = ?
        AND NOT EXISTS (SELECT 1 FROM reading AS r WHERE r.probe = m.probe AND r.measured_at_ms = ?)
"""
_NEWEST_ARRIVAL = """
    SELECT measured_at_ms FROM reading
    WHERE probe = ? AND measured_at_ms BETWEEN ? AND ? AND flags & ? = 0
    ORDER BY measured_at_ms DESC LIMIT 1
"""


class Appender:
    """Hands out the journal's numbers and times. What it remembers is drawn from the file by `recall`."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._n = 0
        self._stamp = (0, 0)
        self._probes: dict[str, int] = {}
        self._arrivals: dict[str, int] = {}
        self._gone_ms: dict[str, int] = {}

    def recall(self) -> None:
        """Begin again from what the file holds: after opening, and after a transaction was rolled back."""
        self._n = reads.newest_number(self._db)
        self._stamp = reads.newest_stamp(self._db)
        self._probes = dict(self._db.execute("SELECT name, id FROM probe"))
        self._arrivals = {}
        self._gone_ms = {}

    def add_readings(self, at_ms: int, run_ms: int, readings: Sequence[Reading]) -> Added:
        """As `ports.Journal.add_readings`."""
        if not readings:
            return Added([], 0, [], [])
        timed = [r if r.flags & OWN_TIME else self._arrived(r) for r in readings]
        ids, gone_ms = self._ids(timed), self._gone_ms
        too_old = [r for r in timed if r[1] < gone_ms[r[0]] and r.flags & OWN_TIME and self._gone(r)]
        if too_old:
            left_out = set(too_old)
            timed = [r for r in timed if r not in left_out]
        first = self._n + 1
        rows = [(n, ids[r[0]], r[1], r[2], r[3], r[4], r[5]) for n, r in enumerate(timed, first)]
        self._db.execute("SAVEPOINT readings")
        if self._db.executemany(_INSERT, rows).rowcount == len(rows):
            added = Added([Entry(n, at_ms, run_ms, r) for n, r in enumerate(timed, first)], 0, [], too_old)
        else:
            # Some were there before, and the numbers given to those must not be lost: once more, singly.
            self._db.execute("ROLLBACK TO readings")
            added = self._add_singly(at_ms, run_ms, timed)._replace(too_old=too_old)
        self._db.execute("RELEASE readings")
        self._numbered(at_ms, run_ms, len(added.entries))
        return added

    def _ids(self, readings: Sequence[Reading]) -> dict[str, int]:
        names = {reading.probe for reading in readings}
        for name in names - self._probes.keys():
            number = self._db.execute("INSERT INTO probe (name) VALUES (?)", (name,)).lastrowid
            assert number is not None  # noqa: S101 - an INSERT that did not raise has a row
            self._probes[name] = number
        for name in names - self._gone_ms.keys():
            row = self._db.execute(_GONE, (MINUTE_MS, self._probes[name])).fetchone()
            self._gone_ms[name] = row[0] or 0
        return self._probes

    def _gone(self, reading: Reading) -> bool:
        """Whether readings of its minute were let go, and it is none of those still there."""
        at_ms = reading.measured_at_ms
        key = (self._probes[reading.probe], at_ms // MINUTE_MS, at_ms)
        return self._db.execute(_GONE_FROM, key).fetchone() is not None

    def _arrived(self, reading: Reading) -> Reading:
        """A reading without a time of its own, put after the probe's last one of that kind.

        Not after one that lies more than five minutes ahead: then the clock has been set back, and what
        was kept under the wrong time must not hold new readings there.
        """
        at_ms = reading.measured_at_ms
        newest_ms = self._arrivals.get(reading.probe)
        if newest_ms is None:
            newest_ms = self._newest_arrival(reading.probe, at_ms)
        if at_ms <= newest_ms < at_ms + REBASE_MS:
            at_ms = newest_ms + 1
            reading = reading._replace(measured_at_ms=at_ms)
        self._arrivals[reading.probe] = at_ms
        return reading

    def _newest_arrival(self, probe: str, at_ms: int) -> int:
        known = self._probes.get(probe)
        span = (known, at_ms, at_ms + REBASE_MS, OWN_TIME)
        row = None if known is None else self._db.execute(_NEWEST_ARRIVAL, span).fetchone()
        return int(row[0]) if row else at_ms - 1

    def _add_singly(self, at_ms: int, run_ms: int, readings: Sequence[Reading]) -> Added:
        added = Added([], 0, [], [])
        duplicates = 0
        for given in readings:
            reading, step_ms = given, 1
            n = self._n + 1 + len(added.entries)
            while not self._insert(n, reading):
                if not reading.flags & OWN_TIME:
                    # Further each time: a long run of taken milliseconds must not cost a try for each.
                    reading = reading._replace(measured_at_ms=reading.measured_at_ms + step_ms)
                    self._arrivals[reading.probe] = reading.measured_at_ms
                    step_ms *= 2
                    continue
                key = (self._probes[reading.probe], reading.measured_at_ms)
                if self._db.execute(_KEPT, key).fetchone()[0] == reading.value:
                    duplicates += 1
                else:
                    added.conflicts.append(reading)
                break
            else:
                added.entries.append(Entry(n, at_ms, run_ms, reading))
        return added._replace(duplicates=duplicates)

    def _insert(self, n: int, reading: Reading) -> bool:
        return self._db.execute(_INSERT, (n, self._probes[reading[0]], *reading[1:])).rowcount == 1

    def add_event(self, at_ms: int, run_ms: int, event: Event) -> Entry:
        """As `ports.Journal.add_event`, without what follows from a delivery."""
        word, body = event_to_plain(event)
        n = self._n + 1
        self._db.execute(
            "INSERT INTO event VALUES (?, ?, ?)", (n, word, json.dumps(body, separators=(",", ":")))
        )
        self._numbered(at_ms, run_ms, 1)
        return Entry(n, at_ms, run_ms, event)

    def _numbered(self, at_ms: int, run_ms: int, count: int) -> None:
        """Take up the numbers that were used; a stamp is written only where it differs from the last."""
        if count and (self._stamp != (at_ms, run_ms) or not self._n):
            self._db.execute("INSERT INTO stamp VALUES (?, ?, ?)", (self._n + 1, at_ms, run_ms))
            self._stamp = (at_ms, run_ms)
        self._n += count
