"""Turns seen by the probes, without anybody pressing anything: the state, and the way in.

    turns = Turns()
    for seen in take(turns, bed, probe_id, measured_ms, value): ...      # each reading of a bed's probes
    over(turns, air_wire, measured_ms, value)                            # each reading of a room's thermometer
    forget(turns, bed_id)                                                # cast, moved, loaded: another piece lies there

What is thought is worked out afresh from the last hour and a half of readings, which alone are the state (and what
was told, so that a turn keeps its number). So nothing can be locked out by a false beginning, and a restart in
the middle of a turn changes nothing. A reading in quiet times costs one comparison.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from gateway.core.estimate.turn_seen_bed import CO2, TEMPERATURE, Bed, TurnSeen, Wire
from gateway.core.estimate.turn_seen_cluster import Air, Letting, Witness, clusters, hangs_in_air
from gateway.core.estimate.turn_seen_passage import LEAST_MOVE, LOOK_MS, STILL, Passage, passages
from gateway.core.estimate.turn_seen_ring import Ring, bin_ms
from gateway.core.estimate.turn_seen_vent import vents
from gateway.core.estimate.turn_seen_verdict import TURNED, Denied, Verdict, judge

__all__ = ["Bed", "BedTurns", "Told", "TurnSeen", "Turns", "Wire", "forget", "over", "take"]

#: What a thermometer in grain, or on a hook by it, can say; sentinels and garbage lie outside. CO2 below any air.
_COLDEST_C, _WARMEST_C, _THINNEST_PPM, _THICKEST_PPM = -20.0, 60.0, 100.0, 1e6
#: After a move is noticed the bed is looked at for this long, at most each half minute of its own time.
_ASTIR_MS = 4_500_000
_LOOK_EACH_MS = 30_000
#: What was not told by then is not told: the memory of the time before it fades, and half a story misleads.
_TELL_MOST_MS = 2_700_000
#: Two accounts this near are of one turn; an account is mended so long, and for no less than these changes.
_SAME_MS, _NEAR_MS = 1_200_000, 300_000
_MEND_MS = 3_600_000
_MENDED_MS, _MENDED_SURENESS = 120_000, 0.1
_TOLD_MOST = 4
#: A probe, and the room's air, count as heard within this (or three of their intervals).
_FRESH_MS, _AIR_FRESH_MS = 600_000, 1_800_000
#: All the site's probes moved together: at least half of the others began within this of the bed's first.
_ALIKE_MS = 150_000
#: A CO2 probe: this share gone is worth noting; a fall to this share of the level wakes the look.
_LET_GO, _CO2_STIRS = 0.2, 0.8
#: CO2 that rises by more than this over this long has not come to its new level.
_RISING, _RISING_OVER_MS = 1.1, 180_000


@dataclass(slots=True)
class Told:
    """A turn as it was told last, and the middle one of the moments at which its probes began to move."""

    seen: TurnSeen
    out_ms: int


@dataclass(slots=True)
class BedTurns:
    """What one bed's probes said lately; `looked_ms` is the newest moment it was looked at."""

    rings: dict[str, Ring] = field(default_factory=dict)
    astir_ms: int = 0
    looked_ms: int = 0
    told: list[Told] = field(default_factory=list)
    known: dict[str, list[Passage]] = field(default_factory=dict, metadata={"derived": True})


@dataclass(slots=True)
class Turns:
    """All beds of a site and the air over them. `number` is that of the newest turn seen."""

    beds: dict[str, BedTurns] = field(default_factory=dict)
    air: dict[str, Ring] = field(default_factory=dict)
    number: int = 0


