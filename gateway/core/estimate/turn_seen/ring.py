"""A probe's last hour and a half on a grid of bins: bounded, spike-proof, and filled in any order.

Readings come late and out of order; the grid puts each where it was measured, so that what is seen in it
does not depend on how it arrived.
"""

from __future__ import annotations

from dataclasses import dataclass, field

#: One bin a minute is finer than any thermometer in grain; slower probes have bins as long as their interval.
LEAST_BIN_MS = 60_000
#: An hour's walk along a bed, a calm time before it and the settling after it.
BINS = 90
#: A probe whose clock was ahead and came back would be unheard for ever; after so many, it is believed.
_OLD_MOST = 5
_INSIDE_MOST = 15


@dataclass(slots=True)
class Ring:
    """`values[-1]` is bin number `last` (of `bin_ms` since the epoch); None where nothing was heard."""

    bin_ms: int
    gas: bool = False
    last: int = 0
    values: list[int | None] = field(default_factory=list)
    inside: list[int] = field(default_factory=list)
    old: int = 0

    def put(self, measured_ms: int, value: int) -> int:
        """Take a value. Returns 0 if it changed nothing, 1 if a bin was filled or changed, 2 if one began.

        After a clock that was ahead comes back, the bins it had filled ahead are given up (also 2).
        """
        number = measured_ms // self.bin_ms
        ahead = number - self.last
        values = self.values
        if ahead < 0:
            return self._late(number, ahead, value)
        self.old = 0
        if ahead == 0:
            inside = self.inside
            if len(inside) < _INSIDE_MOST:
                inside.append(value)
            values[-1] = sorted(inside)[len(inside) // 2]
            return 1
        if ahead > BINS:
            values.clear()
        elif ahead > 1:
            values.extend([None] * (ahead - 1))
        values.append(value)
        if len(values) > BINS:
            del values[: len(values) - BINS]
        self.last = number
        self.inside = [value]
        return 2

    def _late(self, number: int, ahead: int, value: int) -> int:
        values = self.values
        place = len(values) - 1 + ahead
        if place >= 0 and values[place] is None:
            values[place] = value
            return 1
        if place < 0 and ahead > -BINS:
            # Older than all there is, yet within reach: the grid grows backwards.
            values[:0] = [value, *[None] * (-place - 1)]
            return 1
        self.old += 1
        if self.old < _OLD_MOST:
            return 0
        self.values = [*values[: max(0, place)], value]
        self.last, self.inside, self.old = number, [value], 0
        return 2

    def back(self, span_ms: int) -> int | None:
        """The value heard about `span_ms` before the newest, or just before that; None if there is none."""
        at = len(self.values) - 1 - max(3, -(-span_ms // self.bin_ms))
        for place in (at, at - 1, at - 2):
            if place >= 0 and self.values[place] is not None:
                return self.values[place]
        return None

    def level(self) -> int | None:
        """The middle one of the last three values heard within five bins; None where there are fewer."""
        found = [value for value in self.values[-5:] if value is not None][-3:]
        return sorted(found)[1] if len(found) == 3 else None

    def heard_ms(self) -> int:
        """When the newest bin ends, Unix ms."""
        return (self.last + 1) * self.bin_ms

    def stands(self, samples: int) -> bool:
        """Whether the last so many samples heard were one and the same."""
        same, left = None, samples
        for value in reversed(self.values):
            if value is None:
                continue
            if same is None:
                same = value
            elif value != same:
                return False
            left -= 1
            if not left:
                return True
        return False


def bin_ms(every_s: float) -> int:
    """How long a bin is for a probe that reports at this interval."""
    return max(LEAST_BIN_MS, int(every_s * 1000))
