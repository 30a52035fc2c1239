"""The rows of the contract, ready for JSON: times as RFC 3339, every field present."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from gateway.core import rows
from gateway.core.effects import TurnKnown
from gateway.core.rows import Row, when
from gateway.ports import AlarmLine, NoticeLine, RejectedCount, RejectedLine

SCHEMA = 1


def document(at_ms: int | None, found: list[Row], **more: Any) -> dict[str, Any]:
    """One document: `at` is the time the rows are true of, null where there is none yet."""
    return {"schema": SCHEMA, "at": when(at_ms), "rows": found, **more}


def timed(found: Iterable[Row], *keys: str) -> list[Row]:
    """Rows whose named fields hold Unix ms, with RFC 3339 there instead."""
    return [row | {key: when(row[key]) for key in keys} for row in found]


def beds(found: Iterable[Row]) -> list[Row]:
    """Rows of `views.beds`."""
    return timed(found, "turned_at", "due_at", "start_at")


def probes(found: Iterable[Row]) -> list[Row]:
    """Rows of `views.probes`."""
    return timed(found, "measured_at")


def tonight(found: Iterable[Row]) -> list[Row]:
    """Rows of `views.tonight`."""
    return timed(found, "due_at", "turned_at", "start_at")


def forecast(found: Iterable[Row]) -> list[Row]:
    """Rows of `views_heat.forecast`."""
    return [rows.forecast(row) for row in found]


def kiln(found: Iterable[Row]) -> list[Row]:
    """Rows of `views_kiln.kilns`."""
    return [
        row
        | {
            "break": row["break"] | {key: when(row["break"][key]) for key in ("at", "known_at")},
            "next_stage": row["next_stage"] and row["next_stage"] | {"at": when(row["next_stage"]["at"])},
        }
        for row in timed(found, "lit_at", "hand_dry_at", "stripped_at", "stage_at")
    ]


def air(found: Iterable[Row]) -> list[Row]:
    """Rows of `views_air.air`, with who is inside and since when it is aired."""
    return [
        row
        | {
            "inside": timed(row["inside"], "since", "until"),
            "airing": row["airing"] and row["airing"] | {"since": when(row["airing"]["since"])},
        }
        for row in timed(found, "measured_at")
    ]


def pieces(found: Iterable[Row]) -> list[Row]:
    """Rows of `views_piece.pieces`, with their way and story."""
    return [
        row
        | {
            "stretches": timed(row["stretches"], "turned_at", "ploughed_at"),
            "way": timed(row["way"], "from", "until"),
            "by_hand": timed(row["by_hand"], "at"),
            "story": timed(row["story"], "at", "known_at"),
        }
        for row in timed(found, "steeped_at", "cast_at")
    ]


def lay(found: Iterable[Row]) -> list[Row]:
    """Rows of `views_piece.lay`."""
    return timed(found, "from", "until")


def questions(found: Iterable[Row]) -> list[Row]:
    """Rows of `views_piece.questions`."""
    return timed(found, "at")


def notes(found: Iterable[Row]) -> list[Row]:
    """Rows of `views_note.notes`."""
    return timed(found, "at")


def alarms(found: Iterable[AlarmLine]) -> list[Row]:
    """The gravest and newest first: that is what is read on a phone."""
    order = {"highest": 0, "high": 1, "medium": 2, "low": 3}
    lines = sorted(found, key=lambda one: (order.get(one.alarm.priority, 0), -one.alarm.number))
    return [rows.alarm(line.alarm, line.history) for line in lines]


def notices(found: Iterable[NoticeLine]) -> list[Row]:
    """Notices with what became of each."""
    return [
        rows.notice(one.notice, one.attempts, one.delivered_at_ms) | {"withdrawn": one.withdrawn}
        for one in found
    ]


def turns(found: Iterable[TurnKnown]) -> list[Row]:
    """Turns, the newest first."""
    return [rows.turn(one) for one in found][::-1]


def rejected(found: Iterable[RejectedLine]) -> list[Row]:
    """Refused payloads, newest first; the payload as text, with what is no text escaped."""
    return [
        {
            "at": when(one.at_ms),
            "topic": one.rejected.topic,
            "probe": one.rejected.probe,
            "reason": one.rejected.reason.value,
            "detail": one.rejected.detail,
            "payload": one.rejected.payload.decode("utf-8", "backslashreplace"),
        }
        for one in found
    ]


def rejected_counts(found: Iterable[RejectedCount]) -> list[Row]:
    """How often each probe or topic was refused, and why."""
    return [
        {
            "probe": one.probe,
            "topic": one.topic,
            "reason": one.reason,
            "count": one.times,
            "first_at": when(one.first_at_ms),
            "last_at": when(one.last_at_ms),
        }
        for one in found
    ]
