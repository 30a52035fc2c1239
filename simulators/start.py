"""How the beds and kilns stand when a simulation begins.

A file of starts is TOML: one table for each place,

    [bed-c]
    age_h = 84.0            # hours since casting
    temperature_c = 21.8    # at the warmest probe hanging in the bed
    since_turn_h = 11.0     # hours since it was last turned
    barley_t = 8.0          # tonnes of barley as bought
    depth_cm = 15.0

    [kiln-1]
    lit_h = 6.0             # hours since the fire was lit; below 0: not yet
    barley_t = 8.0

Whatever is left out is the built-in start: four beds of different days, of which bed-c has been left
too long, and for any other name a calm bed of its day. All figures are ours, for trying things out.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from simulators.plan import SiteFault


@dataclass(frozen=True)
class BedStart:
    """A bed at the start of a simulation."""

    age_h: float
    temperature_c: float
    since_turn_h: float
    barley_t: float = 8.0
    depth_cm: float = 15.0


@dataclass(frozen=True)
class KilnStart:
    """A kiln at the start of a simulation."""

    lit_h: float = 6.0
    barley_t: float = 8.0


BUILT_IN: dict[str, BedStart] = {
    "bed-a": BedStart(20.0, 14.5, 3.0),
    "bed-b": BedStart(60.0, 16.2, 2.0),
    "bed-c": BedStart(84.0, 21.76, 11.0),
    "bed-d": BedStart(120.0, 16.8, 3.0),
}
CALM: tuple[BedStart, ...] = (
    BedStart(20.0, 14.5, 3.0),
    BedStart(60.0, 16.2, 2.0),
    BedStart(84.0, 16.5, 1.0),
    BedStart(120.0, 16.8, 3.0),
)
LIMITS: dict[str, tuple[float, float]] = {
    "age_h": (0.0, 1000.0),
    "temperature_c": (0.0, 45.0),
    "since_turn_h": (0.0, 100.0),
    "barley_t": (0.01, 500.0),
    "depth_cm": (2.0, 100.0),
    "lit_h": (-1000.0, 1000.0),
}


def bed_start(starts: Mapping[str, Any], bed: str, order: int) -> BedStart:
    """The start of a bed, the `order`-th of its site (from 0); raises SiteFault."""
    built_in = BUILT_IN.get(bed, CALM[order % len(CALM)])
    return replace(built_in, **_checked(starts, bed, {item.name for item in fields(BedStart)}))


def kiln_start(starts: Mapping[str, Any], kiln: str) -> KilnStart:
    """The start of a kiln; raises SiteFault."""
    return replace(KilnStart(), **_checked(starts, kiln, {item.name for item in fields(KilnStart)}))


def _checked(starts: Mapping[str, Any], place: str, names: set[str]) -> dict[str, float]:
    row = starts.get(place, {})
    if not isinstance(row, Mapping):
        raise SiteFault(f"start of {place!r}: expected a table")
    for key, value in row.items():
        if key not in names:
            raise SiteFault(f"start of {place!r}: {key}: expected one of {', '.join(sorted(names))}")
        low, high = LIMITS[key]
        good = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        if not good or not low <= value <= high:
            raise SiteFault(f"start of {place!r}: {key} = {value!r}: expected {low:g} to {high:g}")
    return {key: float(value) for key, value in row.items()}