def take(turns: Turns, bed: Bed, probe: str, measured_ms: int, value: float, at_ms: int) -> list[TurnSeen]:
    """Take one calibrated reading (C, or ppm) of a probe in a bed; gives the turns it makes known or changes.

    `at_ms` is the gateway's time: nothing was measured after it. Readings may come late and out of order. A
    stranger's, or one that no grain can give, is left out.
    """
    lying = turns.beds.get(bed.id)
    if lying is None:
        lying = turns.beds[bed.id] = BedTurns()
    ring = lying.rings.get(probe)
    if ring is None:
        wire = bed.wire(probe)
        if wire is None or wire.quantity not in (TEMPERATURE, CO2):
            return []
        ring = lying.rings[probe] = Ring(bin_ms(wire.every_s), wire.quantity == CO2)
    whole = _whole(value, ring.gas)
    if whole is None:
        return []
    measured_ms = min(measured_ms, at_ms)
    ago = measured_ms // ring.bin_ms - ring.last
    new = ring.put(measured_ms, whole)
    if not new:
        return []
    if lying.known:
        lying.known.pop(probe, None)
    if new == 2:
        if ago < 0:
            lying.looked_ms = 0
        old = ring.back(LOOK_MS)
        if old is not None and (whole < old * _CO2_STIRS if ring.gas else abs(whole - old) >= LEAST_MOVE):
            lying.astir_ms = measured_ms + _ASTIR_MS
    if measured_ms >= lying.astir_ms or measured_ms < lying.looked_ms + _LOOK_EACH_MS:
        return []
    lying.looked_ms = measured_ms
    return _look(turns, bed, lying, measured_ms)


def over(turns: Turns, wire: Wire, measured_ms: int, value: float, at_ms: int) -> None:
    """Take one calibrated reading (C) of a thermometer in a room's air, for all beds that name it."""
    if wire.quantity != TEMPERATURE:
        return
    ring = turns.air.get(wire.id)
    if ring is None:
        ring = turns.air[wire.id] = Ring(bin_ms(wire.every_s))
    whole = _whole(value, gas=False)
    if whole is not None:
        ring.put(min(measured_ms, at_ms), whole)


def forget(turns: Turns, bed: str) -> None:
    """Another piece lies there, or none: what the probes said before tells nothing of it."""
    turns.beds.pop(bed, None)


def _whole(value: float, gas: bool) -> int | None:
    if gas:
        return int(value + 0.5) if _THINNEST_PPM <= value <= _THICKEST_PPM else None
    return math.floor(value * 100.0 + 0.5) if _COLDEST_C <= value <= _WARMEST_C else None


def _look(turns: Turns, bed: Bed, lying: BedTurns, now_ms: int) -> list[TurnSeen]:
    air = _air(turns, bed, now_ms)
    witnesses = [_witness(lying, wire, air, now_ms) for wire in bed.probes if wire.id in lying.rings]
    found: list[TurnSeen] = []
    for readings in clusters(bed, witnesses, air, now_ms):
        verdicts = [judge(bed, cluster, witnesses, air) for cluster in readings]
        best = max((one for one in verdicts if isinstance(one, Verdict)), key=_weight, default=None)
        if best is not None:
            found += _tell(turns, bed, lying, best, now_ms)
        elif verdicts and isinstance(verdicts[0], Denied):
            found += _denied(lying, verdicts[0], now_ms)
    return found


def _weight(verdict: Verdict) -> tuple[bool, int, float, int]:
    """Which of several readings of the same moves is believed: the earlier one, all else being equal."""
    return (verdict.kind == TURNED, len(verdict.probes), verdict.sureness, -verdict.last_ms)


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
    return Witness(wire, known, (), level)


def _lettings(ring: Ring, level: int | None) -> list[Letting]:
    before = ring.back(_RISING_OVER_MS)
    if level is None or (before is not None and level > before * _RISING):
        # Still on its way back: the probe was out, or the grain breathes; what it comes to is not known.
        return []
    first = ring.last - len(ring.values) + 1
    return [
        Letting((first + one.at) * ring.bin_ms, max(0.0, 1.0 - level / one.before), one.wavered)
        for one in vents(ring.values, _LET_GO)
    ]


