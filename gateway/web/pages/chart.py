"""Charts as SVG paths: a long series kept to a few hundred columns whose lowest and highest values survive.

They are made here so that they print, need no script and are the same for whoever looks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from math import ceil, floor, log10
from typing import NamedTuple

from gateway.ports import Minute

_HOUR_MS = 3_600_000
COLUMNS = 320
#: A line is broken where nothing was heard for so long (ours).
GAP_MS = 20 * 60_000


class Column(NamedTuple):
    """One column of a chart: when (Unix ms), the lowest, the mean and the highest value in it."""

    at_ms: int
    low: float
    mean: float
    high: float


class Frame(NamedTuple):
    """A drawing's axes: times and values at its edges, and where they lie.

    Across in thousandths of its width, which stretches with the screen; down in pixels.
    """

    from_ms: int
    to_ms: int
    low: float
    high: float
    left: float = 0.0
    right: float = 1000.0
    top: float = 0.0
    bottom: float = 230.0

    def x(self, at_ms: float) -> float:
        """Where a time lies."""
        return self.left + (at_ms - self.from_ms) / max(1, self.to_ms - self.from_ms) * (
            self.right - self.left
        )

    def y(self, value: float) -> float:
        """Where a value lies; what is beyond the edge lies at the edge."""
        share = (value - self.low) / ((self.high - self.low) or 1.0)
        return self.bottom - min(1.0, max(0.0, share)) * (self.bottom - self.top)


def columns(
    minutes: Iterable[Minute], from_ms: int, to_ms: int, fixed: Callable[[float], float], most: int = COLUMNS
) -> list[Column]:
    """The series in at most `most` columns; no low and no high is lost. `fixed` calibrates a value."""
    width = max(60_000, ceil((to_ms - from_ms) / most))
    found: list[Column] = []
    last, times, total, low, high, at_ms = -1, 0, 0.0, 0.0, 0.0, 0
    for one in minutes:
        column = (one.begin_ms - from_ms) // width
        ends = fixed(one.low), fixed(one.high)
        if column != last:
            if times:
                found.append(Column(at_ms, low, total / times, high))
            last, times, total, low, high = column, 0, 0.0, min(ends), max(ends)
            at_ms = one.last_at_ms
        times, total = times + one.times, total + fixed(one.mean) * one.times
        low, high = min(low, *ends), max(high, *ends)
        at_ms = one.last_at_ms
    if times:
        found.append(Column(at_ms, low, total / times, high))
    return found


def runs(found: Sequence[Column], gap_ms: int = GAP_MS) -> list[list[Column]]:
    """The series broken where nothing was heard."""
    made: list[list[Column]] = []
    for one in found:
        if made and one.at_ms - made[-1][-1].at_ms <= gap_ms:
            made[-1].append(one)
        else:
            made.append([one])
    return made


def line(frame: Frame, found: Sequence[Column], gap_ms: int = GAP_MS) -> str:
    """The means as a path."""
    return "".join(
        "M"
        + "L".join(f"{frame.x(one.at_ms):.1f} {frame.y(one.mean):.1f}" for one in run)
        + ("h1" if len(run) == 1 else "")
        for run in runs(found, gap_ms)
    )


def reach(frame: Frame, found: Sequence[Column], gap_ms: int = GAP_MS) -> str:
    """Lowest to highest as an area; empty where they are nowhere apart by half a unit of the drawing."""
    made = ""
    for run in runs(found, gap_ms):
        if len(run) < 2 or all(frame.y(one.low) - frame.y(one.high) < 0.5 for one in run):
            continue
        up = [f"{frame.x(one.at_ms):.1f} {frame.y(one.high):.1f}" for one in run]
        down = [f"{frame.x(one.at_ms):.1f} {frame.y(one.low):.1f}" for one in reversed(run)]
        made += "M" + "L".join(up + down) + "Z"
    return made


def bounds(series: Iterable[Sequence[Column]], also: Iterable[float] = ()) -> tuple[float, float]:
    """The lowest and highest value of all, a little apart, to whole steps."""
    lows = [one.low for found in series for one in found] + list(also)
    highs = [one.high for found in series for one in found] + list(also)
    # The iterable may be one that is used up: callers give lists.
    if not lows:
        return 0.0, 1.0
    low, high = min(lows), max(highs)
    step = step_of(high - low)
    low, high = floor(low / step) * step, ceil(high / step) * step
    return low, high if high > low else low + step


def step_of(span: float, wanted: int = 6) -> float:
    """A round step (1, 2 or 5 times a power of ten) that divides a span into about `wanted` parts."""
    rough = max(span, 1e-6) / wanted
    power = 10.0 ** floor(log10(rough))
    return next((factor * power for factor in (1, 2, 5) if factor * power >= rough), 10 * power)


def marks(low: float, high: float) -> list[float]:
    """Where the value axis is marked."""
    step = step_of(high - low)
    first = ceil(low / step - 1e-9)
    return [round(at * step, 6) for at in range(first, floor(high / step + 1e-9) + 1)]


def hours(from_ms: int, to_ms: int, zero_ms: int) -> list[tuple[int, int]]:
    """Where the time axis is marked: (Unix ms, hours since `zero_ms`), whole and not too many."""
    span_h = (to_ms - from_ms) / _HOUR_MS
    step = next((one for one in (1, 2, 3, 4, 6, 12, 24, 48) if span_h / one <= 9), 96)
    first = ceil((from_ms - zero_ms) / _HOUR_MS / step)
    last = floor((to_ms - zero_ms) / _HOUR_MS / step)
    return [(zero_ms + at * step * _HOUR_MS, at * step) for at in range(first, last + 1)]
