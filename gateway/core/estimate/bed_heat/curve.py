"""What a thermometer said, five minutes at a time: the one memory that a bed's heat is reckoned from."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

BIN_MS = 300_000
#: Eight hours: beds are turned two to three times a day, and what is older says little of the next hours.
BINS = 96
#: What a thermometer in grain, in a room, or on a hook can say; sentinels and garbage lie outside.
COLDEST_C, WARMEST_C = -20.0, 60.0
#: Within one bin a value this far from the mean so far is a burst.
_BURST_K = 2.5
#: Layers of three bins are compared: no bed cools or warms so much in a quarter of an hour by itself (ours,
#: grade D). A thermometer that wavers more is allowed more.
_FELL_K, _ROSE_K, _WAVERS = 0.35, 0.9, 4.0
#: A thermometer put into grain comes near its temperature in this time (150 s to 63 %, ours, grade D).
SETTLE_BINS = 2


class Spot(NamedTuple):
    """The mean of one bin (C), its middle (Unix ms), and how many readings are in it."""

    at_ms: int
    value_c: float
    heard: int


@dataclass(slots=True)
class Curve:
    """Bins up to `last` (Unix ms divided by the bin's length): sums in hundredths of a K, and counts."""

    last: int = 0
    sums: list[int] = field(default_factory=list)
    counts: list[int] = field(default_factory=list)

    def put(self, measured_ms: int, value_c: float) -> bool:
        """Take a reading, late ones too; False if it is garbage, a burst, or older than all that is kept."""
        if not COLDEST_C <= value_c <= WARMEST_C:
            return False
        index = measured_ms // BIN_MS
        if index > self.last:
            self._open(index)
        sums, counts = self.sums, self.counts
        place = index - self.last + len(sums) - 1
        if place < 0:
            return False
        count = counts[place]
        whole = math.floor(value_c * 100.0 + 0.5)
        if count and abs(whole * count - sums[place]) > _BURST_K * 100.0 * count:
            if count > 1:
                return False
            # Two that disagree: the newer stands, so that a burst cannot hold the place.
            sums[place], counts[place] = whole, 1
            return True
        sums[place] += whole
        counts[place] = count + 1
        return True

    def _open(self, index: int) -> None:
        missing = index - self.last
        if missing >= BINS or not self.sums:
            self.sums, self.counts = [0], [0]
        else:
            self.sums += [0] * missing
            self.counts += [0] * missing
            del self.sums[:-BINS], self.counts[:-BINS]
        self.last = index

    def spots(self, since_ms: int = 0) -> list[Spot]:
        """The bins that heard something and began at or after a moment, oldest first."""
        first = self.last - len(self.sums) + 1
        start = max(0, -(-since_ms // BIN_MS) - first)
        return [
            Spot((first + i) * BIN_MS + BIN_MS // 2, self.sums[i] / 100.0 / self.counts[i], self.counts[i])
            for i in range(start, len(self.sums))
            if self.counts[i]
        ]

    def near(self, at_ms: int) -> float | None:
        """The value (C) of the newest bin at or before a moment that heard something."""
        first = self.last - len(self.sums) + 1
        for i in range(min(at_ms // BIN_MS - first, len(self.sums) - 1), -1, -1):
            if self.counts[i]:
                return self.sums[i] / 100.0 / self.counts[i]
        return None


def wavering_k(spots: list[Spot]) -> float:
    """How much a bin's mean wavers (one standard deviation, K), by the middle of its second differences."""
    bends = sorted(
        abs(a.value_c - 2.0 * b.value_c + c.value_c)
        for a, b, c in zip(spots, spots[1:], spots[2:], strict=False)
    )
    if not bends:
        return 0.1
    # The middle of |N(0, s)| is 0.674 s; a second difference of independent values has s = sqrt(6).
    return min(0.3, max(0.02, bends[len(bends) // 2] / 0.674 / math.sqrt(6.0)))


def runs(spots: list[Spot]) -> list[list[Spot]]:
    """A curve cut at its leaps, oldest run first; bursts, and a thermometer's time to settle, left out."""
    kept = without_bursts(spots)
    cuts = leaps(kept)
    starts = [0, *(min(len(kept), cut + SETTLE_BINS) for cut in cuts)]
    return [kept[start:end] for start, end in zip(starts, [*cuts, len(kept)], strict=True)]


def leaps(spots: list[Spot]) -> list[int]:
    """Where the level changes for good, as no bed does by itself: the first spots after each leap."""
    waver_k = _WAVERS * wavering_k(spots)
    return [i for i in range(1, len(spots) - 1) if _leaps(spots, i, waver_k)]


def _leaps(spots: list[Spot], i: int, waver_k: float) -> bool:
    """Whether between spot `i` - 1 and spot `i` the level changes for good."""
    before, after = spots[max(0, i - 3) : i], spots[i : i + 3]
    if len(after) < 2:
        return False
    moved = _middle(after) - _middle(before)
    hours = (after[len(after) // 2].at_ms - before[len(before) // 2].at_ms) / 3_600_000
    slack = max(1.0, hours / 0.25)
    return moved < -max(_FELL_K * slack, waver_k) or moved > max(_ROSE_K * slack, waver_k)


def _middle(spots: list[Spot]) -> float:
    values = sorted(spot.value_c for spot in spots)
    half = len(values) // 2
    return values[half] if len(values) % 2 else (values[half - 1] + values[half]) / 2.0


def without_bursts(spots: list[Spot]) -> list[Spot]:
    """Without bins that stand out from both their neighbours to the same side."""
    kept = []
    for i, spot in enumerate(spots):
        if 0 < i < len(spots) - 1:
            low = min(spots[i - 1].value_c, spots[i + 1].value_c) - 0.5
            high = max(spots[i - 1].value_c, spots[i + 1].value_c) + 0.5
            if not low <= spot.value_c <= high:
                continue
        kept.append(spot)
    return kept
