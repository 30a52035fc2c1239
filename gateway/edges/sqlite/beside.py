"""Beside the journal: what was refused, running totals, the messages last taken, and a few words of meta.

All of it is bounded, whatever comes in: the newest 10,000 refusals, counts for at most 5,000 topics.
"""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Mapping, Sequence

from gateway.core.reading import Rejected

REJECTED_KEPT = 10_000
PAYLOAD_KEPT = 256
TOPICS_COUNTED = 5_000
OTHER_TOPICS = "(other)"
#: A topic may be 64 KiB long; so much of it is kept.
TEXT_KEPT = 512

_ADD = "INSERT INTO total VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET count = count + excluded.count"
_SET = "INSERT INTO meta VALUES (?, ?) ON CONFLICT (key) DO UPDATE SET value = excluded.value"
_REJECT = "INSERT INTO rejected (at_ms, topic, payload, reason, detail, probe) VALUES (?, ?, ?, ?, ?, ?)"
_COUNT = """
    INSERT INTO rejected_count VALUES (?, ?, ?, ?, ?, ?)
    ON CONFLICT (probe, topic, reason) DO UPDATE
    SET count = count + excluded.count, last_at_ms = excluded.last_at_ms
"""


def _text(value: str) -> str:
    """What SQLite can keep of it: no half characters, not endless."""
    return value[:TEXT_KEPT].encode("utf-8", "replace").decode("utf-8")


class Beside:
    """Holds nothing in memory: it is asked rarely, and a rollback then needs no care."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    def set_meta(self, key: str, value: str) -> None:
        """Keep a value."""
        self._db.execute(_SET, (key, value))

    def note_counts(self, counts: Mapping[str, int]) -> None:
        """Add to the running totals."""
        self._db.executemany(_ADD, counts.items())

    def remember(self, digest: bytes, keep: int) -> bool:
        """Whether this digest is among the newest `keep`; if not it now is the newest."""
        newest = self._db.execute("SELECT coalesce(max(id), 0) FROM delivered_before").fetchone()[0]
        known = self._db.execute("SELECT id FROM delivered_before WHERE digest = ?", (digest,)).fetchone()
        if known and known[0] > newest - keep:
            return True
        self._db.execute("DELETE FROM delivered_before WHERE digest = ?", (digest,))
        self._db.execute("INSERT INTO delivered_before VALUES (?, ?)", (newest + 1, digest))
        self._db.execute("DELETE FROM delivered_before WHERE id <= ?", (newest + 1 - keep,))
        return False

    def keep_rejected(self, at_ms: int, rejected: Sequence[Rejected]) -> None:
        """Keep the newest, count all."""
        if not rejected:
            return
        self._db.executemany(_REJECT, [_row(at_ms, one) for one in rejected[-REJECTED_KEPT:]])
        self._db.execute(
            "DELETE FROM rejected WHERE id <= (SELECT max(id) FROM rejected) - ?", (REJECTED_KEPT,)
        )
        counted = Counter(
            (_text(one.probe or ""), "" if one.probe else _text(one.topic), one.reason.value)
            for one in rejected
        )
        room = TOPICS_COUNTED - self._topics()
        for (probe, topic, reason), count in counted.items():
            if topic and not self._counted(topic):
                topic, room = (topic, room - 1) if room > 0 else (OTHER_TOPICS, room)  # noqa: PLW2901
            self._db.execute(_COUNT, (probe, topic, reason, count, at_ms, at_ms))

    def _topics(self) -> int:
        row = self._db.execute("SELECT count(DISTINCT topic) FROM rejected_count WHERE probe = ''").fetchone()
        return int(row[0])

    def _counted(self, topic: str) -> bool:
        row = self._db.execute(
            "SELECT 1 FROM rejected_count WHERE probe = '' AND topic = ?", (topic,)
        ).fetchone()
        return row is not None


def _row(at_ms: int, one: Rejected) -> tuple[int, str, bytes, str, str, str | None]:
    probe = None if one.probe is None else _text(one.probe)
    return at_ms, _text(one.topic), one.payload[:PAYLOAD_KEPT], one.reason.value, _text(one.detail), probe
