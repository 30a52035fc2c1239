"""What is kept of the heat of the beds, and what must be told of a bed to reckon with it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

from gateway.core.estimate.bed_heat.ahead import Doubts
from gateway.core.estimate.bed_heat.curve import Curve
from gateway.core.estimate.bed_heat.fit import Figures, Known

#: K of the thermometers, K/h of the rate, and of the logarithm of q10 (ours, grade D).
USUAL_DOUBTS = Doubts(0.05, 0.045, 0.35)


@dataclass(frozen=True, slots=True)
class Hung:
    """One good thermometer in a bed's grain, and when its stretch was last turned (end, Unix ms), if told."""

    id: str
    turned_ms: int | None = None


@dataclass(frozen=True, slots=True)
class Bed:
    """What is told of a bed: its good thermometers, its room, when its piece was cast (Unix ms), if known."""

    id: str
    probes: tuple[Hung, ...]
    room: str | None = None
    cast_ms: int | None = None
    figures: Figures = field(default_factory=Figures)
    doubts: Doubts = USUAL_DOUBTS
    """What thermometers err by, and what the balance leaves out (ours, grade D)."""


@dataclass(slots=True)
class Hot:
    """One thermometer: its curve, when its present stretch began (0: before all kept), what it taught."""

    curve: Curve = field(default_factory=Curve)
    began_ms: int = 0
    leapt: bool = False
    known: Known | None = None


@dataclass(slots=True)
class Promise:
    """What was said of a moment: C, what was to be proved of its doubt (K, one standard deviation), and the
    bed's stretch it was said in.
    """

    ROW: ClassVar[bool] = True

    due_ms: int
    value_c: float
    sd_k: float
    began_ms: int


@dataclass(slots=True)
class BedHeat:
    """One bed's thermometers, what was said of it, how right that was: a sum of squares and its weight.

    `told`: whether somebody recorded the piece that lies there.
    """

    probes: dict[str, Hot] = field(default_factory=dict)
    promises: list[Promise] = field(default_factory=list)
    promised_ms: int = 0
    off: float = 0.0
    weight: float = 0.0
    told: bool = False


@dataclass(slots=True)
class Heat:
    """All beds, the air of the rooms over them, and how right what was said of earlier pieces was.

    `past` is a sum of logarithms of mean squares, `past_weight` its weight.
    """

    beds: dict[str, BedHeat] = field(default_factory=dict)
    rooms: dict[str, Curve] = field(default_factory=dict)
    past: float = 0.0
    past_weight: float = 0.0
