"""What the judge decided: kept once per cause, and laid out as alarms, notices, attempts and turns."""

from __future__ import annotations

import json
import sqlite3
import zlib

from gateway.core.alarm import State, wants_answer
from gateway.core.effects import AlarmChange, Effect, Notice, TurnKnown, effect_to_plain
from gateway.core.inputs import Delivery
from gateway.ports import Cursor

SNAPSHOTS_KEPT = 2

_EFFECT = "INSERT INTO effect (n, i, kind, body) VALUES (?, ?, ?, ?) ON CONFLICT (n, i) DO NOTHING"
_ALARM = """
    INSERT INTO alarm VALUES (?, ?, ?, ?, ?, ?)
    ON CONFLICT (number) DO UPDATE SET state = excluded.state, effect = excluded.effect
"""
_TURN = "INSERT INTO turn VALUES (?, ?, ?) ON CONFLICT (turn) DO UPDATE SET effect = excluded.effect"
_JUDGE = "INSERT OR REPLACE INTO judge VALUES (1, ?, ?)"
_ANSWERED = """
    UPDATE notice SET withdrawn = 'answered'
    WHERE alarm = ? AND kind IN ('call', 'repeat') AND delivered_at_ms IS NULL AND withdrawn IS NULL
"""
_NEWER = """
    UPDATE notice SET withdrawn = 'newer'
    WHERE alarm = ? AND phone = ? AND number <> ? AND delivered_at_ms IS NULL AND withdrawn IS NULL
"""
_TRIED = """
    UPDATE notice SET attempts = attempts + 1, last_attempt_at_ms = ?,
        delivered_at_ms = coalesce(delivered_at_ms, CASE WHEN ? = 'delivered' THEN ? END)
    WHERE number = ?
"""
# Only this one: each other notice to that phone fails in its turn, so that its call passes on.
_GONE = """
    UPDATE notice SET withdrawn = 'gone' WHERE number = ? AND delivered_at_ms IS NULL AND withdrawn IS NULL
"""
_CALLING = frozenset(state.value for state in State if wants_answer(state))


def keep(db: sqlite3.Connection, effect: Effect) -> bool:
    """Keep an effect unless its cause has one; False if that one is another."""
    word, plain = effect_to_plain(effect)
    body = json.dumps(plain, separators=(",", ":"))
    n, i = effect.cause
    cursor = db.execute(_EFFECT, (n, i, word, body))
    if cursor.rowcount == 0:
        kept = db.execute("SELECT kind, body FROM effect WHERE n = ? AND i = ?", (n, i)).fetchone()
        return bool(kept == (word, body))
    number = cursor.lastrowid or 0
    if isinstance(effect, AlarmChange):
        _lay_out_alarm(db, number, effect)
    elif isinstance(effect, Notice):
        _lay_out_notice(db, number, effect)
    elif isinstance(effect, TurnKnown):
        _lay_out_turn(db, number, effect)
    return True


def _lay_out_alarm(db: sqlite3.Connection, number: int, alarm: AlarmChange) -> None:
    row = (alarm.number, alarm.kind, alarm.place, alarm.probe, alarm.state, number)
    db.execute(_ALARM, row)
    step = alarm.change
    change = (alarm.number, number, step.at_ms, step.from_state, step.to_state, step.signal, step.by)
    db.execute("INSERT INTO alarm_change VALUES (?, ?, ?, ?, ?, ?, ?)", change)
    quiet = alarm.quiet_until_ms is not None and alarm.quiet_until_ms > step.at_ms
    if quiet or alarm.state not in _CALLING:
        # Answered, put aside or over: what still waits would tell somebody of what is no longer so.
        db.execute(_ANSWERED, (alarm.number,))


def _lay_out_notice(db: sqlite3.Connection, number: int, notice: Notice) -> None:
    row = (notice.number, notice.alarm, notice.phone, notice.kind, number)
    db.execute("INSERT INTO notice (number, alarm, phone, kind, effect) VALUES (?, ?, ?, ?, ?)", row)
    if notice.alarm is not None:
        db.execute(_NEWER, (notice.alarm, notice.phone, notice.number))


def _lay_out_turn(db: sqlite3.Connection, number: int, turn: TurnKnown) -> None:
    db.execute(_TURN, (turn.turn, turn.bed, number))


def keep_delivery(db: sqlite3.Connection, n: int, at_ms: int, what: Delivery) -> None:
    """Note an attempt with its notice; a phone that is gone for good gets none of what still waits for it."""
    row = (n, what.notice, at_ms, what.outcome, what.status, what.detail)
    db.execute("INSERT INTO attempt VALUES (?, ?, ?, ?, ?, ?)", row)
    db.execute(_TRIED, (at_ms, what.outcome, at_ms, what.notice))
    if what.outcome == "gone":
        db.execute(_GONE, (what.notice,))


def keep_judge(db: sqlite3.Connection, cursor: Cursor, snapshot: bytes | None) -> None:
    """Keep how far the judge has come, and its whole state where given."""
    db.execute(_JUDGE, cursor)
    if snapshot is not None:
        row = (cursor.n, cursor.run_ms, zlib.compress(snapshot, 1))
        db.execute("INSERT INTO snapshot (n, run_ms, body) VALUES (?, ?, ?)", row)
        db.execute("DELETE FROM snapshot WHERE id <= (SELECT max(id) FROM snapshot) - ?", (SNAPSHOTS_KEPT,))
