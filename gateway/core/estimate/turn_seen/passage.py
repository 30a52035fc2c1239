"""What one thermometer went through: the moves that are faster than grain ever moves by itself.

A turn reaches a probe in one of two ways. Left in, it falls (or, in a cold layer, rises) to the one
temperature of the mixed grain within minutes. Taken out, it goes towards the room's air, and comes back to
that temperature. A probe pulled out and put back comes back to where it was; a hot burst falls back to where
it began. So a passage is told by the level before, the level after, and how far it strayed between.

All temperatures here are hundredths of a degree, whole numbers: they store short and add exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from gateway.core.estimate.turn_seen.trace import (
    LEAST_MOVE,
    LOOK_MS,
    STILL,
    Trace,
    least_move,
    runs,
    unsure_from,
)

__all__ = ["LEAST_MOVE", "LOOK_MS", "STILL", "Passage", "passages"]

#: Samples that must have been heard before a move to know the level before, and in all.
_BEFORE_LEAST, _AT_LEAST = 6, 9
_BEFORE_MOST, _AFTER_MOST = 8, 6
#: A move is more than one step of a coarse probe, which slow changes make as well.
_OVER_STEP, _STEP_MOST = 1.5, 50
#: Samples at a level lie within this; moving grain just after a turn does as well.
_AGREE = 60
#: Steps of a lag shrink to between these shares in two samples; near 1 nothing can be foretold.
_SHRINK_LEAST, _SHRINK_MOST = 0.3, 0.8
#: What takes longer than this one way is weather; a turn's fall is over in a few of the probe's own lags.
_SLOW_MS = 1_500_000
#: What goes beyond the new level by less than this part of the way there is its nearing, and no stray.
_STRAY_PART = 5
#: A level is carried on over a time out as it rose over so many samples before, at most so fast (hundredths
#: an hour) and so long.
_DRIFT_OVER, _DRIFT_MOST, _DRIFT_FOR_MS = 30, 150, 2_700_000


class Passage(NamedTuple):
    """One move. Times Unix ms; levels in hundredths of a degree.

    `out_ms` to `back_ms`: from the first sign to the return (or the new level); `settled_ms`: when the new
    level was reached, or now. `settled`: that level is known, be it only from how it is neared while still
    `moving`. `stray` is how far it went beyond both levels (signed, 0: it did not).
    `unsure_from_ms` is earlier than `out_ms` where nothing, or only one and the same value, was heard before.
    `step` is how coarse the probe's values are, as far as they tell.
    """

    out_ms: int
    back_ms: int
    settled_ms: int
    before: int
    after: int
    stray: int
    settled: bool
    moving: bool
    unsure_from_ms: int
    step: int = 1

    @property
    def net(self) -> int:
        """What the passage changed, hundredths of a degree."""
        return self.after - self.before

    @property
    def pass_ms(self) -> int:
        """When the grain here was turned, as well as this probe can tell."""
        return (self.out_ms + self.back_ms) // 2 if self.stray else self.out_ms

    @property
    def returned(self) -> bool:
        """Whether it strayed and came back to about where it was: nothing has changed in the grain.

        A flare is not measured as finely as a cooling: what falls back from one may miss its level by more.
        """
        share = 6 if self.stray < 0 else 30
        return bool(self.stray) and abs(self.net) < max(20, abs(self.stray) * share // 100)


class _Move(NamedTuple):
    """A stretch of samples from `start` (still at the level before) to `end` (at the level after).

    `cut`: it began before the memory does; its level before is not known.
    """

    start: int
    end: int
    before: int
    after: int
    low: int
    high: int
    settled: bool
    moving: bool
    bottom: int
    cut: bool


def passages(values: Sequence[int | None], last: int, bin_ms: int) -> list[Passage]:
    """The moves in a ring's values, oldest first; empty for a quiet probe.

    `last` is the number of the newest bin, each `bin_ms` long since the epoch.
    """
    heard = [value for value in values if value is not None]
    if not heard or max(heard) - min(heard) < LEAST_MOVE:
        return []
    trace = Trace(values, last, bin_ms)
    if len(trace.raw) < _AT_LEAST:
        return []
    change, since = trace.changes()
    least = least_move(change)
    if max(change) < least and -min(change) < least:
        return []
    step = _step(trace.raw)
    least = max(least, int(_OVER_STEP * step))
    moving = runs(change, since, least)
    moves = _joined([_move(trace, run, least) for run in moving], least)
    found = [_passage(trace, move, least, step) for move in moves if not move.cut]
    return [one for one in found if one.stray or one.settled_ms - one.out_ms <= _SLOW_MS]


def _step(raw: list[int]) -> int:
    """The least by which values differ from one to the next; a single change tells nothing of steps."""
    changes = [abs(b - a) for a, b in pairwise(raw) if a != b]
    return min(*changes, _STEP_MOST) if len(changes) > 1 else 1


def _move(trace: Trace, run: tuple[int, int], least: int) -> _Move:
    level = trace.level
    start, end = run
    newest = len(level) - 1
    near = max(LEAST_MOVE // 2, least // 3)
    before = _middle(level[max(0, start - _BEFORE_MOST + 1) : start + 1])
    while start < end and abs(level[start + 1] - before) <= near:
        start += 1
    settled = True
    if end == newest:
        ahead = _left_to_go(level)
        settled = ahead is not None and abs(ahead) <= least + LEAST_MOVE // 2
        after = level[newest] + (ahead or 0)
    else:
        while end - 1 > start and abs(level[end - 1] - level[run[1]]) <= near:
            end -= 1
        after = _middle(level[end : end + _AFTER_MOST])
    settled = settled and _quiet(trace.raw[end : end + _AFTER_MOST], least)
    inside = level[start : end + 1]
    low, high = min(inside), max(inside)
    bottom = start + inside.index(low if before + after - 2 * low > 2 * high - before - after else high)
    cut = start + 1 < _BEFORE_LEAST
    return _Move(start, end, before, after, low, high, settled, run[1] == newest, bottom, cut)


def _left_to_go(level: list[int]) -> int | None:
    """How far a level still under way has to go, from how its steps shrink; None where they do not yet.

    A lag leaves a fixed share of what is left in equal times: steps d1, d2 leave d2 r / (1 - r), r = d2 / d1.
    """
    before, step = level[-3] - level[-5], level[-1] - level[-3]
    if step == 0:
        return 0
    if before * step <= 0 or abs(step) > _SHRINK_MOST * abs(before):
        return None
    share = max(_SHRINK_LEAST, step / before)
    return int(step * share / (1.0 - share))


def _quiet(raw: list[int], least: int) -> bool:
    """Whether samples at a level agree, but for one at each end: a burst of noise is no level."""
    ordered = sorted(raw)
    return len(ordered) < 4 or ordered[-2] - ordered[1] <= max(_AGREE, least)


def _joined(moves: list[_Move], least: int) -> list[_Move]:
    """Moves there and back are one passage; what lies between was no state of the grain."""
    done: list[_Move] = []
    for move in moves:
        if done and _undoes(done[-1], move, least):
            first = done.pop()
            low, high = min(first.low, move.low), max(first.high, move.high)
            down = first.before + move.after - 2 * low > 2 * high - first.before - move.after
            # Out until the way back begins.
            bottom = max(first.bottom, move.start) if move.start > first.bottom else first.bottom
            if down != (first.after < first.before):
                bottom = first.bottom
            done.append(
                move._replace(
                    start=first.start, before=first.before, cut=first.cut, low=low, high=high, bottom=bottom
                )
            )
        else:
            done.append(move)
    return done


def _undoes(first: _Move, second: _Move, least: int) -> bool:
    there, back = first.after - first.before, second.after - second.before
    if there * back >= 0 or first.cut:
        # How far a move had gone that began before the memory does is not known: any way back may undo it.
        return there * back < 0
    left = there + back
    # It comes back at least a quarter of the way, and not past the beginning by more than it had gone.
    return abs(back) >= max(least * 2 // 3, abs(there) // 4) and (
        abs(left) <= abs(there) if left * there > 0 else abs(left) <= max(least, abs(there) // 2)
    )


def _passage(trace: Trace, move: _Move, least: int, step: int) -> Passage:
    times = trace.times
    under = min(move.before, move.after) - move.low
    over = move.high - max(move.before, move.after)
    stray = 0
    if max(under, over) >= max(LEAST_MOVE * 2 // 3, least // 2, abs(move.after - move.before) // _STRAY_PART):
        stray = -under if under >= over else over
    back = move.bottom if stray else move.end
    drift = _drift(trace, move.start, times[move.end] - times[move.start]) if stray else 0
    # What began did so after the last sample of before: half an interval, on the mean.
    late = trace.bin_ms // 2
    return Passage(
        times[move.start] + late,
        times[max(back, move.start)] + late,
        times[move.end] + late,
        move.before + drift,
        move.after,
        stray,
        move.settled,
        move.moving,
        unsure_from(trace, move.start, move.end) + late,
        step,
    )


def _drift(trace: Trace, start: int, for_ms: int) -> int:
    """What the level would have changed by itself while the probe was out, from the half hour before."""
    times, level = trace.times, trace.level
    first = max(0, start - _DRIFT_OVER)
    span_ms = times[start] - times[first]
    if span_ms < _SLOW_MS // 2:
        return 0
    rate = (_middle(level[max(0, start - 4) : start + 1]) - _middle(level[first : first + 5])) / span_ms
    most = _DRIFT_MOST * min(for_ms, _DRIFT_FOR_MS) / 3_600_000
    return int(max(0.0, min(most, rate * min(for_ms, _DRIFT_FOR_MS))))


def _middle(values: list[int]) -> int:
    return sorted(values)[len(values) // 2]
