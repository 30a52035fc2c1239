"""One probe's numbers to readings: fixed unit, plausible, range, and whether its time can be believed."""

from __future__ import annotations

from math import inf, isfinite

from gateway.core.reading import (
    CLOCK_UNSURE,
    OWN_TIME,
    RANGE_HIGH,
    RANGE_LOW,
    RETAINED,
    Reading,
    Reason,
)
from gateway.core.site import Probe
from gateway.core.wire.refusal import Refusal

#: 2001-09-10: an earlier time is a probe whose clock was never set.
OLDEST_MS = 1_000_080_000_000
#: How far a probe's clock may be ahead of the gateway's.
AHEAD_MS = 5 * 60 * 1000
#: The same where the time comes with the readings, in steps: the reading that ends a long silence may come
#: before the message that tells of the time until then.
TOLD_AHEAD_MS = 31 * 24 * 3_600_000


class Arrival:
    """What the gateway knows about a message beside its bytes; `at_ms` is Unix ms, and a reading
    may be measured `ahead_ms` after it."""

    __slots__ = ("ahead_ms", "at_ms", "retained", "trusted")

    def __init__(self, at_ms: int, retained: bool, trusted: bool, ahead_ms: int = AHEAD_MS) -> None:
        self.at_ms = at_ms
        self.retained = retained
        self.trusted = trusted
        self.ahead_ms = ahead_ms


class Gauge:
    """The checks of one probe, its limits ready for use. Limits are in the fixed unit."""

    __slots__ = ("gain", "high", "id", "least", "low", "most", "offset")

    def __init__(self, probe: Probe) -> None:
        self.id = probe.id
        self.gain = probe.to_fixed_gain
        self.offset = probe.to_fixed_offset
        self.least = -inf if probe.plausible_low is None else probe.plausible_low
        self.most = inf if probe.plausible_high is None else probe.plausible_high
        self.low = -inf if probe.range_low is None else probe.range_low
        self.high = inf if probe.range_high is None else probe.range_high

    def reading(
        self,
        sent: float,
        own_ms: int | None,
        arrival: Arrival,
        sequence: int | None = None,
        battery: float | None = None,
    ) -> Reading:
        """The reading of a value in the probe's unit, and its own time in Unix ms if it sent one.

        Without own time it is measured at `arrival.at_ms`. Raises Refusal: NOT_FINITE, IMPLAUSIBLE,
        TOO_OLD, FUTURE (only while the gateway's clock is trusted) or RETAINED_WITHOUT_TIME.
        """
        value = sent * self.gain + self.offset
        if not self.least <= value <= self.most or not isfinite(value):
            raise self._implausible(sent, value)
        flags = 0 if own_ms is None else OWN_TIME
        if arrival.retained:
            flags |= RETAINED
        if value >= self.high:
            flags |= RANGE_HIGH
        elif value <= self.low:
            flags |= RANGE_LOW
        if own_ms is None:
            if arrival.retained:
                raise Refusal(Reason.RETAINED_WITHOUT_TIME, "a kept value must carry its own time")
            return Reading(self.id, arrival.at_ms, value, flags, sequence, battery)
        if own_ms < OLDEST_MS:
            raise Refusal(Reason.TOO_OLD, f"measured at {own_ms} ms; expected 2001-09-10 or later")
        ahead_ms = own_ms - arrival.at_ms
        if ahead_ms > arrival.ahead_ms:
            if arrival.trusted:
                most_s = arrival.ahead_ms // 1000
                raise Refusal(Reason.FUTURE, f"{ahead_ms / 1000:.0f} s ahead; at most {most_s} s")
            flags |= CLOCK_UNSURE
        return Reading(self.id, own_ms, value, flags, sequence, battery)

    def _implausible(self, sent: float, value: float) -> Refusal:
        if not isfinite(value):
            return Refusal(Reason.NOT_FINITE, f"got {sent!r}; expected a finite number")
        return Refusal(Reason.IMPLAUSIBLE, f"got {value:g}; expected {self.least:g} to {self.most:g}")
