"""What a bed wants since its newest turn, as the samples of `rules.sample` found it."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(slots=True)
class Want:
    """One bed since its newest turn (`from_ms`): the lowest its hottest probe came to, and what it wants.

    `since` is from when on (Unix ms) each of rise, spread and co2 has held. `chilled`: even the hottest probe
    is at the low limit, and carbon dioxide, where it is measured, is no reason to turn.
    """

    from_ms: int = 0
    low_c: float | None = None
    since: dict[str, int] = field(default_factory=dict)
    chilled: bool = False
