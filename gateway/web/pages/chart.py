"""Charts as SVG paths: a long series kept to a few hundred columns whose lowest and highest values survive.

They are made here so that they print, need no script and are the same for whoever looks.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from math import ceil, floor, log10
from operator import add
from typing import NamedTuple

from gateway.ports import Minute

_HOUR_MS = 3_600_000
COLUMNS = 320
# `Column(...)` without a call of Python's for each of thousands.
_new = tuple.__new__
#: A line is broken where nothing was heard for so long (ours), or for so many of a rarer probe's intervals:
#: by the minute and by the quarter of an hour alike.
GAP_MS, GAP_INTERVALS = 20 * 60_000, 3
#: Spans longer than this are drawn from quarters of an hour, shorter ones from minutes.
LONG_MS = 48 * _HOUR_MS


class Column(NamedTuple):
    """One column of a chart: when (Unix ms), the lowest, the mean and the highest value in it; and whether
    nothing was heard for long before it."""

    at_ms: int
    low: float
    mean: float
    high: float
    begins: bool = False


class Frame(NamedTuple):
    """A drawing's axes: times and values at its edges, and where they lie.

    Across in thousandths of its width, which stretches with the screen; down in sixteenths of a letter,
    which grows with the reader's (`letters`).
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

    def across(self, times: Iterable[float]) -> list[str]:
        """Where times lie, as text; thousands of them, hence without a call for each."""
        from_ms, left = self.from_ms, self.left
        across = (self.right - left) / max(1, self.to_ms - from_ms)
        return [f"{left + (at_ms - from_ms) * across:.1f} " for at_ms in times]

    def down(self, values: Iterable[float]) -> list[str]:
        """Where values lie, as text."""
        low, high, bottom = self.low, self.high, self.bottom
        down = (bottom - self.top) / ((high - low) or 1.0)
        return [
            f"{bottom - ((low if value < low else high if value > high else value) - low) * down:.1f}"
            for value in values
        ]


def columns(
    minutes: Iterable[Minute],
    from_ms: int,
    to_ms: int,
    fixed: Callable[[float], float] | None = None,
    most: int = COLUMNS,
    every_ms: int = 60_000,
) -> list[Column]:
    """The series in at most `most` columns and one more for each long silence; no low and no high is lost.

    `fixed` calibrates a value: a straight line, so that a column's lowest, mean and highest can be put
    through it instead of every value's. None for values that are good as they are. `every_ms` is how often
    the probe speaks: so far before its last reading began what a quarter of an hour has of it.
    """
    width = max(60_000, ceil((to_ms - from_ms) / most))
    gap_ms = max(GAP_MS, GAP_INTERVALS * every_ms)
    found: list[Column] = []
    column, times, total, low, high, at_ms, begins = -1, 0, 0.0, 0.0, 0.0, 0, True
    for begin_ms, often, least, mean, greatest, _, last_ms, _ in minutes:
        here = (begin_ms - from_ms) // width
        # The first test is for speed: thousands of rows pass here, and seldom one comes after a silence.
        silent = (
            last_ms - at_ms > gap_ms
            and times > 0
            and max(begin_ms, last_ms - (often - 1) * every_ms) - at_ms > gap_ms
        )
        if here != column or not times or silent:
            if times:
                found.append(_new(Column, (at_ms, low, total / times, high, begins)))
                begins = silent
            column, times, total, low, high = here, 0, 0.0, least, greatest
        times, total, at_ms = times + often, total + mean * often, last_ms
        if least < low:
            low = least
        if greatest > high:
            high = greatest
    if times:
        found.append(_new(Column, (at_ms, low, total / times, high, begins)))
    return found if fixed is None else [_column(fixed, *one) for one in found]


def _column(
    fixed: Callable[[float], float], at_ms: int, low: float, mean: float, high: float, begins: bool
) -> Column:
    ends = fixed(low), fixed(high)
    return Column(at_ms, min(ends), fixed(mean), max(ends), begins)


def runs(found: Sequence[Column]) -> list[list[Column]]:
    """The series broken where nothing was heard."""
    cuts = [n for n, one in enumerate(found) if n and one[4]]
    return [list(found[a:b]) for a, b in pairwise([0, *cuts, len(found)])] if found else []


def paths(frame: Frame, found: Sequence[Column]) -> tuple[str, str]:
    """The means as a path; lowest to highest as an area, which is empty where they are nowhere apart by half
    a unit of the drawing."""
    line, area = [], []
    apart = 0.5 * ((frame.high - frame.low) or 1.0) / (frame.bottom - frame.top)
    for run in runs(found):
        x = frame.across([one[0] for one in run])
        line += ["M", "L".join(map(add, x, frame.down([one[2] for one in run]))), "h1" * (len(run) == 1)]
        if len(run) < 2 or all(one[3] - one[1] < apart for one in run):
            continue
        up = map(add, x, frame.down([one[3] for one in run]))
        back = map(add, reversed(x), frame.down([one[1] for one in reversed(run)]))
        area += ["M", "L".join(up), "L", "L".join(back), "Z"]
    return "".join(line), "".join(area)


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


def marks(low: float, high: float, wanted: int = 6) -> list[float]:
    """Where the value axis is marked, into about so many parts and no more."""
    step = step_of(high - low, wanted)
    first = ceil(low / step - 1e-9)
    return [round(at * step, 6) for at in range(first, floor(high / step + 1e-9) + 1)]


def hours(from_ms: int, to_ms: int, zero_ms: int) -> list[tuple[int, int, int]]:
    """Where the time axis is marked: (Unix ms, hours since `zero_ms`, how many marks since), whole hours and
    not too many."""
    span_h = (to_ms - from_ms) / _HOUR_MS
    step = next((one for one in (1, 2, 3, 4, 6, 12, 24, 48) if span_h / one <= 9), 96)
    first = ceil((from_ms - zero_ms) / _HOUR_MS / step)
    last = floor((to_ms - zero_ms) / _HOUR_MS / step)
    return [(zero_ms + at * step * _HOUR_MS, at * step, at) for at in range(first, last + 1)]
