"""When a turn began and ended, and which stretch it took, from when it came by each probe."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gateway.core.estimate.turn_seen.bed import Bed

#: Probes nearer than this hang in one place: a turn passes them together.
PLACE_M = 1.0
#: A walk that reaches places this near in time has no pace: all probes came out, or the bed fell, at once.
_TOGETHER_MS = 120_000
#: Out longer than this, a probe was out for the whole turn, not for its passing by.
_WHOLE_OUT_MS = 900_000
#: How far a turn's length is off the usual, and when a turn came by off what a place tells (grade D).
_USUAL_OFF_MS, _PASS_OFF_MS = 900_000, 120_000
#: Where all probes hang in one place, the turn may have been of a part that ended there: an end within a
#: quarter of an hour of that, less what a place errs, does for both; for it the whole's end is told so much
#: earlier at most (grade D).
_PART_TOO_MS, _EARLIER_MS = 840_000, 240_000
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
    """A turn's times (Unix ms) and stretch (m).

    `whole_ms`: the time for the whole bed as the probes showed it; `weight` 0 to 1: how well, 0 not at all.
    """

    began_ms: int
    ended_ms: int
    from_m: float
    to_m: float
    whole_ms: int = 0
    weight: float = 0.0


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
        return Walk(out, back, from_m, to_m, back - out, 1.0)
    if shown[-1] - shown[0] > PLACE_M and last - first <= _TOGETHER_MS:
        end = back if any(one.strayed for one in passed) else last
        return Walk(out, end, from_m, to_m, end - out, 1.0)
    if shown[-1] - shown[0] <= PLACE_M:
        half = int(bed.figures.turn_s * 500.0 * (to_m - from_m) / length_m) if length_m > 0.0 else 0
        hang = [bed.at_m(wire) for wire in bed.probes]
        if max(hang) - min(hang) <= PLACE_M:
            half = max(min(half, _PART_TOO_MS), half - _EARLIER_MS)
        middle = sorted(one.pass_ms for one in passed)[len(passed) // 2]
        return Walk(middle - half, middle + half, from_m, to_m)
    line = _line(passed, length_m, bed.figures.turn_s)
    ends = (line.ms(from_m), line.ms(to_m))
    began_ms, ended_ms = min(first, int(min(ends))), max(last, int(max(ends)))
    return Walk(began_ms, ended_ms, from_m, to_m, int(line.told * length_m), line.weight)


def next_ms(bed: Bed, passed: Sequence[Passed], others_m: Sequence[float]) -> int:
    """When a walk that goes on should have come by the nearest place that has not shown it, Unix ms."""
    last = max(passed, key=lambda one: one.pass_ms)
    length_m = bed.to_m - bed.from_m
    away_m = min((abs(m - last.at_m) for m in others_m), default=0.0)
    places = [one.at_m for one in passed]
    pace = bed.figures.turn_s * 1000.0 / length_m if length_m > 0.0 else 0.0
    if max(places) - min(places) > PLACE_M:
        pace = abs(_line(passed, length_m, bed.figures.turn_s).pace)
    return last.pass_ms + int(away_m * pace)


def scatter_ms(passed: Sequence[Passed]) -> int:
    """How far apart in time the probes of one place say that it came by: it passes them together."""
    near = [abs(a.pass_ms - b.pass_ms) for a in passed for b in passed if abs(a.at_m - b.at_m) <= PLACE_M]
    return max(near, default=0)


class _Line(NamedTuple):
    """A straight walk: by `at_m` at `at_ms`, at `pace` ms per metre; its sign is the direction.

    `told` is the pace by the places alone, `weight` what that counts beside the usual.
    """

    at_m: float
    at_ms: float
    pace: float
    told: float
    weight: float

    def ms(self, m: float) -> float:
        """When it comes by a place, Unix ms."""
        return self.at_ms + self.pace * (m - self.at_m)


def _line(passed: Sequence[Passed], length_m: float, turn_s: float) -> _Line:
    """The line through the places by least squares, its pace weighed against the usual.

    Places near each other tell little of the pace. It is no faster and no slower than a bed can be turned.
    """
    base = passed[0].pass_ms
    at_m = sum(one.at_m for one in passed) / len(passed)
    at_ms = sum(one.pass_ms - base for one in passed) / len(passed)
    square = sum((one.at_m - at_m) ** 2 for one in passed)
    slope = sum((one.at_m - at_m) * (one.pass_ms - base - at_ms) for one in passed) / square
    # Probes at one place err together: they count as two places, however many they are.
    known = 2.0 * square / len(passed) * (_USUAL_OFF_MS / _PASS_OFF_MS / length_m) ** 2
    weight = known / (known + 1.0)
    told = min(_SLOWEST_MS / length_m, max(_FASTEST_MS / length_m, abs(slope)))
    pace = weight * told + (1.0 - weight) * turn_s * 1000.0 / length_m
    return _Line(at_m, base + at_ms, pace if slope >= 0.0 else -pace, told, weight)
