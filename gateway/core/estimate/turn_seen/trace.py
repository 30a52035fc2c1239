"""A thermometer's samples, smoothed, and the stretches in which they move faster than grain does by itself.

All temperatures are hundredths of a degree, whole numbers: they store short and add exactly.
"""

from __future__ import annotations

from collections.abc import Sequence

#: How far a level must move within `LOOK_MS` to be faster than growth, weather or airing: 0.3 K in 5 min is
#: 3.6 K an hour, twice what a bed without losses heats (grade D). Where the probe itself wavers more, more.
LEAST_MOVE, LOOK_MS = 30, 300_000
#: A move must stand out this many times from what the probe did in the quieter part of the time.
_OVER_NOISE, _QUIETER_SHARE = 8.0, 0.7
#: Samples that make a plateau: with fewer between them, two moves are one.
_PLATEAU = 3
#: A change across a silence this long happened at no known moment.
GAP_MS = 480_000
#: A probe whose value has not moved by one digit this long may have been stuck: its move may be older.
STILL = 25
#: The first step of a probe that was not stuck is at most this share of its way there.
_STEP_SHARE = 0.6


class Trace:
    """The heard samples of a ring, smoothed, with the times they were heard at."""

    def __init__(self, values: Sequence[int | None], last: int, bin_ms: int) -> None:
        first_ms = (last - len(values) + 1) * bin_ms + bin_ms // 2
        self.raw = [value for value in values if value is not None]
        every = range(first_ms, first_ms + len(values) * bin_ms, bin_ms)
        #: Whether nothing is missing: then a look back is always as many samples.
        self.whole = len(self.raw) == len(values)
        self.times = (
            list(every)
            if self.whole
            else [at_ms for at_ms, value in zip(every, values, strict=True) if value is not None]
        )
        self.level = _smooth(self.raw)
        self.look_ms = max(LOOK_MS, 3 * bin_ms)
        self.bin_ms = bin_ms

    def changes(self) -> tuple[list[int], list[int]]:
        """For each sample, how much it differs from the oldest within the look back, and which that is."""
        times, level, look_ms = self.times, self.level, self.look_ms
        if self.whole:
            since = ([0] * (look_ms // self.bin_ms) + list(range(len(level))))[: len(level)]
            return [now - level[j] for now, j in zip(level, since, strict=True)], since
        change, since, j = [0], [0], 0
        for i in range(1, len(times)):
            start = times[i] - look_ms
            while times[j] < start and j < i - 1:
                j += 1
            change.append(level[i] - level[j])
            since.append(j)
        return change, since


def _smooth(raw: list[int]) -> list[int]:
    """Each sample the middle one of three; the newest the middle one of the last three."""
    if len(raw) < 3:
        return raw
    middle = [
        (a if c < a else b if c > b else c) if a < b else (b if c < b else a if c > a else c)
        for a, b, c in zip(raw, raw[1:], raw[2:], strict=False)
    ]
    return [raw[0], *middle, middle[-1]]


def least_move(change: list[int]) -> int:
    """The least move that stands out; takes the slow trend out of the changes."""
    ordered = sorted(change)
    middle = ordered[len(change) // 2]
    change[:] = [value - middle for value in change]
    # Without its sign what is in order falls, then rises: two runs, which are merged and not sorted.
    quiet = sorted([abs(value - middle) for value in ordered])[: max(1, int(len(change) * _QUIETER_SHARE))]
    return max(LEAST_MOVE, int(_OVER_NOISE * sum(quiet) / len(quiet)))


def runs(change: list[int], since: list[int], least: int) -> list[tuple[int, int]]:
    """Stretches of samples that move, joined where no plateau lies between."""
    runs: list[tuple[int, int]] = []
    for i in [i for i, value in enumerate(change) if not -least < value < least]:
        if runs and since[i] <= runs[-1][1] + _PLATEAU:
            runs[-1] = (runs[-1][0], i)
        else:
            runs.append((since[i], i))
    return runs


def unsure_from(trace: Trace, start: int, end: int) -> int:
    """Since when the move may have happened: before a silence, or while one and the same value was said."""
    times, raw = trace.times, trace.raw
    if start + 1 < len(times) and times[start + 1] - times[start] > max(GAP_MS, 3 * trace.bin_ms):
        return times[start] - 1
    k = start
    while k > 0 and raw[k - 1] == raw[start]:
        k -= 1
    # One value back to where the memory begins may be older than that.
    still = start - k >= STILL or k == 0
    return times[k] if still and not _slides(raw[start : end + 1]) else times[start]


def _slides(raw: list[int]) -> bool:
    """Whether a move goes step by step, as a live probe's lag has it; one that was stuck is there at once."""
    away = [abs(value - raw[0]) for value in raw]
    step = next((value for value in away if value), 0)
    return 0 < step <= _STEP_SHARE * max(away)
