"""How right earlier forecasts of a bed were: what was said is kept, and held against what came.

A bed of which little is proved yet is taken to be like the site's others and like the pieces before: beds of
one house are more alike than those of two. Each of those counts by the logarithm of what it came to, so that
one bad bed, or one too good to be true, does not decide for all.
"""

from __future__ import annotations

import math

from gateway.core.estimate.bed_heat.curve import BIN_MS
from gateway.core.estimate.bed_heat.said import Outlook
from gateway.core.estimate.bed_heat.state import Bed, BedHeat, Heat, Promise

_HOUR_MS = 3_600_000
#: The short ones come in first, and foretell how right the long ones will be; of those each hour is enough.
_PROMISE_H, _LONG_H, _LONG_EACH_MS = (0.5, 1.0, 2.0), 4.0, _HOUR_MS
#: An old proof fades at this rate; one counts no more than this; so narrow and wide the doubt may become
#: (ours, grade D).
_FADE, _WORST = 0.98, 16.0
_NARROWEST, _WIDEST = 0.4, 3.0
#: What the site's other pieces came to weighs like so many proofs of a bed's own (ours, grade D).
_TRUST = 15.0
#: What is reckoned weighs like so much of a piece; one counts half with so many proofs (ours, grade D).
_RECKONED, _HALF = 0.7, 8.0
#: So little and so much a piece may have come to for the others (mean squares; ours, grade D).
_BEST, _WORST_PIECE = 0.1, 16.0
#: The mean of squares over pieces lies above that of their logarithms (ours, grade D).
_MEAN_OVER = 0.3
#: Each piece that has gone leaves so much of those before it (ours, grade D).
_PAST_FADES = 0.8
#: By so long after a moment a turn that cut into it has been told of, or its leap is seen (ours, grade D).
_KNOWN_MS = 1_800_000
#: What comes wavers by so much itself (K): it is the mean of a few bins.
_LEAST_K = 0.02


def factor(heat: Heat, bed: str) -> float:
    """By how much the doubt of this bed is wider (or narrower) than the reckoning alone says."""
    lying = heat.beds[bed]
    mean = (_TRUST * _site(heat, bed) + lying.off) / (_TRUST + lying.weight)
    return min(_WIDEST, max(_NARROWEST, math.sqrt(mean)))


def _site(heat: Heat, bed: str) -> float:
    """What the promises of the other pieces came to, those of the bed's own past too: a mean square."""
    total, weight = heat.past, _RECKONED + heat.past_weight
    for other, lying in heat.beds.items():
        if other != bed:
            one, share = _came_to(lying)
            total += share * one
            weight += share
    return math.exp(total / weight)


def _came_to(lying: BedHeat) -> tuple[float, float]:
    """What a piece's promises came to for the others (logarithm of a mean square), and what that weighs.

    Where no piece was recorded nobody knows that it is grain: it weighs nothing.
    """
    if not lying.told or not lying.weight:
        return 0.0, 0.0
    mean = min(_WORST_PIECE, max(_BEST, lying.off / lying.weight))
    return math.log(mean) + _MEAN_OVER, lying.weight / (lying.weight + _HALF)


def gone(heat: Heat, bed: str) -> None:
    """A piece has gone: what its promises came to stays with the site."""
    lying = heat.beds.get(bed)
    one, share = _came_to(lying) if lying else (0.0, 0.0)
    if share:
        heat.past = _PAST_FADES * heat.past + share * one
        heat.past_weight = _PAST_FADES * heat.past_weight + share


def promise(lying: BedHeat, bed: Bed, reckoned: list[Outlook], wide: float, at_ms: int) -> None:
    """Remember what would be said now of the next hours, its doubt without the factor `wide` it is to prove.

    What thermometers err by is left out: they err alike in what they say later.
    """
    lying.promised_ms = at_ms
    began_ms = _bed_began(lying, bed)
    newest_ms = max((one.due_ms for one in lying.promises), default=0)
    long_due = at_ms + int(_LONG_H * _HOUR_MS) - newest_ms >= _LONG_EACH_MS
    for hours in (*_PROMISE_H, _LONG_H) if long_due else _PROMISE_H:
        due_ms = at_ms + int(hours * _HOUR_MS)
        said = max((outlook.at(due_ms) for outlook in reckoned), key=lambda each: each[0])
        doubt_k = math.sqrt(max(0.0, said[1] ** 2 - bed.doubts.level_k**2)) / wide
        promised = Promise(due_ms, round(said[0], 2), round(math.hypot(_LEAST_K, doubt_k), 3), began_ms)
        lying.promises.append(promised)


def prove(lying: BedHeat, bed: Bed, at_ms: int) -> None:
    """Hold what was said of moments now past against the hottest reading then; a turn makes it void."""
    began_ms = _bed_began(lying, bed)
    lying.told = bed.cast_ms is not None
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
