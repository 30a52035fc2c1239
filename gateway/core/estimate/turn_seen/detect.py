"""Turns seen by the probes, without anybody pressing anything: the way in.

    turns = Turns()
    for seen in take(turns, bed, probe, measured_ms, value, at_ms): ...    # each reading of a bed's probes
    over(turns, wire, measured_ms, value, at_ms)            # each reading of a thermometer in a room's air
    forget(turns, bed_id)                           # cast, moved, loaded: something else lies there, or none

What is thought is worked out afresh from the last hour and a half of readings, which alone are the state (and
what was told, so that a turn keeps its number). So nothing can be locked out by a false beginning, and a
restart in the middle of a turn changes nothing. A reading in quiet times costs one comparison.
"""

from __future__ import annotations

import math

from gateway.core.estimate.turn_seen.bed import CO2, TEMPERATURE, Bed, TurnSeen, Wire
from gateway.core.estimate.turn_seen.look import look
from gateway.core.estimate.turn_seen.passage import LEAST_MOVE, LOOK_MS
from gateway.core.estimate.turn_seen.ring import Ring, bin_ms
from gateway.core.estimate.turn_seen.state import BedTurns, Turns

__all__ = ["Bed", "BedTurns", "TurnSeen", "Turns", "Wire", "forget", "over", "take"]

#: What a thermometer in grain, or on a hook by it, can say; sentinels and garbage lie outside.
_COLDEST_C, _WARMEST_C = -20.0, 60.0
#: Less CO2 than in any air, and all air CO2.
_THINNEST_PPM, _THICKEST_PPM = 100.0, 1e6
#: After a move is noticed the bed is looked at for this long, at most each minute of its own time.
_ASTIR_MS, _LOOK_EACH_MS = 4_500_000, 60_000
#: With less of that left nothing has moved for half an hour: a look now and then is enough.
_CALMER_MS, _CALM_EACH_MS = 2_700_000, 300_000
#: A fall of CO2 to this share of what it was wakes the look.
_CO2_STIRS = 0.8


def take(turns: Turns, bed: Bed, probe: str, measured_ms: int, value: float, at_ms: int) -> list[TurnSeen]:
    """Take one calibrated reading (C, or ppm) of a probe in a bed; gives the turns it makes known or changes.

    `at_ms` is the gateway's time: nothing was measured after it. Readings may come late and out of order. A
    stranger's, or one that no grain can give, is left out.
    """
    lying = turns.beds.get(bed.id)
    if lying is None:
        lying = turns.beds[bed.id] = BedTurns()
    ring = lying.rings.get(probe) or _new_ring(lying, bed, probe)
    whole = None if ring is None else _whole(value, ring.gas)
    if ring is None or whole is None:
        return []
    measured_ms = min(measured_ms, at_ms)
    newest = ring.last
    new = ring.put(measured_ms, whole)
    if not new:
        return []
    if lying.known:
        lying.known.pop(probe, None)
    if new == 2:
        if ring.last < newest:
            lying.looked_ms = 0
        if _stirs(ring, whole):
            lying.astir_ms = measured_ms + _ASTIR_MS
    left_ms = lying.astir_ms - measured_ms
    each_ms = _LOOK_EACH_MS if left_ms > _CALMER_MS else _CALM_EACH_MS
    if left_ms <= 0 or measured_ms < lying.looked_ms + each_ms:
        return []
    lying.looked_ms = measured_ms
    return look(turns, bed, lying, measured_ms)


def over(turns: Turns, wire: Wire, measured_ms: int, value: float, at_ms: int) -> None:
    """Take one calibrated reading (C) of a thermometer in a room's air, for all beds that name it."""
    if wire.quantity != TEMPERATURE:
        return
    ring = turns.air.get(wire.id)
    if ring is None:
        ring = turns.air[wire.id] = Ring(bin_ms(wire.every_s))
    whole = _whole(value, gas=False)
    if whole is not None and ring.put(min(measured_ms, at_ms), whole):
        turns.known.pop(wire.id, None)


def forget(turns: Turns, bed: str) -> None:
    """Another piece lies there, or none: what the probes said before tells nothing of it."""
    turns.beds.pop(bed, None)


def _new_ring(lying: BedTurns, bed: Bed, probe: str) -> Ring | None:
    wire = bed.wire(probe)
    if wire is None or wire.quantity not in (TEMPERATURE, CO2):
        return None
    ring = lying.rings[probe] = Ring(bin_ms(wire.every_s), wire.quantity == CO2)
    return ring


def _stirs(ring: Ring, whole: int) -> bool:
    """Whether a new value is far from that of five minutes ago: something may have begun."""
    old = ring.back(LOOK_MS)
    if old is None:
        return False
    return whole < old * _CO2_STIRS if ring.gas else abs(whole - old) >= LEAST_MOVE


def _whole(value: float, gas: bool) -> int | None:
    if gas:
        return int(value + 0.5) if _THINNEST_PPM <= value <= _THICKEST_PPM else None
    return math.floor(value * 100.0 + 0.5) if _COLDEST_C <= value <= _WARMEST_C else None
