"""Where a walk passed, what the layers were before and what they came to, and which probes object."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gateway.core.estimate.turn_seen.bed import TEMPERATURE, Bed
from gateway.core.estimate.turn_seen.cluster import Say, Witness
from gateway.core.estimate.turn_seen.walk import PLACE_M


class Layers(NamedTuple):
    """The layers where it passed: how far apart before and after, their mean fall, and who objects."""

    before: int
    after: int
    fall: float
    agreeing: int
    against: int


def layers_of(bed: Bed, shows: list[Say], back: list[Say], witnesses: Sequence[Witness]) -> Layers:
    """Compare, place by place, what the layers were and what they came to."""
    before = after = agreeing = against = 0
    where, still = places(bed, shows), _still(bed, witnesses)
    elsewhere = any(all(abs(at_m - place) > PLACE_M for place in where) for at_m, _ in still)
    for place in where:
        here = [say for say in shows if _at(bed, say, place)]
        came_to = [say.passage.after for say in here]
        was = [say.passage.before for say in here]
        middle = sum(came_to) / len(came_to)
        quiet = [(say.passage.before, say.passage.after, say.was_out) for say in back if _at(bed, say, place)]
        quiet += [(level, level, False) for at_m, level in still if abs(at_m - place) <= PLACE_M]
        moved = max(abs(say.passage.net) for say in here)
        sure = any(say.sure for say in here)
        # One that did not move at all must have been there already: nearly what the others came to.
        tolerance = bed.figures.apart_k * 100.0 + 0.15 * (max(was) - min(was))
        for old, new, strayed in quiet:
            if abs(new - middle) > tolerance:
                against += 1
                continue
            # A cold layer may already have been what the mixed grain came to; not in one place of many.
            agreeing += strayed or (sure and not elsewhere and moved >= bed.figures.alike_k * 100.0)
            came_to.append(new)
            was.append(old)
        before, after = max(before, max(was) - min(was)), max(after, max(came_to) - min(came_to))
    against += _passed_over(where, shows, still, bed.figures.apart_k * 100.0)
    if len(where) == len(shows):
        # One probe to a place: the layers are told along the bed.
        before = max(before, _range([say.passage.before for say in shows]))
        after = max(after, _range([say.passage.after for say in shows]))
    fall = -sum(say.passage.net for say in shows) / len(shows)
    return Layers(before, after, fall, agreeing, against)


def _still(bed: Bed, witnesses: Sequence[Witness]) -> list[tuple[float, int]]:
    """Where the thermometers hang that have a say and went through nothing, and what they read."""
    return [
        (bed.at_m(w.wire), w.level)
        for w in witnesses
        if w.level is not None and not w.passages and w.wire.quantity == TEMPERATURE
    ]


def _passed_over(where: list[float], shows: list[Say], still: list[tuple[float, int]], near: float) -> int:
    """How many probes a walk came by, between others, that neither moved nor read what these came to."""
    came_to = [say.passage.after for say in shows]
    low, high = min(came_to) - near, max(came_to) + near
    return sum(
        where[0] < at_m < where[-1]
        and all(abs(at_m - place) > PLACE_M for place in where)
        and not low <= level <= high
        for at_m, level in still
    )


def _at(bed: Bed, say: Say, place: float) -> bool:
    return abs(bed.at_m(say.witness.wire) - place) <= PLACE_M


def _range(values: list[int]) -> int:
    return max(values) - min(values)


def places(bed: Bed, says: Sequence[Say]) -> list[float]:
    """The places along the bed where these probes hang, those within a metre taken as one."""
    places: list[float] = []
    for at_m in sorted(bed.at_m(say.witness.wire) for say in says):
        if not places or at_m - places[-1] > PLACE_M:
            places.append(at_m)
    return places
