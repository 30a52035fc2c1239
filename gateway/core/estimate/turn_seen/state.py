"""What is kept of each bed and of the air over it: readings, and what was told. It stores and restores."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

from gateway.core.estimate.turn_seen.bed import TurnSeen
from gateway.core.estimate.turn_seen.passage import Passage
from gateway.core.estimate.turn_seen.ring import Ring


@dataclass(slots=True)
class Told:
    """A turn as it was told last, and the middle one of the moments at which its probes began to move.

    `sure`: none of its probes could still be in the air when it was told; `back`: most had come back from it.
    """

    seen: TurnSeen
    out_ms: int
    sure: bool
    back: bool = False


@dataclass(slots=True)
class BedTurns:
    """What one bed's probes said lately; `looked_ms` is the newest moment it was looked at."""

    rings: dict[str, Ring] = field(default_factory=dict)
    astir_ms: int = 0
    looked_ms: int = 0
    told: list[Told] = field(default_factory=list)
    thought: list[int] = field(default_factory=list)
    known: dict[str, list[Passage]] = field(default_factory=dict, metadata={"derived": True})


@dataclass(slots=True)
class Lasted:
    """How long a turn took for the whole of a bed, as its probes showed; `weight` 0 to 1: how well."""

    ROW: ClassVar[bool] = True

    turn: int
    bed: str
    length_m: float
    took_s: int
    weight: float
    ended_ms: int


@dataclass(slots=True)
class Turns:
    """All beds of a site and the air over them. `number` is that of the newest turn seen."""

    beds: dict[str, BedTurns] = field(default_factory=dict)
    air: dict[str, Ring] = field(default_factory=dict)
    number: int = 0
    lasted: list[Lasted] = field(default_factory=list)
    known: dict[str, list[Passage]] = field(default_factory=dict, metadata={"derived": True})
