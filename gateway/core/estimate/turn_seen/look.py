"""One look at a bed: what its probes say, how that reads, and what is told of it."""

from __future__ import annotations

from dataclasses import replace

from gateway.core.estimate.turn_seen.bed import Bed, TurnSeen, Wire
from gateway.core.estimate.turn_seen.cluster import Air, Letting, Witness, clusters, hangs_in_air
from gateway.core.estimate.turn_seen.passage import LEAST_MOVE, LOOK_MS, STILL, Passage, passages
from gateway.core.estimate.turn_seen.ring import Ring
from gateway.core.estimate.turn_seen.state import BedTurns, Turns
from gateway.core.estimate.turn_seen.tell import take_back, tell
from gateway.core.estimate.turn_seen.trace import GAP_MS
from gateway.core.estimate.turn_seen.usual import usual_s
from gateway.core.estimate.turn_seen.vent import vents
from gateway.core.estimate.turn_seen.verdict import TURNED, Denied, Verdict, judge

#: A probe, and the room's air, count as heard within this (or three of their intervals).
_FRESH_MS, _AIR_FRESH_MS = 600_000, 1_800_000
#: What the probes of one place say lies this near in time, where they tell of one and the same.
_TOGETHER_MS = 300_000
#: This share of the CO2 gone is worth noting.
_LET_GO = 0.2
#: CO2 that rises by more than this over this long has not come to its new level.
_RISING, _RISING_OVER_MS = 1.1, 180_000


def look(turns: Turns, bed: Bed, lying: BedTurns, now_ms: int) -> list[TurnSeen]:
    """The turns that this look makes known, changes or takes back; `now_ms` is the bed's own time."""
    bed = replace(bed, figures=replace(bed.figures, turn_s=usual_s(turns, bed, now_ms)))
    air = _air(turns, bed, now_ms)
    witnesses = [_witness(lying, wire, air, now_ms) for wire in bed.probes if wire.id in lying.rings]
    found: list[TurnSeen] = []
    before, lying.thought = lying.thought, []
    for readings in clusters(bed, witnesses, air, now_ms):
        verdicts = [judge(bed, cluster, witnesses, air) for cluster in readings]
        best = max((one for one in verdicts if isinstance(one, Verdict)), key=_weight, default=None)
        if best is not None:
            found += tell(turns, bed, lying, best, before, now_ms)
        elif verdicts and isinstance(verdicts[0], Denied):
            found += take_back(turns, bed, lying, verdicts[0], now_ms)
    return found


def _weight(verdict: Verdict) -> tuple[bool, int, int, float, int]:
    """Which of several readings of the same moves is believed: the earlier one, all else being equal."""
    apart = verdict.scatter_ms // _TOGETHER_MS
    return (verdict.kind == TURNED, len(verdict.probes), -apart, verdict.sureness, -verdict.last_ms)


def _witness(lying: BedTurns, wire: Wire, air: Air, now_ms: int) -> Witness:
    ring = lying.rings[wire.id]
    fresh = now_ms - ring.heard_ms() <= max(_FRESH_MS, 3 * ring.bin_ms)
    level = ring.level() if fresh else None
    if ring.gas:
        return Witness(wire, (), _lettings(ring, level), level)
    known = lying.known.get(wire.id)
    if known is None:
        known = lying.known[wire.id] = passages(ring.values, ring.last, ring.bin_ms)
    if level is not None and (ring.stands(STILL) or (not known and hangs_in_air(level, air))):
        # It may be stuck, or hang in the air: it says neither yes nor no.
        level = None
    old = ring.back(LOOK_MS)
    steady = level is None or old is None or abs(level - old) < LEAST_MOVE
    return Witness(wire, known, (), level, steady)


def _lettings(ring: Ring, level: int | None) -> list[Letting]:
    before = ring.back(_RISING_OVER_MS)
    if level is None or (before is not None and level > before * _RISING):
        # Still on its way back: the probe was out, or the grain breathes; what it comes to is not known.
        return []
    first = ring.last - len(ring.values) + 1
    return [
        Letting(
            (first + one.at) * ring.bin_ms,
            max(0.0, 1.0 - level / one.before),
            one.wavered and not _silent(one.gap, ring.bin_ms),
        )
        for one in vents(ring.values, _LET_GO)
    ]


def _silent(gap: int, bin_ms: int) -> bool:
    """Whether it happened in a silence: at no known moment."""
    return gap * bin_ms > max(GAP_MS, 3 * bin_ms)


def _air(turns: Turns, bed: Bed, now_ms: int) -> Air:
    levels: list[int] = []
    moved: list[Passage] = []
    rings: list[Ring] = []
    for wire in bed.air:
        ring = turns.air.get(wire.id)
        if ring is None or now_ms - ring.heard_ms() > max(_AIR_FRESH_MS, 3 * ring.bin_ms):
            continue
        level = ring.level()
        if level is not None:
            levels.append(level)
            rings.append(ring)
        known = turns.known.get(wire.id)
        if known is None:
            known = turns.known[wire.id] = passages(ring.values, ring.last, ring.bin_ms)
        moved += known
    return Air(sorted(levels)[len(levels) // 2] if levels else None, moved, rings)
