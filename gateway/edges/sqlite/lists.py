"""Alarms, notices, turns, refusals and effects as rows for the reading side, inside one transaction."""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from typing import TypeVar

from gateway.core import codec
from gateway.core.alarm import State
from gateway.core.effects import AlarmChange, Cause, Change, Notice, TurnKnown
from gateway.core.reading import Reason, Rejected
from gateway.errors import StoreFault
from gateway.ports import AlarmLine, Attempt, DueNotice, KeptEffect, NoticeLine, RejectedCount, RejectedLine

T = TypeVar("T")

_ALARMS = """
    SELECT a.number, e.body FROM alarm AS a JOIN effect AS e ON e.id = a.effect
    WHERE ? OR a.state <> ? ORDER BY a.number DESC LIMIT ?
"""
_CHANGES = """
    SELECT alarm, at_ms, from_state, to_state, signal, by FROM alarm_change
    WHERE alarm BETWEEN ? AND ? ORDER BY alarm, effect
"""
_NOTICES = """
    SELECT o.number, e.body, o.delivered_at_ms, o.withdrawn
    FROM notice AS o JOIN effect AS e ON e.id = o.effect ORDER BY o.number DESC LIMIT ?
"""
_ATTEMPTS = "SELECT at_ms, outcome, status, detail FROM attempt WHERE notice = ? ORDER BY n"
_DUE = """
    SELECT e.body, o.attempts, o.last_attempt_at_ms
    FROM notice AS o JOIN effect AS e ON e.id = o.effect
    WHERE o.delivered_at_ms IS NULL AND o.withdrawn IS NULL ORDER BY o.number
"""
_DUE_COUNT = "SELECT count(*) FROM notice WHERE delivered_at_ms IS NULL AND withdrawn IS NULL"
_TURNS = """
    SELECT e.body FROM turn AS t JOIN effect AS e ON e.id = t.effect ORDER BY t.turn DESC LIMIT ?
"""
_REJECTED = """
    SELECT at_ms, topic, payload, reason, detail, probe FROM rejected ORDER BY id DESC LIMIT ?
"""
_COUNTS = """
    SELECT nullif(probe, ''), nullif(topic, ''), reason, count, first_at_ms, last_at_ms
    FROM rejected_count ORDER BY count DESC, probe, topic, reason
"""
_EFFECTS = "SELECT n, i, kind, body FROM effect WHERE (n, i) > (?, ?) ORDER BY n, i LIMIT ?"


def _effect(kind: type[T], body: str) -> T:
    try:
        value: T = codec.restore(kind, json.loads(body))
    except (ValueError, TypeError) as fault:
        raise StoreFault(f"an effect cannot be read: {fault}") from fault
    return value


def alarms(db: sqlite3.Connection, ended: bool, most: int) -> list[AlarmLine]:
    """As `ports.Reader.alarms`."""
    rows = db.execute(_ALARMS, (ended, State.NORMAL.value, most)).fetchall()[::-1]
    if not rows:
        return []
    history: defaultdict[int, list[Change]] = defaultdict(list)
    for number, *change in db.execute(_CHANGES, (rows[0][0], rows[-1][0])):
        history[number].append(Change(*change))
    return [AlarmLine(_effect(AlarmChange, body), tuple(history[number])) for number, body in rows]


def has_alarm(db: sqlite3.Connection, number: int) -> bool:
    """As `ports.Reader.has_alarm`."""
    return db.execute("SELECT 1 FROM alarm WHERE number = ?", (number,)).fetchone() is not None


def notices(db: sqlite3.Connection, most: int) -> list[NoticeLine]:
    """As `ports.Reader.notices`."""
    rows = db.execute(_NOTICES, (most,)).fetchall()
    return [
        NoticeLine(
            _effect(Notice, body),
            tuple(Attempt(*attempt) for attempt in db.execute(_ATTEMPTS, (number,))),
            delivered_at_ms,
            withdrawn,
        )
        for number, body, delivered_at_ms, withdrawn in rows
    ]


def due_notices(db: sqlite3.Connection) -> list[DueNotice]:
    """As `ports.Reader.due_notices`."""
    return [
        _due(_effect(Notice, body), attempts, last_at_ms)
        for body, attempts, last_at_ms in db.execute(_DUE).fetchall()
    ]


def due_count(db: sqlite3.Connection) -> int:
    """As `ports.Reader.due_count`."""
    return int(db.execute(_DUE_COUNT).fetchone()[0])


def _due(notice: Notice, attempts: int, last_attempt_at_ms: int | None) -> DueNotice:
    fields = codec.plain(notice)
    del fields["cause"]
    return DueNotice(**fields, attempts=attempts, last_attempt_at_ms=last_attempt_at_ms)


def turns(db: sqlite3.Connection, most: int) -> list[TurnKnown]:
    """As `ports.Reader.turns`."""
    return [_effect(TurnKnown, body) for (body,) in db.execute(_TURNS, (most,)).fetchall()[::-1]]


def rejected(db: sqlite3.Connection, most: int) -> list[RejectedLine]:
    """As `ports.Reader.rejected`."""
    return [
        RejectedLine(at_ms, Rejected(topic, payload, Reason(reason), detail, probe))
        for at_ms, topic, payload, reason, detail, probe in db.execute(_REJECTED, (most,))
    ]


def rejected_counts(db: sqlite3.Connection) -> list[RejectedCount]:
    """As `ports.Reader.rejected_counts`."""
    return [RejectedCount(*row) for row in db.execute(_COUNTS)]


def effects(db: sqlite3.Connection, after: Cause, most: int) -> list[KeptEffect]:
    """As `ports.Reader.effects`."""
    rows = db.execute(_EFFECTS, (*after, most))
    return [KeptEffect((n, i), kind, json.loads(body)) for n, i, kind, body in rows]
