"""CO2 let go: what gathered in a closed heap is gone within minutes, and stays gone.

Before a vent the gas stood or rose; then it falls far below, in a few samples, and two samples agree. One
sample alone is a breath or noise; a slow slide is airing, or an instrument going wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

#: How many samples must have stood or risen before, and over how many the fall may spread.
_CALM = 6
_FALL_MOST = 5
#: Standing: the samples before lie within this share of their middle, and end at most half of it lower.
_STANDING = 0.05


class Vent(NamedTuple):
    """`at` is the place in the series of the first sample of the fall; levels in the series' unit.

    `wavered`: the samples before were not one and the same, as a stuck instrument's are. `gap`: how many
    places before it the last sample of before was heard; 1 without a silence.
    """

    at: int
    before: float
    after: float
    wavered: bool
    gap: int


def vents(series: Sequence[float | None], least_share: float) -> list[Vent]:
    """Every vent in a series of equally spaced samples (None: not heard), oldest first.

    `least_share` of the level before must be gone in both of two samples. The level before is the middle
    of six samples that stood or rose.
    """
    heard = [(place, value) for place, value in enumerate(series) if value is not None]
    levels = [value for _, value in heard]
    pairs = enumerate(zip(levels[_CALM - 1 :], levels[_CALM:-1], strict=False), _CALM)
    # The first step of a fall is its share of the whole at least.
    step = 1.0 - least_share / (_FALL_MOST - 1)
    falls = [i for i, (old, new) in pairs if new < old * step]
    found: list[Vent] = []
    free = _CALM
    for i in falls:
        vent = _at(heard, i, least_share) if i >= free else None
        if vent is not None:
            found.append(vent)
            free = i + _CALM
    return found


def _at(heard: list[tuple[int, float]], i: int, least_share: float) -> Vent | None:
    calm = [v for _, v in heard[i - _CALM : i]]
    before = _middle(calm)
    if before <= 0.0 or not _stood(calm, before):
        return None
    limit = before * (1.0 - least_share)
    for k in range(i, min(i + _FALL_MOST, len(heard) - 1)):
        pair = max(heard[k][1], heard[k + 1][1])
        if pair <= limit:
            return Vent(heard[i][0], before, pair, len(set(calm)) > 1, heard[i][0] - heard[i - 1][0])
    return None


def _stood(calm: list[float], middle: float) -> bool:
    """Whether the samples before stood or rose; one of them may be a spike."""
    near = [v for v in calm if abs(v - middle) <= _STANDING * middle]
    return len(near) >= len(calm) - 1 and near[-1] >= near[0] * (1.0 - _STANDING / 2)


def _middle(values: list[float]) -> float:
    ordered = sorted(values)
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2
