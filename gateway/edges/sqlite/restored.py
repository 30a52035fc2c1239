"""A store put back from a copy: its numbers must go on past those that were given after the copy was made.

How far is written into the copy before it stands in the store's place, and entered into the journal by
whoever writes to it first, before anything else: all that follows, live or in a replay, counts from there.
"""

from __future__ import annotations

import json
import sqlite3
from dataclasses import replace

from gateway.core import codec
from gateway.core.inputs import Restored
from gateway.edges.sqlite import reads
from gateway.edges.sqlite.writer import Writer

_META = "restored"


def mark(db: sqlite3.Connection, moved: Restored) -> None:
    """Write into a copy how far its numbers are to be moved on, beyond what was written there before."""
    before = _waiting(reads.get_meta(db, _META))
    if before is not None:
        moved = replace(
            moved,
            alarms=moved.alarms + before.alarms,
            notices=moved.notices + before.notices,
            turns=moved.turns + before.turns,
        )
    db.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", (_META, json.dumps(codec.plain(moved))))


def enter(writer: Writer) -> None:
    """Enter it into the journal, once, where the journal stood."""
    moved = _waiting(writer.get_meta(_META))
    if moved is None:
        return
    n, at_ms, run_ms = writer.last_stamp()
    if not n:
        return  # a store in which nothing has happened has no time yet
    with writer.atomic():
        writer.add_event(at_ms, run_ms, moved)
        writer.set_meta(_META, "")


def _waiting(said: str | None) -> Restored | None:
    return codec.restore(Restored, json.loads(said)) if said else None
