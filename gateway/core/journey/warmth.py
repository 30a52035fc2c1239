"""Thermal time of a piece: hours times kelvins above a base temperature, added up from the beds' means.

The base is the programme's `base_c`; 2 C is a default of grade D, derived and not measured on any floor. Time
that no probe watched is not counted, and how much was is told beside the sum. The kiln is not counted.
"""

from __future__ import annotations

from dataclasses import dataclass

_HOUR_MS = 3_600_000
#: A gap no longer than this is bridged with the mean after it; a longer one is not counted (ours).
_BRIDGE_MS = 3 * _HOUR_MS


@dataclass(slots=True)
class Warmth:
    """The sum in K·h, the time it covers in ms, when it was last added to (Unix ms), and the base."""

    kh: float = 0.0
    watched_ms: int = 0
    last_ms: int = 0
    base_c: float = 0.0

    def add(self, at_ms: int, mean_c: float | None, base_c: float) -> None:
        """Add the time since the last call at this mean temperature; None: nobody knows, nothing is added."""
        self.base_c = base_c
        span_ms = at_ms - self.last_ms if self.last_ms else 0
        if mean_c is None:
            return
        self.last_ms = at_ms
        if 0 < span_ms <= _BRIDGE_MS:
            self.kh += max(0.0, mean_c - base_c) * span_ms / _HOUR_MS
            self.watched_ms += span_ms
