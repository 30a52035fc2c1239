"""A clock that was set: what the probes said by the gateway's time moves with it.

A probe with a clock of its own goes on as it was; what was told of a bed moves with most of its probes.
"""

from __future__ import annotations

from dataclasses import replace

from gateway.core.estimate.turn_seen.ring import Ring
from gateway.core.estimate.turn_seen.state import BedTurns
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME
from gateway.core.state import State


def moved(state: State, by_ms: int) -> None:
    """The calendar is `by_ms` further, and no time has passed."""
    kept = state.turns_seen
    for bed, lying in kept.turns.beds.items():
        ours = [_by_our_clock(state, name) for name in lying.rings]
        for name, ring in lying.rings.items():
            if _by_our_clock(state, name):
                _shift(ring, by_ms)
        lying.known.clear()
        if 2 * sum(ours) > len(ours):
            _shift_told(lying, by_ms)
            for one in kept.seen.get(bed, ()):
                began_ms, ended_ms = one.seen.began_ms + by_ms, one.seen.ended_ms + by_ms
                one.seen = replace(one.seen, began_ms=began_ms, ended_ms=ended_ms)
    for name, ring in kept.turns.air.items():
        if _by_our_clock(state, name):
            _shift(ring, by_ms)
    kept.turns.known.clear()
    now_ms = state.axis.at_ms(state.run_ms)
    for ones in kept.seen.values():
        for one in ones:
            one.known_ms = min(one.known_ms, now_ms)
    kept.watched_ms = {bed: at_ms + by_ms for bed, at_ms in kept.watched_ms.items()}


def _by_our_clock(state: State, probe: str) -> bool:
    window = state.windows.get(probe)
    flags = window.flags if window is not None else OWN_TIME
    return not flags & OWN_TIME or bool(flags & CLOCK_UNSURE)


def _shift(ring: Ring, by_ms: int) -> None:
    ring.last += round(by_ms / ring.bin_ms)


def _shift_told(lying: BedTurns, by_ms: int) -> None:
    lying.astir_ms = max(0, lying.astir_ms + by_ms)
    lying.looked_ms = max(0, lying.looked_ms + by_ms)
    for told in lying.told:
        seen = told.seen
        told.out_ms += by_ms
        told.seen = replace(
            seen,
            began_ms=seen.began_ms + by_ms,
            ended_ms=seen.ended_ms + by_ms,
            known_ms=seen.known_ms + by_ms,
        )
