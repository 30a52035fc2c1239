"""The vocabulary of effects: what is to be kept and done (`AlarmChange`, `Notice`, `TurnKnown`,
`BreakKnown`).

An effect is named by its cause, so that the same judgement made twice is kept once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gateway.core import codec

Cause = tuple[int, int]
"""(journal number, ordinal) or, for what a tick did, (running time of the tick in ms, ordinal)."""

#: A first cause at or above this is the running time of a tick; journal numbers stay far below.
TICK_CAUSES_FROM = 10**12


@dataclass(frozen=True, slots=True)
class Change:
    """One step in an alarm's life."""

    at_ms: int
    from_state: str
    to_state: str
    signal: str
    by: str | None = None


@dataclass(frozen=True, slots=True)
class AlarmChange:
    """An alarm as it stands after a change; `number` names one occurrence of (kind, place or probe).

    States are those of alarm.State; `priority` is low, medium, high or highest; `late` marks an alarm found
    in old readings, which called nobody.
    """

    cause: Cause
    number: int
    occurrence: int
    kind: str
    place: str | None
    probe: str | None
    priority: str
    level: str
    state: str
    value: float | None
    unit: str | None
    limit: float | None
    raised_at_ms: int
    measured_at_ms: int | None
    cleared_at_ms: int | None
    late: bool
    answered_by: str | None
    quiet_until_ms: int | None
    change: Change


@dataclass(frozen=True, slots=True)
class Notice:
    """A message to one phone. `kind`: call, repeat, over or test. `silent`: shown, but it wakes nobody."""

    cause: Cause
    number: int
    alarm: int | None
    occurrence: int | None
    person: str
    phone: str
    kind: str
    priority: str
    place: str | None
    title: str
    text: str
    silent: bool
    at_ms: int


@dataclass(frozen=True, slots=True)
class TurnKnown:
    """A turn of a bed or of a part of it; a later change to the same turn names the same `turn`."""

    cause: Cause
    turn: int
    bed: str
    from_m: float | None
    to_m: float | None
    source: str
    began_at_ms: int
    ended_at_ms: int
    known_at_ms: int
    by: str | None
    sureness: float | None = None
    fall_k: float | None = None
    spread_before_k: float | None = None
    spread_after_k: float | None = None
    state: str = "kept"


@dataclass(frozen=True, slots=True)
class BreakKnown:
    """A kiln break as it is thought now: `number` counts the announcements of one kilning.

    `state` is announced or withdrawn; `at_ms` when air-off broke away, `known_at_ms` when that was known.
    """

    cause: Cause
    kiln: str
    piece: str | None
    number: int
    state: str
    at_ms: int | None
    known_at_ms: int | None
    sureness: float


Effect = AlarmChange | Notice | TurnKnown | BreakKnown
EFFECTS: dict[str, type] = {
    "alarm": AlarmChange,
    "notice": Notice,
    "turn": TurnKnown,
    "break": BreakKnown,
}
EFFECT_KINDS: dict[type, str] = {kind: word for word, kind in EFFECTS.items()}


def effect_to_plain(effect: Effect) -> tuple[str, dict[str, Any]]:
    """The word and the plain body of an effect."""
    return EFFECT_KINDS[type(effect)], codec.plain(effect)
