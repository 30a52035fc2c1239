"""What the judge of turns must know of a bed: where it lies, which probes hang where, and its few figures."""

from __future__ import annotations

from dataclasses import dataclass, field

TEMPERATURE, CO2 = "temperature", "co2"


@dataclass(frozen=True, slots=True)
class Wire:
    """One probe in a bed, or of the air over it. Without `at_m` it hangs in the bed's middle."""

    id: str
    quantity: str
    every_s: float
    height_cm: float | None = None
    at_m: float | None = None


@dataclass(frozen=True, slots=True)
class Figures:
    """The figures of a turn, each a default of ours (grade D) that a site may set.

    `turn_s`: how long a whole bed takes, where the probes cannot tell and have told of no other turn: half of
    the hour that one person takes, for two turn it as often as not.
    `least_fall_k`: a probe back at less than this below (or above) where it was shows nothing.
    `converged_share`: layers further apart than this share of before have not been turned through.
    `alike_k`: layers of mixed grain read alike within this; thermometers and their places differ.
    `apart_k`: layers must have been this far apart before, for their coming together to prove anything.
    `vented_share`: of the CO2 before, at least this is gone after a turn; less may be a ploughing.
    `sharp_fall_k`: a fall in all layers that is proof by itself, with nothing else to bear it out.
    `out_s`: a probe that has left its level and is not back within this was not taken out for a moment.
    `walk_gap_s`: the longest a turn may take from one probe to the next.
    """

    turn_s: float = 1800.0
    least_fall_k: float = 0.2
    converged_share: float = 0.5
    alike_k: float = 0.8
    apart_k: float = 0.4
    vented_share: float = 0.5
    sharp_fall_k: float = 1.0
    out_s: float = 720.0
    walk_gap_s: float = 3000.0


@dataclass(frozen=True, slots=True)
class Bed:
    """A bed's stretch in metres, the probes in it, the thermometers of the air over it, and the figures."""

    id: str
    from_m: float
    to_m: float
    probes: tuple[Wire, ...]
    air: tuple[Wire, ...] = ()
    figures: Figures = field(default_factory=Figures)

    def wire(self, probe: str) -> Wire | None:
        """The probe of that name, in the bed or over it; None for a stranger."""
        return next((wire for wire in (*self.probes, *self.air) if wire.id == probe), None)

    def at_m(self, wire: Wire) -> float:
        """Where along the bed a probe hangs, never outside it."""
        if wire.at_m is None:
            return (self.from_m + self.to_m) / 2.0
        return min(self.to_m, max(self.from_m, wire.at_m))


@dataclass(frozen=True, slots=True)
class TurnSeen:
    """A turn that the probes show, as far as is known now; a later one with the same `turn` replaces it.

    `kind`: "turned"; "perhaps" (one probe alone, which may have been pulled out); "ploughed" (lifted and
    aired, not mixed through). `state`: "seen", or "withdrawn" where it proved to be none. `sureness` 0 to 1.
    `fall_k` is the mean fall where it passed; the spreads are from the coldest to the hottest probe
    there; None where only CO2 tells. `known_ms` is when it was first told, by the newest reading then;
    where no probe hangs at the bed's end, `ended_ms` is reckoned and may lie some minutes after it.
    """

    bed: str
    turn: int
    kind: str
    state: str
    began_ms: int
    ended_ms: int
    known_ms: int
    from_m: float
    to_m: float
    sureness: float
    fall_k: float | None
    spread_before_k: float | None
    spread_after_k: float | None
    probes: tuple[str, ...]
