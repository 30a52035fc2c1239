"""How right earlier forecasts of a bed were: what was said is kept, and held against what came.

Of a bed that nothing is proved of yet the band is wider than most beds need: some keep no balance at all.
"""

from __future__ import annotations

import math

from gateway.core.estimate.bed_heat.curve import BIN_MS
from gateway.core.estimate.bed_heat.said import Outlook
from gateway.core.estimate.bed_heat.state import Bed, BedHeat, Promise

_HOUR_MS = 3_600_000
#: Of the first hour a thermometer's wavering would be proved, and not the balance.
_PROMISE_H = (2.0, 4.0)
#: An old proof fades at this rate; one counts no more than this; so narrow and wide the doubt may become
#: (ours, grade D).
_FADE, _WORST = 0.98, 9.0
_NARROWEST, _WIDEST = 0.4, 3.0
#: By so long after a moment a turn that cut into it has been told of, or its leap is seen (ours, grade D).
_KNOWN_MS = 1_800_000
#: No reckoning is surer than this (K): a bin's mean wavers by it.
_LEAST_K = 0.02


def factor(lying: BedHeat) -> float:
    """By how much the doubt of this bed is wider (or narrower) than the reckoning alone says."""
    return min(_WIDEST, max(_NARROWEST, math.sqrt(lying.off / lying.weight)))


def promise(lying: BedHeat, bed: Bed, reckoned: list[Outlook], at_ms: int) -> None:
    """Remember what would be said now of the next hours, and its doubt without the factor it is to prove.

    What thermometers err by is left out: they err alike in what they say later.
    """
    lying.promised_ms = at_ms
    began_ms = _bed_began(lying, bed)
    wide = factor(lying)
    for hours in _PROMISE_H:
        said = max(
            (outlook.at(at_ms + int(hours * _HOUR_MS)) for outlook in reckoned), key=lambda each: each[0]
        )
        due_ms = at_ms + int(hours * _HOUR_MS)
        doubt_k = math.sqrt(max(0.0, said[1] ** 2 - bed.doubts.level_k**2)) / wide
        promised = Promise(due_ms, round(said[0], 2), round(max(_LEAST_K, doubt_k), 3), began_ms)
        lying.promises.append(promised)


def prove(lying: BedHeat, bed: Bed, at_ms: int) -> None:
    """Hold what was said of moments now past against the hottest reading then; a turn makes it void."""
    began_ms = _bed_began(lying, bed)
    waiting = []
    for one in lying.promises:
        if one.began_ms != began_ms:
            continue
        if one.due_ms + _KNOWN_MS > at_ms:
            waiting.append(one)
            continue
        came_c = _hottest_c(lying, bed, one.due_ms)
        if came_c is not None:
            off = (came_c - one.value_c) / one.sd_k
            lying.off = _FADE * lying.off + min(off * off, _WORST)
            lying.weight = _FADE * lying.weight + 1.0
    lying.promises = waiting


def _bed_began(lying: BedHeat, bed: Bed) -> int:
    return max((lying.probes[hung.id].began_ms for hung in bed.probes if hung.id in lying.probes), default=0)


def _hottest_c(lying: BedHeat, bed: Bed, at_ms: int) -> float | None:
    """The hottest good thermometer about a moment: the mean of the bins round it, C."""
    found = []
    for hung in bed.probes:
        hot = lying.probes.get(hung.id)
        near = hot.curve.spots(at_ms - 2 * BIN_MS) if hot else []
        values = [spot.value_c for spot in near if spot.at_ms <= at_ms + 2 * BIN_MS]
        if values:
            found.append(sum(values) / len(values))
    return max(found, default=None)
