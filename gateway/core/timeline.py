"""Two axes of time and the grid of ticks between inputs.

*Running time* (`run_ms`) counts what the gateway lived through: it never jumps and stands still while the
gateway is down. Every duration (delay, silence, repeat, hold) counts on it. *At* (`at_ms`) is the calendar:
running time plus an offset that changes only by inputs, `ClockStepped` and `Resumed`. Both are therefore
the same for a live run and for a replay of its journal, to the millisecond. A store begins with `run_ms`
equal to `at_ms`.

Ticks are the whole 10 s of running time. A step of the clock or a night without power makes none.
"""

from __future__ import annotations

from dataclasses import dataclass

TICK_MS = 10_000
#: A clock set back by more than this is believed at once; by less, `at` waits until it is caught up.
REBASE_MS = 5 * 60 * 1000


@dataclass(slots=True)
class Axis:
    """Running time to calendar time."""

    offset_ms: int = 0
    floor_ms: int = 0

    def at_ms(self, run_ms: int) -> int:
        """The calendar time at a running time; it never goes backwards but by a re-base."""
        return max(self.floor_ms, run_ms + self.offset_ms)

    def shift(self, run_ms: int, by_ms: int) -> None:
        """From `run_ms` on the calendar is `by_ms` further; a step back of more than 5 min re-bases."""
        if by_ms < -REBASE_MS:
            self.floor_ms = 0
        else:
            self.floor_ms = self.at_ms(run_ms)
        self.offset_ms += by_ms
