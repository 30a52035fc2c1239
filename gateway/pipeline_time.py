"""Stamps: what the writer puts on everything it commits, and when the clock was seen to step."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from gateway.core.timeline import Axis
from gateway.ports import Clock, Journal

#: The calendar may be this far from running time + offset before a step is recorded.
STEP_MS = 1000
_META = "axis"


class Stamp(NamedTuple):
    """`stepped_ms` is not 0 where the clock has been set since the last stamp; `axis` already knows."""

    at_ms: int
    run_ms: int
    stepped_ms: int
    axis: Axis


class Stamper:
    """Gives stamps. A stamp with a step counts only after `took`, when the step is committed."""

    def __init__(self, clock: Clock, axis: Axis, run_ms: int) -> None:
        self._clock = clock
        self._axis = axis
        self._zero_ms = run_ms - clock.mono_ms()

    @classmethod
    def resume(cls, clock: Clock, journal: Journal) -> tuple[Stamper, int | None]:
        """From where the store stands; and the milliseconds it was down, None for a new store."""
        n, _, run_ms = journal.last_stamp()
        if not n:
            return cls(clock, Axis(), clock.wall_ms()), None
        axis = kept_axis(journal)
        return cls(clock, axis, run_ms), clock.wall_ms() - (run_ms + axis.offset_ms)

    def now(self) -> Stamp:
        """The stamp of this moment."""
        run_ms = self._zero_ms + self._clock.mono_ms()
        step_ms = self._clock.wall_ms() - (run_ms + self._axis.offset_ms)
        if abs(step_ms) < STEP_MS:
            return Stamp(self._axis.at_ms(run_ms), run_ms, 0, self._axis)
        return self.shifted(run_ms, step_ms)

    def shifted(self, run_ms: int, by_ms: int) -> Stamp:
        """The stamp at a running time from which the calendar is `by_ms` further."""
        axis = replace(self._axis)
        axis.shift(run_ms, by_ms)
        return Stamp(axis.at_ms(run_ms), run_ms, by_ms, axis)

    def took(self, stamp: Stamp) -> None:
        """The stamp's step is committed."""
        self._axis = stamp.axis

    def at_ms(self, run_ms: int) -> int:
        """The calendar at a running time."""
        return self._axis.at_ms(run_ms)


def kept_axis(journal: Journal) -> Axis:
    """The axis as of the store's newest step."""
    offset_ms, floor_ms = (journal.get_meta(_META) or "0 0").split()
    return Axis(int(offset_ms), int(floor_ms))


def keep_axis(journal: Journal, axis: Axis) -> None:
    """Keep the axis beside the journal, in the same commit as the step that changed it."""
    journal.set_meta(_META, f"{axis.offset_ms} {axis.floor_ms}")


def resumed_at_ms(journal: Journal) -> int | None:
    """Where the calendar of a store stood when it was last written to; None for a new store."""
    n, _, run_ms = journal.last_stamp()
    return kept_axis(journal).at_ms(run_ms) if n else None
