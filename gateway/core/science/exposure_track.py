"""One rolling mean: what is in its window, summed, and the highest it has been.

The signal is made of steps, kept as pieces. Steps that begin within one cell of time are kept as one piece:
its sum is exact, and while the window's old end cuts through it the lower bound leaves it out and the upper
one leaves it in, at most one cell's worth. With readings a cell apart or more everything is exact. So the
memory is bounded by window / cell + 2 pieces, whatever the probe sends, and a reading costs a fixed number
of steps on average. Stored, a piece takes some 15 to 30 bytes.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from math import fsum
from typing import NamedTuple, TypeAlias

#: What is breathed at a moment: at least, at most, and 1 where it is known, else 0. Times ms it is an area.
Rates: TypeAlias = tuple[float, float, float]
#: (ms, value), where all of it was known to be of one value; (ms, mean, 1) of several steps, all known; else
#: (ms, low, high, known, mixed), with mixed 1 where it is of several steps and the rates are their mean.
Piece: TypeAlias = tuple[int | float, ...]


class Span(NamedTuple):
    """A window, what its sum is divided by, and the cell: all in ms."""

    window_ms: int
    divide_ms: int
    cell_ms: int


@dataclass(frozen=True, slots=True)
class Highest:
    """The highest mean so far was at least `low` (at `at_ms`, the window's end) and at most `high`."""

    low: float = 0.0
    high: float = 0.0
    at_ms: int = 0


@dataclass(slots=True)
class Track:
    """The window's pieces, from `start_ms` to `end_ms` without a hole, and the sum of their areas."""

    pieces: deque[Piece] = field(default_factory=deque)
    start_ms: int = 0
    end_ms: int = 0
    area: Rates = (0.0, 0.0, 0.0)
    gone: int = 0
    highest: Highest = field(default_factory=Highest)

    def begin(self, at_ms: int) -> None:
        """Nothing is in it; the first step begins here."""
        self.start_ms = self.end_ms = at_ms

    def forward(self, span: Span, to_ms: int, rates: Rates) -> None:
        """Add a step, in parts that end where an old piece has left: only there can the highest mean lie."""
        while self.end_ms < to_ms:
            until_ms = to_ms
            if self.pieces:
                left_ms = self.start_ms + int(self.pieces[0][0]) + span.window_ms
                until_ms = left_ms if self.end_ms < left_ms < to_ms else to_ms
            self._put(span, until_ms, rates)
            self._leave(self.end_ms - span.window_ms)
            low, high, _ = self.areas(self.end_ms - span.window_ms)
            self._raise(low / span.divide_ms, high / span.divide_ms)

    def areas(self, since_ms: int) -> Rates:
        """Bounds of what lies in it from `since_ms` on, and how long of it is known (ms)."""
        area, from_ms = self.area, float(self.start_ms)
        for piece in self.pieces:
            if from_ms >= since_ms:
                break
            ms = piece[0]
            (low, high, known), mixed = _rates(piece)
            if from_ms + ms > since_ms:
                if mixed:
                    area = (area[0] - low * ms, area[1], area[2] - known * ms)
                    break
                ms = since_ms - from_ms
            area = _plus(area, (low, high, known), -ms)
            from_ms += piece[0]
        return max(0.0, area[0]), max(0.0, area[1]), max(0.0, area[2])

    def move(self, by_ms: int) -> None:
        """The clock was set: everything was that much later."""
        self.start_ms += by_ms
        self.end_ms += by_ms
        self.highest = replace(self.highest, at_ms=self.highest.at_ms + by_ms)

    def _put(self, span: Span, until_ms: int, rates: Rates) -> None:
        """Add a step as a piece, or as part of the last one (then only to the end of its cell)."""
        cell = self.end_ms // span.cell_ms
        last = self.pieces[-1] if self.pieces else None
        ms = until_ms - self.end_ms
        if last is None:
            self.pieces.append(_piece(ms, rates))
        elif _rates(last) == (rates, False):
            self.pieces[-1] = (last[0] + ms, *last[1:])
        elif (self.end_ms - int(last[0])) // span.cell_ms == cell:
            ms = min(until_ms, (cell + 1) * span.cell_ms) - self.end_ms
            self.pieces[-1] = _joined(last, ms, rates)
        else:
            self.pieces.append(_piece(ms, rates))
        self.area = _plus(self.area, rates, ms)
        self.end_ms += ms

    def _leave(self, since_ms: int) -> None:
        pieces = self.pieces
        while pieces and self.start_ms + pieces[0][0] <= since_ms:
            piece = pieces.popleft()
            self.start_ms += int(piece[0])
            self.area = _plus(self.area, _rates(piece)[0], -piece[0])
            self.gone += 1
        if self.gone > len(pieces):
            # Roundings would add up over months; summing anew this seldom costs one step a piece.
            self.gone = 0
            low, high, known = (fsum(p[0] * _rates(p)[0][i] for p in pieces) for i in range(3))
            self.area = (low, high, known)

    def _raise(self, low: float, high: float) -> None:
        best = self.highest
        if low > best.low:
            self.highest = Highest(low, max(high, best.high), self.end_ms)
        elif high > best.high:
            self.highest = replace(best, high=high)


def _plus(area: Rates, rates: Rates, ms: float) -> Rates:
    return area[0] + rates[0] * ms, area[1] + rates[1] * ms, area[2] + rates[2] * ms


def _piece(ms: float, rates: Rates) -> Piece:
    low, high, known = rates
    return (ms, low) if low == high and known == 1.0 else (ms, low, high, known, 0.0)


def _rates(piece: Piece) -> tuple[Rates, bool]:
    if len(piece) == 2:
        return (piece[1], piece[1], 1.0), False
    if len(piece) == 3:
        return (piece[1], piece[1], 1.0), True
    return (piece[1], piece[2], piece[3]), piece[4] == 1.0


def _joined(last: Piece, ms: float, rates: Rates) -> Piece:
    before, _ = _rates(last)
    whole = last[0] + ms
    low, high, known = ((a * last[0] + b * ms) / whole for a, b in zip(before, rates, strict=True))
    return (whole, low, 1.0) if low == high and known == 1.0 else (whole, low, high, known, 1.0)
