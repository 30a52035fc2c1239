"""What is kept of the heat of the beds."""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core.callout import Calling
from gateway.core.estimate.bed_heat.balance import Bed
from gateway.core.estimate.bed_heat.said import Outlook
from gateway.core.estimate.bed_heat.state import Heat


@dataclass(slots=True)
class Word:
    """The evening's word of heat to come: when next (Unix ms, running ms), and who has been sent the last."""

    at_ms: int = 0
    run_ms: int = 0
    calling: Calling = field(default_factory=Calling)


@dataclass(slots=True)
class Heats:
    """The balances, when they are next considered, the evening's word, and what was reckoned just now."""

    heat: Heat = field(default_factory=Heat)
    next_run_ms: int = 0
    word: Word = field(default_factory=Word)
    ahead: dict[str, tuple[int, Bed, list[Outlook], str | None]] = field(
        default_factory=dict, metadata={"derived": True}
    )
