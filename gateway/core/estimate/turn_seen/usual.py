"""How long a turn takes at this site: what is reckoned with where the probes of a bed cannot tell its end.

Learnt from the turns whose length the probes did show, those of all beds: the same people turn them. A
longer bed takes longer, but not in proportion: walking, tools and rests stay the same.
"""

from __future__ import annotations

import math

from gateway.core.estimate.turn_seen.bed import Bed
from gateway.core.estimate.turn_seen.state import Lasted, Turns
from gateway.core.estimate.turn_seen.walk import Walk

#: So many turns are remembered; the newest count.
_MOST = 8
#: The figure of the site counts as so many turns seen.
_FIGURE_COUNTS = 2.0
#: A turn ended less than this ago may be the one in hand, which is not reckoned from itself.
_IN_HAND_MS = 7_200_000


def usual_s(turns: Turns, bed: Bed, now_ms: int) -> float:
    """The time in seconds for the whole of a bed: the figure, and turns seen by how well their length was."""
    length_m = bed.to_m - bed.from_m
    known, total = _FIGURE_COUNTS, _FIGURE_COUNTS * bed.figures.turn_s
    for one in turns.lasted:
        if one.length_m > 0.0 and not (one.bed == bed.id and one.ended_ms > now_ms - _IN_HAND_MS):
            known += one.weight
            total += one.weight * one.took_s * math.sqrt(length_m / one.length_m)
    return total / known


def learn(turns: Turns, bed: Bed, turn: int, walk: Walk | None) -> None:
    """Remember how long a turn took, as it is told now; without a walk it was none."""
    kept = [one for one in turns.lasted if one.turn != turn]
    if walk is not None and walk.weight > 0.0:
        took_s, weight = round(walk.whole_ms / 1000.0), round(walk.weight, 2)
        kept.append(Lasted(turn, bed.id, round(bed.to_m - bed.from_m, 1), took_s, weight, walk.ended_ms))
    turns.lasted = kept[-_MOST:]
