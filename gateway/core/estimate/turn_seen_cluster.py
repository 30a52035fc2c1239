"""Which moves of a bed's probes belong to one walk along it, and what each probe says about that walk."""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from typing import NamedTuple

from gateway.core.estimate.turn_seen_bed import Bed, Figures, Wire
from gateway.core.estimate.turn_seen_passage import Passage

#: Hung in the air, a probe reads the room's within this share of the bed's warmth over it, at most and at least
#: this much (hundredths of a degree): hooks and room thermometers do not hang in one place.
_AT_AIR_SHARE, _AT_AIR_MOST, _AT_AIR_LEAST = 0.25, 60, 15
#: Below this gap to the room nothing tells grain from air.
_GAP_LEAST = 60
#: A turn cannot cool below the room; thermometers may differ by this much. And a growing floor never freezes.
_BELOW_AIR, _COLDEST = 70, 400
#: Grain heats again after a turn; a probe that has, does not hang in the air.
_REHEATED, _REHEAT_MS = 20, 600_000


class Letting(NamedTuple):
    """CO2 let go at a probe: when (Unix ms), and which share of it is still gone."""

    at_ms: int
    share: float


class Witness(NamedTuple):
    """What one probe has to say: its moves, or its ventings; its level now, None if it has no say."""

    wire: Wire
    passages: Sequence[Passage]
    lettings: Sequence[Letting]
    level: int | None


class Air(NamedTuple):
    """The air over the bed: its temperature now (hundredths; None: not known), and its own moves."""

    level: int | None
    passages: Sequence[Passage]


class Role(Enum):
    """What a thermometer says of a walk."""

    SHOWS = "shows"
    WAITS = "waits"
    OUT = "out"
    BACK = "back"


class Say(NamedTuple):
    """A probe's word on a walk."""

    witness: Witness
    passage: Passage
    role: Role
    late: bool


class Cluster(NamedTuple):
    """The words on one walk, and the ventings that fall into it."""

    says: list[Say]
    lettings: list[tuple[Wire, Letting]]


def clusters(bed: Bed, witnesses: Sequence[Witness], air: Air, now_ms: int) -> list[Cluster]:
    """The walks that the probes' moves make, oldest first."""
    events = sorted(
        [(p.pass_ms, w.wire.id) for w in witnesses for p in w.passages if _timed(p)]
        + [(one.at_ms, w.wire.id) for w in witnesses for one in w.lettings]
    )
    found, start = [], 0
    gap_ms = int(bed.figures.walk_gap_s * 1000)
    for i, (at_ms, _) in enumerate(events):
        if i + 1 == len(events) or events[i + 1][0] - at_ms > gap_ms:
            found.append(_cluster(bed, witnesses, air, (events[start][0], at_ms, now_ms)))
            start = i + 1
    return found


def _timed(passage: Passage) -> bool:
    return passage.unsure_from_ms == passage.out_ms


def _cluster(bed: Bed, witnesses: Sequence[Witness], air: Air, span: tuple[int, int, int]) -> Cluster:
    first, last, now_ms = span
    says, lettings = [], []
    for witness in witnesses:
        lettings += [(witness.wire, one) for one in witness.lettings if first <= one.at_ms <= last]
        inside = [p for p in witness.passages if _timed(p) and first <= p.pass_ms <= last]
        late = [
            p for p in witness.passages if not _timed(p) and p.unsure_from_ms <= last and p.back_ms >= first
        ]
        best = max(inside or late, key=lambda p: abs(p.net), default=None)
        if best is not None:
            says.append(Say(witness, best, Role.WAITS, not inside))
    warmest = max((say.passage.before for say in says), default=0)
    gap = None if air.level is None or warmest - air.level < _GAP_LEAST else warmest - air.level
    judged = [say._replace(role=_role(say, bed.figures, air, gap, now_ms)) for say in says]
    return Cluster(judged, lettings)


def _role(say: Say, figures: Figures, air: Air, gap: int | None, now_ms: int) -> Role:
    passage, level = say.passage, say.witness.level
    if not passage.settled or level is None:
        return Role.WAITS
    if passage.returned or abs(passage.net) < figures.least_fall_k * 100.0:
        return Role.BACK
    if passage.after < _COLDEST or (air.level is not None and passage.after < air.level - _BELOW_AIR):
        return Role.OUT
    if gap is not None and air.level is not None:
        tolerance = min(_AT_AIR_MOST, max(_AT_AIR_LEAST, int(gap * _AT_AIR_SHARE)))
        reheated = level - passage.after >= _REHEATED and now_ms - passage.settled_ms >= _REHEAT_MS
        return Role.OUT if abs(level - air.level) <= tolerance and not reheated else Role.SHOWS
    came_back = bool(passage.stray) and passage.back_ms < passage.settled_ms
    waited = now_ms - passage.out_ms >= figures.out_s * 1000.0
    return Role.SHOWS if came_back or waited else Role.WAITS