def _air(turns: Turns, bed: Bed, now_ms: int) -> Air:
    rings = [turns.air[wire.id] for wire in bed.air if wire.id in turns.air]
    rings = [ring for ring in rings if now_ms - ring.heard_ms() <= max(_AIR_FRESH_MS, 3 * ring.bin_ms)]
    levels = sorted(level for ring in rings if (level := ring.level()) is not None)
    moved = [one for ring in rings for one in passages(ring.values, ring.last, ring.bin_ms)]
    return Air(levels[len(levels) // 2] if levels else None, moved)


def _denied(lying: BedTurns, denied: Denied, now_ms: int) -> list[TurnSeen]:
    for told in lying.told:
        seen = told.seen
        apart_ms = max(denied.from_ms - seen.ended_ms, seen.began_ms - denied.to_ms)
        if 2 * len(set(seen.probes) & set(denied.probes)) < len(seen.probes):
            continue
        if apart_ms <= _NEAR_MS and seen.state == "seen" and now_ms - denied.to_ms <= _SAME_MS:
            told.seen = replace(seen, state="withdrawn", sureness=0.0)
            return [told.seen]
    return []


def _tell(turns: Turns, bed: Bed, lying: BedTurns, verdict: Verdict, now_ms: int) -> list[TurnSeen]:
    if now_ms < verdict.tell_ms:
        return []
    told = next((one for one in lying.told if _same(one.seen, verdict)), None)
    if told is not None:
        return _mend(bed, told, verdict, now_ms)
    if now_ms - verdict.last_ms > _TELL_MOST_MS or (not verdict.vented and _all_fell(turns, bed, verdict)):
        return []
    turns.number += 1
    seen = _seen(bed, verdict, turns.number, now_ms)
    lying.told = [*lying.told, Told(seen, _middle(verdict.outs_ms))][-_TOLD_MOST:]
    return [seen]


def _mend(bed: Bed, told: Told, verdict: Verdict, now_ms: int) -> list[TurnSeen]:
    """Tell it again where that says more: another kind, a new witness, or the same moves gone further."""
    old = told.seen
    new = _seen(bed, verdict, old.turn, old.known_ms)
    out_ms = _middle(verdict.outs_ms)
    if now_ms - old.ended_ms > _MEND_MS:
        return []
    if old.state == "seen" and (old.kind == TURNED or new.kind != TURNED):
        later = new.ended_ms - old.ended_ms >= _MENDED_MS and abs(out_ms - told.out_ms) <= _ALIKE_MS
        surer = new.sureness - old.sureness >= _MENDED_SURENESS
        more = len(new.probes) > len(old.probes)
        told_more = set(new.probes) >= set(old.probes) and (more or surer)
        if new.kind != old.kind or not (told_more or later):
            return []
        new = replace(new, sureness=max(old.sureness, new.sureness))
    elif new.kind != TURNED:
        return []
    told.seen, told.out_ms = new, out_ms
    return [new]


def _middle(values: tuple[int, ...]) -> int:
    return sorted(values)[len(values) // 2]


def _seen(bed: Bed, verdict: Verdict, turn: int, known_ms: int) -> TurnSeen:
    took = verdict.walk
    return TurnSeen(
        bed.id, turn, verdict.kind, "seen", took.began_ms, took.ended_ms, known_ms,
        round(took.from_m, 2), round(took.to_m, 2), verdict.sureness,
        _kelvin(verdict.fall), _kelvin(verdict.spread_before), _kelvin(verdict.spread_after), verdict.probes,
    )  # fmt: skip


def _kelvin(hundredths: float | None) -> float | None:
    return None if hundredths is None else round(hundredths / 100.0, 2)


def _same(seen: TurnSeen, verdict: Verdict) -> bool:
    took = verdict.walk
    return took.began_ms <= seen.ended_ms + _SAME_MS and took.ended_ms >= seen.began_ms - _SAME_MS


def _all_fell(turns: Turns, bed: Bed, verdict: Verdict) -> bool:
    """Whether the site moved in the same moments as this bed: the air over it, or half of the other beds.

    Beds that are turned at one time in different places are no such thing where the air stood still, nor
    where layers far apart came together.
    """
    outs, middle = verdict.outs_ms, _middle(verdict.outs_ms)
    near = [out for out in outs if abs(out - middle) <= _ALIKE_MS]
    if 4 * len(near) < 3 * len(outs):
        return False
    air = [turns.air[wire.id] for wire in bed.air if wire.id in turns.air]
    air = [ring for ring in air if ring.heard_ms() >= middle]
    if air:
        return any(_moved(ring, middle) for ring in air)
    rings = [ring for name, other in turns.beds.items() if name != bed.id for ring in other.rings.values()]
    rings = [ring for ring in rings if not ring.gas and ring.heard_ms() >= middle]
    alike = sum(_moved(ring, middle) for ring in rings)
    return bool(rings) and 2 * alike >= len(rings) and not verdict.strongly


def _moved(ring: Ring, at_ms: int) -> bool:
    """Whether a thermometer began a move within the time that counts as the same moment."""
    return any(abs(one.out_ms - at_ms) <= _ALIKE_MS for one in passages(ring.values, ring.last, ring.bin_ms))
