"""Which moves of a bed's probes belong to one walk along it, and what each probe says about that walk."""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum
from typing import NamedTuple

from gateway.core.estimate.turn_seen.bed import Bed, Figures, Wire
from gateway.core.estimate.turn_seen.passage import LEAST_MOVE, Passage
from gateway.core.estimate.turn_seen.ring import Ring

#: Hung in the air, a probe reads the room's within this share of the bed's warmth over it, at most and at
#: least this much (hundredths of a degree): hooks and room thermometers do not hang in one place.
_AT_AIR_SHARE, _AT_AIR_MOST, _AT_AIR_LEAST = 0.25, 60, 15
#: One that has long been this near the room's air is no witness: it may hang there, and shows no turn.
_QUIET_IN_AIR = 30
#: Below this gap to the room nothing tells grain from air.
_GAP_LEAST = 60
#: A turn cannot cool below the room; thermometers may differ by this much. And a growing floor never freezes.
_BELOW_AIR, _COLDEST = 70, 400
#: No more ways than this are tried to read one walk.
_READ_MOST = 4
#: A probe that was stuck or silent may bear witness this much later.
_LATE_MS = 7_200_000
#: Grain heats again after a turn, whatever the air does; a probe that has, does not hang in the air.
_REHEATED, _REHEAT_MS = 20, 600_000


class Letting(NamedTuple):
    """CO2 let go at a probe: when (Unix ms; `timed`: known), and which share of it is still gone."""

    at_ms: int
    share: float
    timed: bool


class Witness(NamedTuple):
    """What one probe has to say: its moves, or its ventings; its level now, None if it has no say;
    `steady`: that moves no faster than grain does.
    """

    wire: Wire
    passages: Sequence[Passage]
    lettings: Sequence[Letting]
    level: int | None
    steady: bool = True


