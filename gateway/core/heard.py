"""One calibrated reading on its way to what follows it."""

from __future__ import annotations

from typing import NamedTuple

from gateway.core.site import Place, Probe


class Heard(NamedTuple):
    """A probe in service said this: `value` calibrated, in the fixed unit of its quantity.

    `newest`: measured after all before it. `fresh`: young enough to call somebody. `flags` as of
    `core.reading`: at the range's end, kept by the broker, clock unsure.
    """

    probe: Probe
    place: Place
    value: float
    measured_ms: int
    flags: int
    newest: bool
    fresh: bool
