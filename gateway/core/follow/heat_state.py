"""What is kept of the heat of the beds."""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core.estimate.bed_heat_said import Outlook
from gateway.core.estimate.bed_heat_state import Heat


@dataclass(slots=True)
class Heats:
    """The balances, when they are next considered, and what was reckoned ahead at this very moment."""

    heat: Heat = field(default_factory=Heat)
    next_run_ms: int = 0
    ahead: dict[str, tuple[int, list[Outlook], str | None]] = field(
        default_factory=dict, metadata={"derived": True}
    )
