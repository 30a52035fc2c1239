"""What is measured, in which units, and what is taken for granted about each quantity.

Units are names of the SenML registry (RFC 8428 and RFC 8798); `[degF]` is UCUM's name, `m3/h` the trade's
own for a fan. Left out on purpose: SenML's `%`, which means a share of 1 like `/` (RFC 8428, note 1,
from memory) and is taken for per cent by most; `/100` is the registry's name for that.
"""

from __future__ import annotations

from typing import NamedTuple


class Linear(NamedTuple):
    """fixed unit = gain x value + offset."""

    gain: float
    offset: float = 0.0

    def __call__(self, value: float) -> float:
        return self.gain * value + self.offset


class Quantity(NamedTuple):
    """Its units, the fixed one first, and beyond which values a payload is garbage (in the fixed unit)."""

    units: dict[str, Linear]
    plausible: tuple[float, float]

    @property
    def fixed(self) -> str:
        """The unit the core computes in."""
        return next(iter(self.units))


_SHARE = {"/": Linear(1e6), "/100": Linear(1e4), "/1000": Linear(1e3), "ppb": Linear(1e-3)}

# The plausible bounds are ours, no source: wide enough for any instrument that works (a wet humidity
# probe reads a little over 100, a gas cell at zero a little under), narrow enough for the sentinels
# of loggers (-9999, 7999, -127).
QUANTITIES: dict[str, Quantity] = {
    "temperature": Quantity(
        {"Cel": Linear(1.0), "K": Linear(1.0, -273.15), "[degF]": Linear(5 / 9, -160 / 9)}, (-40.0, 150.0)
    ),
    "humidity": Quantity({"%RH": Linear(1.0), "/": Linear(100.0), "/100": Linear(1.0)}, (-5.0, 110.0)),
    "co2": Quantity({"ppm": Linear(1.0), **_SHARE}, (-1_000.0, 250_000.0)),
    "co": Quantity({"ppm": Linear(1.0), **_SHARE}, (-100.0, 50_000.0)),
    "pressure_difference": Quantity({"Pa": Linear(1.0), "hPa": Linear(100.0)}, (-5_000.0, 5_000.0)),
    "air_flow": Quantity(
        {"m3/s": Linear(1.0), "l/s": Linear(1e-3), "m3/h": Linear(1 / 3600)}, (-10.0, 200.0)
    ),
}

# Common practice, no source: wet grain blocks radio for a while, and air nobody measures is unknown air.
SILENT_BED_S, SILENT_GAS_S = 1800.0, 300.0
# Ours.
SILENT_KILN_S, SILENT_OTHER_S = 900.0, 1800.0
#: A probe is never called silent before this many of its own intervals.
SILENT_INTERVALS = 1.5

#: Where people work: a CO2 probe there has the site's instant levels unless its place names others.
ENTERED = ("room", "steep", "pit", "furnace")


def silent_after_s(quantity: str, place_kind: str, every_s: float) -> float:
    """How long a probe may be silent, in seconds, where its row does not say."""
    if place_kind == "bed":
        by_kind = SILENT_BED_S
    elif quantity in ("co2", "co"):
        by_kind = SILENT_GAS_S
    else:
        by_kind = SILENT_KILN_S if place_kind == "kiln" else SILENT_OTHER_S
    return max(by_kind, SILENT_INTERVALS * every_s)
