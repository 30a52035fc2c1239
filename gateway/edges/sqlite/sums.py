"""What readings of one minute or quarter of an hour come to: sums that can be put together in any order."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

MINUTE_MS = 60_000
QUARTER_MS = 15 * MINUTE_MS

#: A row of the tables `minute` and `quarter` without its key.
Row = tuple[int, float, int, int, float | None, float | None, float | None]


class Sum(NamedTuple):
    """What some readings of one minute or quarter come to; `last_ms` counts from its begin."""

    times: int
    last: float
    last_ms: int
    flags: int
    low: float
    high: float
    total: float

    def plus(self, other: Sum) -> Sum:
        """Both together; of two last ones the later measured."""
        last = max((self.last_ms, self.last), (other.last_ms, other.last), key=lambda pair: pair[0])
        return Sum(
            self.times + other.times,
            last[1],
            last[0],
            self.flags | other.flags,
            min(self.low, other.low),
            max(self.high, other.high),
            self.total + other.total,
        )

    def later(self, by_ms: int) -> Sum:
        """The same counted from a begin that lies so much before."""
        return self._replace(last_ms=self.last_ms + by_ms)

    @classmethod
    def kept(cls, row: Row) -> Sum:
        """From a row of the table."""
        times, last, last_ms, flags, low, high, total = row
        if low is None or high is None or total is None:
            return cls(times, last, last_ms, flags, last, last, float(last))
        return cls(times, last, last_ms, flags, low, high, total)

    @property
    def row(self) -> Row:
        """For the table."""
        if self.times == 1:
            return (1, self.last, self.last_ms, self.flags, None, None, None)
        return (self.times, self.last, self.last_ms, self.flags, self.low, self.high, self.total)


def by_span(rows: Iterable[tuple[int, int, float, int]], width_ms: int) -> dict[tuple[int, int], Sum]:
    """Readings (probe, measured_at_ms, value, flags) summed by probe and number of the minute or quarter."""
    found: dict[tuple[int, int], Sum] = {}
    for probe, measured_ms, value, flags in rows:
        number, into_ms = divmod(measured_ms, width_ms)
        one = Sum(1, value, into_ms, flags, value, value, float(value))
        key = (probe, number)
        found[key] = found[key].plus(one) if key in found else one
    return found
