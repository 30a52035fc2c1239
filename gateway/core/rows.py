"""What the judge made, as rows for documents: the fields of the contract, all present, null where unknown.

Times are RFC 3339 UTC with milliseconds; units are in the names. The same rows feed `--json`, the tables
and the lines of a replay.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Protocol

from gateway.core.effects import AlarmChange, BreakKnown, Change, Effect, Notice, TurnKnown
from gateway.core.moment import rfc3339

Row = dict[str, Any]


class Attempt(Protocol):
    """One attempt to reach a phone."""

    @property
    def at_ms(self) -> int:
        """When (Unix ms)."""

    @property
    def outcome(self) -> str:
        """delivered, failed or gone."""

    @property
    def status(self) -> int | None:
        """The other side's status, where it gave one."""


def when(at_ms: int | None) -> str | None:
    """The moment as documents write it; None stays None."""
    return None if at_ms is None else rfc3339(at_ms)


def history(changes: Iterable[Change]) -> list[Row]:
    """The steps of an alarm's life, oldest first."""
    return [
        {
            "at": rfc3339(one.at_ms),
            "from": one.from_state,
            "to": one.to_state,
            "signal": one.signal,
            "by": one.by,
        }
        for one in changes
    ]


def alarm(latest: AlarmChange, changes: Iterable[Change]) -> Row:
    """An alarm as it stands after its latest change, with its history."""
    return {
        "number": latest.number,
        "occurrence": latest.occurrence,
        "kind": latest.kind,
        "place": latest.place,
        "probe": latest.probe,
        "priority": latest.priority,
        "level": latest.level,
        "state": latest.state,
        "value": latest.value,
        "unit": latest.unit,
        "limit": latest.limit,
        "raised_at": rfc3339(latest.raised_at_ms),
        "measured_at": when(latest.measured_at_ms),
        "cleared_at": when(latest.cleared_at_ms),
        "late": latest.late,
        "answered_by": latest.answered_by,
        "quiet_until": when(latest.quiet_until_ms),
        "history": history(changes),
    }


def notice(made: Notice, attempts: Sequence[Attempt], delivered_at_ms: int | None) -> Row:
    """A message to one phone and what became of it."""
    return {
        "number": made.number,
        "alarm": made.alarm,
        "occurrence": made.occurrence,
        "person": made.person,
        "phone": made.phone,
        "kind": made.kind,
        "priority": made.priority,
        "place": made.place,
        "title": made.title,
        "text": made.text,
        "silent": made.silent,
        "at": rfc3339(made.at_ms),
        "attempts": [
            {"at": rfc3339(one.at_ms), "outcome": one.outcome, "status": one.status} for one in attempts
        ],
        "delivered_at": when(delivered_at_ms),
    }


def turn(known: TurnKnown) -> Row:
    """A turn of a bed or of a part of it."""
    return {
        "turn": known.turn,
        "bed": known.bed,
        "from_m": known.from_m,
        "to_m": known.to_m,
        "source": known.source,
        "began_at": rfc3339(known.began_at_ms),
        "ended_at": rfc3339(known.ended_at_ms),
        "known_at": rfc3339(known.known_at_ms),
        "by": known.by,
        "sureness": known.sureness,
        "fall_k": known.fall_k,
        "spread_before_k": known.spread_before_k,
        "spread_after_k": known.spread_after_k,
        "state": known.state,
    }


def kiln_break(known: BreakKnown) -> Row:
    """A kiln break as it was thought when it was told."""
    return {
        "kiln": known.kiln,
        "piece": known.piece,
        "number": known.number,
        "state": known.state,
        "at": when(known.at_ms),
        "known_at": when(known.known_at_ms),
        "sureness": known.sureness,
    }


def forecast(row: Row) -> Row:
    """A row of `views_heat.forecast` with its times as documents write them."""
    return row | {
        "made_at": when(row["made_at"]),
        "points": [point | {"at": when(point["at"])} for point in row["points"]],
        "moments": [point | {"at": when(point["at"])} for point in row["moments"]],
        "limits": [
            limit | {key: when(limit[key]) for key in ("at", "early", "late")} for limit in row["limits"]
        ],
    }


def effect(made: Effect) -> Row:
    """One effect as a line of a replay: its cause, `kind` (alarm, notice, turn, break), its row's fields.

    An alarm's or a notice's own kind stands under `alarm_kind` or `notice_kind`; the history of an alarm is
    the one step of this line.
    """
    if isinstance(made, AlarmChange):
        return _line("alarm", made, alarm(made, [made.change]))
    if isinstance(made, Notice):
        return _line("notice", made, notice(made, [], None))
    if isinstance(made, TurnKnown):
        return _line("turn", made, turn(made))
    return _line("break", made, kiln_break(made))


def _line(word: str, made: Effect, row: Row) -> Row:
    line: Row = {"cause": list(made.cause), "kind": word}
    for key, value in row.items():
        line[f"{word}_kind" if key == "kind" else key] = value
    return line