class Air(NamedTuple):
    """The air over the bed: its temperature now (hundredths; None: not known), its moves, its readings."""

    level: int | None
    passages: Sequence[Passage]
    rings: Sequence[Ring] = ()

    def rise(self, since_ms: int, now_ms: int) -> int:
        """How much warmer the air has become since then; 0 where it is not known."""
        rises = sorted(
            level - old
            for ring in self.rings
            if (level := ring.level()) is not None and (old := ring.back(now_ms - since_ms)) is not None
        )
        return rises[len(rises) // 2] if rises else 0


class Role(Enum):
    """What a thermometer says of a walk."""

    SHOWS = "shows"
    WAITS = "waits"
    OUT = "out"
    BACK = "back"


class Say(NamedTuple):
    """A probe's word on a walk. `late`: when is not known. `sure`: it is in grain again, not in the air.
    `was_out`: it strayed towards the air's temperature, and came back.
    """

    witness: Witness
    passage: Passage
    role: Role
    late: bool
    sure: bool
    was_out: bool


class Cluster(NamedTuple):
    """The words on one walk, and the ventings that fall into it."""

    says: list[Say]
    lettings: list[tuple[Wire, Letting]]


def clusters(bed: Bed, witnesses: Sequence[Witness], air: Air, now_ms: int) -> list[list[Cluster]]:
    """The walks that the probes' moves may make, oldest first; for each, the ways to read it.

    Where a probe moved twice within one walk's time, one of the moves was something else: each is tried.
    """
    events = sorted(
        [p.pass_ms for w in witnesses for p in w.passages if _timed(p)]
        + [one.at_ms for w in witnesses for one in w.lettings if one.timed]
    )
    found, start = [], 0
    gap_ms = int(bed.figures.walk_gap_s * 1000)
    for i, at_ms in enumerate(events):
        if i + 1 == len(events) or events[i + 1] - at_ms > gap_ms:
            span = (events[start], at_ms)
            anchors = _anchors(witnesses, span)
            found.append([_cluster(bed, witnesses, air, (*span, now_ms), anchor) for anchor in anchors])
            start = i + 1
    return found


def _timed(passage: Passage) -> bool:
    return passage.unsure_from_ms == passage.out_ms


def _inside(witness: Witness, span: tuple[int, int]) -> list[Passage]:
    return [p for p in witness.passages if _timed(p) and span[0] <= p.pass_ms <= span[1]]


def _anchors(witnesses: Sequence[Witness], span: tuple[int, int]) -> list[int]:
    """The moments around which to read the moves: one, unless a probe moved more than once."""
    many = [_inside(witness, span) for witness in witnesses]
    return sorted({p.pass_ms for moves in many if len(moves) > 1 for p in moves})[:_READ_MOST] or [span[0]]


def _cluster(
    bed: Bed, witnesses: Sequence[Witness], air: Air, span: tuple[int, int, int], anchor: int
) -> Cluster:
    first, last, now_ms = span
    says, lettings = [], []
    for witness in witnesses:
        lettings += [(witness.wire, one) for one in witness.lettings if _falls_in(one, first, last)]
        inside = _inside(witness, (first, last))
        late = [
            p for p in witness.passages if not _timed(p) and p.unsure_from_ms <= last and p.back_ms >= first
        ]
        best = min(inside or late, key=lambda p: abs(p.pass_ms - anchor), default=None)
        if best is not None:
            says.append(Say(witness, best, Role.WAITS, not inside, False, False))
    air = _air_or_guess(air, says)
    warmest = max((say.passage.before for say in says), default=0)
    gap = None if air.level is None or warmest - air.level < _GAP_LEAST else warmest - air.level
    judged = [
        say._replace(
            role=_role(say, bed.figures, air, gap, now_ms),
            sure=gap is not None or _came_back(say.passage),
            was_out=_came_back(say.passage) and (say.passage.stray < 0 or _warm(air, say.passage)),
        )
        for say in says
    ]
    return Cluster(judged, lettings)


def _falls_in(letting: Letting, first: int, last: int) -> bool:
    """An untimed one showed only after a silence, or while it stood still: it may have been in this walk."""
    late_ms = 0 if letting.timed else _LATE_MS
    return first <= letting.at_ms <= last + late_ms


def _air_or_guess(air: Air, says: Sequence[Say]) -> Air:
    """The air over the bed; where no thermometer hangs in it, what probes read that were out."""
    if air.level is not None:
        return air
    read = [
        min(p.before, p.after) + p.stray for p in (s.passage for s in says) if _came_back(p) and p.stray < 0
    ]
    return air._replace(level=min(read)) if read else air


def _came_back(passage: Passage) -> bool:
    return bool(passage.stray) and passage.back_ms < passage.settled_ms


def _warm(air: Air, passage: Passage) -> bool:
    """Whether the air is warmer than the grain was: then out is up."""
    return air.level is not None and air.level > max(passage.before, passage.after)


def hangs_in_air(level: int, air: Air) -> bool:
    """Whether a probe that does not move says nothing but the room's temperature."""
    return air.level is not None and abs(level - air.level) <= _QUIET_IN_AIR


def _role(say: Say, figures: Figures, air: Air, gap: int | None, now_ms: int) -> Role:
    passage, level = say.passage, say.witness.level
    if level is None and not passage.moving:
        # Silent now, or stuck: what it went through before stands.
        level = passage.after
    if not passage.settled or level is None or (passage.moving and not _came_back(passage)):
        return Role.WAITS
    if passage.returned or abs(passage.net) < figures.least_fall_k * 100.0:
        return Role.BACK
    if passage.after < _COLDEST or (air.level is not None and passage.after < air.level - _BELOW_AIR):
        return Role.OUT
    if gap is not None and air.level is not None:
        least = max(_AT_AIR_LEAST, passage.step)
        tolerance = max(least, min(_AT_AIR_MOST, int(gap * _AT_AIR_SHARE)))
        waited = now_ms - passage.settled_ms >= _REHEAT_MS
        off = abs(level - air.level) > least
        by_itself = level - passage.after - max(0, air.rise(passage.settled_ms, now_ms))
        reheated = waited and off and say.witness.steady and by_itself >= max(_REHEATED, 2 * passage.step)
        nearest = min(abs(level - air.level), abs(passage.after - air.level))
        if _came_back(passage) and passage.stray <= -LEAST_MOVE and nearest > least:
            # It has been in the air, and is warmer than that was.
            return Role.SHOWS
        return Role.OUT if nearest <= tolerance and not reheated else Role.SHOWS
    waited = now_ms - passage.out_ms >= figures.out_s * 1000.0
    return Role.SHOWS if _came_back(passage) or waited else Role.WAITS
