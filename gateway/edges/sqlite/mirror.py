"""The mirror's place, and the lines its server refused, beside the journal they come from."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence

from gateway.core.inputs import SiteChanged, event_from_plain
from gateway.core.site import Site
from gateway.errors import StoreFault
from gateway.ports import Aside, MirrorPlace, MirrorState, OrderedEffect

_SAVE = "INSERT OR REPLACE INTO mirror VALUES (1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
_LOAD = """
    SELECT n, effect, event_ms, alarm_ms, turn_ms,
        target, written, rate_per_s, written_at_ms, error, error_at_ms, alarm
    FROM mirror
"""
_EFFECTS = "SELECT id, kind, body FROM effect WHERE id > ? ORDER BY id LIMIT ?"
_SITE = "SELECT body FROM event WHERE kind = 'site' AND n <= ? ORDER BY n DESC LIMIT 1"
_ASIDE = (
    "SELECT at_ms, line, reason, number, again FROM mirror_aside WHERE again >= ? ORDER BY number LIMIT ?"
)


def save(db: sqlite3.Connection, state: MirrorState, aside: Sequence[Aside], gone: Sequence[int]) -> None:
    """As `ports.MirrorWriter.save_mirror`."""
    target, place, *rest = state
    db.execute(_SAVE, (*place, target, *rest))
    rows = [(one.at_ms, one.line, one.reason) for one in aside]
    db.executemany("DELETE FROM mirror_aside WHERE number = ?", [(number,) for number in gone])
    # A page that was answered for and not kept is written again: the same line is refused again.
    db.executemany("INSERT OR REPLACE INTO mirror_aside (at_ms, line, reason) VALUES (?, ?, ?)", rows)


def resend(db: sqlite3.Connection) -> int:
    """As `ports.MirrorWriter.resend_mirror`."""
    return db.execute("UPDATE mirror_aside SET again = 1").rowcount


def load(db: sqlite3.Connection) -> MirrorState | None:
    """As `ports.MirrorReader.mirror`."""
    row = db.execute(_LOAD).fetchone()
    if row is None:
        return None
    target, written, rate, written_at_ms, error, error_at_ms, alarm = row[5:]
    place = MirrorPlace(*row[:5])
    return MirrorState(target, place, written, rate, written_at_ms, error, error_at_ms, bool(alarm))


def effects_in_order(db: sqlite3.Connection, after: int, most: int) -> list[OrderedEffect]:
    """As `ports.MirrorReader.effects_in_order`: effects are only ever added, with a growing id."""
    rows = db.execute(_EFFECTS, (after, most))
    return [OrderedEffect(order, kind, json.loads(body)) for order, kind, body in rows]


def site_at(db: sqlite3.Connection, n: int) -> Site | None:
    """As `ports.MirrorReader.site_at`."""
    row = db.execute(_SITE, (n,)).fetchone()
    if row is None:
        return None
    try:
        event = event_from_plain("site", json.loads(row[0]))
    except ValueError as fault:
        raise StoreFault(f"a site file in the journal cannot be read: {fault}") from fault
    return event.site if isinstance(event, SiteChanged) else None


def aside(db: sqlite3.Connection, most: int, again: bool) -> list[Aside]:
    """As `ports.MirrorReader.aside`."""
    rows = db.execute(_ASIDE, (again, most))
    return [Aside(at_ms, line, reason, number, bool(marked)) for at_ms, line, reason, number, marked in rows]


def count_aside(db: sqlite3.Connection) -> int:
    """As `ports.MirrorReader.count_aside`."""
    return int(db.execute("SELECT count(*) FROM mirror_aside").fetchone()[0])
