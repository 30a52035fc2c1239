"""The payload form `number`: one ASCII decimal number, at most 32 bytes, nothing else."""

from __future__ import annotations

import re
from collections.abc import Sequence

from gateway.core.reading import Reading, Reason
from gateway.core.site import Probe
from gateway.core.wire.gauge import Arrival, Gauge
from gateway.core.wire.refusal import Refusal

MOST_BYTES = 32

# Small instruments fill up with blanks on the left and end a line; anything else is not a number.
_DECIMAL = re.compile(rb" *([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\r?\n?\Z")
_NOT_FINITE = re.compile(rb" *[+-]?(?:nan|inf(?:inity)?)\r?\n?\Z", re.IGNORECASE)


def number(payload: bytes) -> float:
    """The number; may be infinite (1e999). Raises Refusal: TOO_LONG, NOT_FINITE or NOT_A_NUMBER."""
    if len(payload) > MOST_BYTES:
        raise Refusal(Reason.TOO_LONG, f"{len(payload)} bytes; expected a number of at most {MOST_BYTES}")
    found = _DECIMAL.match(payload)
    if found is None:
        if _NOT_FINITE.match(payload):
            raise Refusal(Reason.NOT_FINITE, "expected a finite number")
        raise Refusal(Reason.NOT_A_NUMBER, f"got {payload!r}; expected a decimal number such as 17.25")
    return float(found[1])


class Number:
    """The probes that send bare numbers on one topic (one, unless two are the same instrument)."""

    def __init__(self, probes: Sequence[Probe]) -> None:
        self._gauges = [Gauge(probe) for probe in probes]

    def take(self, payload: bytes, arrival: Arrival) -> list[Reading | tuple[str, Refusal]]:
        """For each probe its reading, or its id and why not."""
        taken: list[Reading | tuple[str, Refusal]] = []
        for gauge in self._gauges:
            try:
                taken.append(gauge.reading(number(payload), None, arrival))
            except Refusal as why:
                taken.append((gauge.id, why))
        return taken
