"""When a turn began and ended, and which stretch it took, from when it came by each probe."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gateway.core.estimate.turn_seen_bed import Bed

#: Probes nearer than this hang in one place: a turn passes them together.
PLACE_M = 1.0
#: A walk that reaches places this near in time has no pace: all probes came out, or the bed fell, at once.
_TOGETHER_MS = 120_000
#: Out longer than this, a probe was out for the whole turn, not for its passing by.
_WHOLE_OUT_MS = 900_000
#: A bed is not turned end to end faster or slower than these (grade D).
_FASTEST_MS, _SLOWEST_MS = 300_000, 5_400_000


class Passed(NamedTuple):
    """When a turn came by a place: from the first sign to the probe's return (Unix ms), and the place."""

    at_m: float
    out_ms: int
    pass_ms: int
    back_ms: int
    strayed: bool


class Walk(NamedTuple):
    """A turn's times (Unix ms) and stretch (m)."""

    began_ms: int
    ended_ms: int
    from_m: float
    to_m: float


def walk(bed: Bed, passed: Sequence[Passed], others_m: Sequence[float]) -> Walk:
    """The walk that came by these places; `others_m` are places whose probes did not show it.

    Between a place that shows it and one that does not, the stretch ends halfway; with none beyond, it goes
    to the end of the bed. Pace and ends are a straight line through the places, or the usual time.
    """
    shown = sorted(one.at_m for one in passed)
    below = [m for m in others_m if m < shown[0] - PLACE_M]
    above = [m for m in others_m if m > shown[-1] + PLACE_M]
    from_m = (max(below) + shown[0]) / 2.0 if below else bed.from_m
    to_m = (min(above) + shown[-1]) / 2.0 if above else bed.to_m
    first, last = min(one.pass_ms for one in passed), max(one.pass_ms for one in passed)
    out, back = min(one.out_ms for one in passed), max(one.back_ms for one in passed)
    length_m = bed.to_m - bed.from_m
    long_out = sum(one.strayed and one.back_ms - one.out_ms > _WHOLE_OUT_MS for one in passed)
    if 2 * long_out >= len(passed):
        return Walk(out, back, from_m, to_m)
    if shown[-1] - shown[0] > PLACE_M and last - first <= _TOGETHER_MS:
        return Walk(out, back if any(one.strayed for one in passed) else last, from_m, to_m)
    if shown[-1] - shown[0] <= PLACE_M:
        half = int(bed.figures.turn_s * 500.0 * (to_m - from_m) / length_m) if length_m > 0.0 else 0
        middle = sorted(one.pass_ms for one in passed)[len(passed) // 2]
        return Walk(middle - half, middle + half, from_m, to_m)
    at_m, at_ms, pace = _line(passed, length_m)
    ends = (at_ms + pace * (from_m - at_m), at_ms + pace * (to_m - at_m))
    return Walk(min(first, int(min(ends))), max(last, int(max(ends))), from_m, to_m)


def next_ms(bed: Bed, passed: Sequence[Passed], others_m: Sequence[float]) -> int:
    """When a walk that goes on should have come by the nearest place that has not shown it, Unix ms."""
    last = max(passed, key=lambda one: one.pass_ms)
    length_m = bed.to_m - bed.from_m
    away_m = min((abs(m - last.at_m) for m in others_m), default=0.0)
    places = [one.at_m for one in passed]
    pace = bed.figures.turn_s * 1000.0 / length_m if length_m > 0.0 else 0.0
    if max(places) - min(places) > PLACE_M:
        pace = abs(_line(passed, length_m)[2])
    return last.pass_ms + int(away_m * pace)


def _line(passed: Sequence[Passed], length_m: float) -> tuple[float, float, float]:
    """The middle of the places (m, Unix ms) and the pace through them, ms per metre, by least squares.

    The pace is no faster and no slower than a bed can be turned; its sign is the direction.
    """
    base = passed[0].pass_ms
    at_m = sum(one.at_m for one in passed) / len(passed)
    at_ms = sum(one.pass_ms - base for one in passed) / len(passed)
    spread = sum((one.at_m - at_m) ** 2 for one in passed)
    pace = sum((one.at_m - at_m) * (one.pass_ms - base - at_ms) for one in passed) / spread
    size = min(_SLOWEST_MS / length_m, max(_FASTEST_MS / length_m, abs(pace)))
    return at_m, base + at_ms, size if pace >= 0.0 else -size
