"""What lies on one bed, as the judge looks at it: which piece, how old, when each stretch was turned.

It is made by `journey` from what people recorded; the rules read nothing else of a piece.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core.site import Programme

_HOUR_MS = 3_600_000


@dataclass(slots=True)
class Part:
    """A stretch in metres and when it was last turned (or cast), Unix ms; `turned` is False before the first.

    `ground` is the floor's id. `ploughed_ms` is 0 where it was not ploughed since the turn.
    """

    from_m: float
    to_m: float
    turned_ms: int
    by: str | None = None
    turned: bool = False
    ploughed_ms: int = 0
    piece: str = ""
    ground: str = ""


@dataclass(slots=True)
class Order:
    """The maltster's standing order for a bed: leave it until then (Unix ms), and why."""

    until_ms: int
    why: str
    by: str | None = None


@dataclass(slots=True)
class Lying:
    """What lies on a bed. `couch_ends_ms` is None once the couch is broken (or where there was none).

    `known_ms` is when the cast was recorded, which may be days after it happened. Where several pieces lie,
    `piece` names them all, and the youngest gives the age: its limits are the stricter ones.
    """

    piece: str
    cast_ms: int
    couch_ends_ms: int | None
    parts: list[Part]
    turned: bool = False
    known_ms: int = 0
    pieces: list[str] = field(default_factory=list)
    withering: bool = False
    depth_cm: float | None = None


def oldest_part(lying: Lying) -> Part:
    """The stretch that has waited longest, joined with its neighbours of the same age."""
    oldest = min(part.turned_ms for part in lying.parts)
    same = [part for part in lying.parts if part.turned_ms == oldest]
    ploughed_ms = min(part.ploughed_ms for part in same)
    return Part(
        min(p.from_m for p in same),
        max(p.to_m for p in same),
        oldest,
        same[0].by,
        same[0].turned,
        ploughed_ms,
    )


def hours_since_cast(lying: Lying, at_ms: int) -> float:
    """Hours since casting, never below 0."""
    return max(0.0, (at_ms - lying.cast_ms) / _HOUR_MS)


def day_of(lying: Lying, at_ms: int) -> int:
    """The day on the floor as programmes count it: day 0 is the first 24 h."""
    return int(hours_since_cast(lying, at_ms) // 24)


def in_couch(lying: Lying, at_ms: int) -> bool:
    """Whether the piece still counts as couched; a couch that nobody recorded broken lapses."""
    return lying.couch_ends_ms is not None and at_ms < lying.couch_ends_ms


def day_figure(programme: Programme, hours: float, name: str) -> float:
    """A figure of the floor programme, hours after casting: exact at each row's day, ramped between."""
    days = programme.days
    day = hours / 24.0
    before = days[0]
    if day <= before.day:
        return float(getattr(before, name))
    for row in days:
        if row.day >= day:
            low, high = float(getattr(before, name)), float(getattr(row, name))
            return low + (high - low) * (day - before.day) / (row.day - before.day)
        before = row
    return float(getattr(before, name))
