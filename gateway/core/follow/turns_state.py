"""What is kept of turns seen: the probes' last hour and a half, and each turn they told of lately."""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core.estimate.turn_seen.bed import TurnSeen
from gateway.core.estimate.turn_seen.state import Turns
from gateway.core.follow.turns_wiring import Wiring


@dataclass(slots=True)
class Seen:
    """A turn that probes told of, as they tell it now. Times are Unix ms.

    `turn`: its number, shared with the entry that records it; 0 while it has none (a ploughing). `known_ms`:
    when it was first told, by the gateway's time. `record_n`: the entry that records it, 0 if none; `part`:
    it is a part of a recorded turn whose row tells of it. `no_n`: the entry that says there was no such turn.
    """

    seen: TurnSeen
    known_ms: int
    turn: int = 0
    record_n: int = 0
    part: bool = False
    no_n: int = 0

    @property
    def n(self) -> int:
        """Under this number it stands among what people recorded; those have numbers above 0."""
        return -self.seen.turn

    @property
    def middle_ms(self) -> int:
        """The middle of the turn, from which the clock runs."""
        return (self.seen.began_ms + self.seen.ended_ms) // 2

    @property
    def is_turn(self) -> bool:
        """Whether the probes still say that it was a turn."""
        return self.seen.state == "seen" and self.seen.kind != "ploughed"


@dataclass(slots=True)
class TurnsSeen:
    """`seen` by bed, oldest first. `watched_ms`: since when two heights of a bed have been heard."""

    turns: Turns = field(default_factory=Turns)
    seen: dict[str, list[Seen]] = field(default_factory=dict)
    watched_ms: dict[str, int] = field(default_factory=dict)
    next_run_ms: int = 0
    wiring: Wiring | None = field(default=None, metadata={"derived": True})
