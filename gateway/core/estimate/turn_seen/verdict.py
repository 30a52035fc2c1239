"""Was this a turn? What the probes of a bed say together about one walk.

A turn throws the whole depth over: all layers come to one temperature, not above what they were on average
and not below the room; the CO2 between the grains is let go; and it stays so. So two probes must show it,
they must agree with the others where it passed, and something must bear it out: layers that came together,
CO2 let go, probes that were out and came back to something else, a walk from place to place, or a fall so
sharp that nothing else makes it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gateway.core.estimate.turn_seen.bed import Bed
from gateway.core.estimate.turn_seen.cluster import Air, Cluster, Role, Say, Witness
from gateway.core.estimate.turn_seen.layers import Layers, layers_of, places
from gateway.core.estimate.turn_seen.walk import PLACE_M, Passed, Walk, next_ms, scatter_ms, walk

TURNED, PERHAPS, PLOUGHED = "turned", "perhaps", "ploughed"
#: The air over the bed moved as well, by at least this (hundredths) and this near in time: a door, the sun.
_AIR_MOVED, _AIR_NEAR_MS = 100, 300_000
#: A walk takes at least this long from place to place.
_WALKED_MS = 180_000
#: An end that is reckoned further ahead than this is not waited for.
_WAIT_MOST_MS = 300_000
#: A fall alone, without CO2 let go or a probe that was out, is told once it has lasted this long.
_LASTS_MS = 300_000
#: Layers this far apart before (hundredths) must have come together; to this share, nothing else does it.
_TOLD_APART, _STRONGLY = 80, 0.35
#: Layers that end at more than this share of their distance before have parted; ploughed ones come to this.
_PARTED, _PLOUGHED_TO = 0.9, 0.7
#: A probe out of the grain for a turn's passing is back by then.
_ASTRAY_MS = 900_000
#: With more probes than this that show it, one may be at odds with the others.
_MOST_AGREE = 2
#: Grain is cooled by its way through the air by this at least, on the mean of the probes (hundredths).
_FELL_LEAST, _LITTLE = 15, 50
#: Where nothing was out and no CO2 let go, they must have fallen by this: twice the least move.
_FELL_ONLY = 60
#: Probes that come out within this of each other come out for one thing; then so little a fall shows a turn.
_HANGS_NEAR_MS, _HANGS_LEAST = 1_200_000, 30
#: CO2 let go by less than this is weather.
_PLOUGHED_LEAST = 0.25


class Verdict(NamedTuple):
    """What is thought of one walk.

    `outs_ms`: when each probe began to move. `last_ms`: when the last settled; not told before `tell_ms`.
    `scatter_ms`: how far apart in time the probes of one place say it passed. `sure`: none can still be in
    the air. `back`: most of them were, and came back from it. `strongly`, `vented`: see _Proofs. Levels in
    hundredths of a degree; None where only CO2 tells.
    """

    kind: str
    sureness: float
    walk: Walk
    fall: float | None
    spread_before: int | None
    spread_after: int | None
    probes: tuple[str, ...]
    outs_ms: tuple[int, ...]
    last_ms: int
    tell_ms: int
    scatter_ms: int
    sure: bool
    strongly: bool = False
    vented: bool = False
    back: bool = False


class Denied(NamedTuple):
    """The probes that moved are back where they were: no turn from and to these moments (Unix ms)."""

    from_ms: int
    to_ms: int
    probes: tuple[str, ...]


def judge(bed: Bed, cluster: Cluster, witnesses: Sequence[Witness], air: Air) -> Verdict | Denied | None:
    """A verdict on one walk; None while, or where, the probes show nothing."""
    shows = [say for say in cluster.says if say.role is Role.SHOWS]
    back = [say for say in cluster.says if say.role is Role.BACK]
    # What came back was a probe that was out.
    gone = [(wire, one) for wire, one in cluster.lettings if one.share >= _PLOUGHED_LEAST]
    cluster = cluster._replace(lettings=gone)
    share = max((one.share for _, one in gone), default=0.0)
    vents = {wire.id for wire, _ in gone}
    if not shows and not vents:
        return _denied(back) if back else None
    if all(say.late for say in shows) and not any(one.timed for _, one in cluster.lettings):
        return None
    layers = layers_of(bed, shows, back, witnesses) if shows else None
    if layers is not None and len(shows) > _MOST_AGREE and _parted(bed, layers):
        rest, odd = _without_the_odd_one(shows)
        # It hangs in the air, or fails; if it hardly moved, it objects as a quiet one does.
        stayed = [odd] if 2 * abs(odd.passage.net) < _mean_net(rest) else []
        again = layers_of(bed, rest, [*back, *stayed], witnesses)
        if not _parted(bed, again):
            kept = [say for say in cluster.says if say in rest or say.role is not Role.SHOWS]
            shows, layers, cluster = rest, again, cluster._replace(says=kept)
    if layers is not None and layers.fall < _FELL_LEAST and all(say.was_out for say in shows) and not vents:
        # They came out and went back, into grain no cooler than before.
        return _denied([*shows, *back])
    count = len(shows) + len(vents) + (layers.agreeing if layers else 0)
    against = layers.against if layers else 0
    if 2 * against > len(shows) and not vents:
        return _denied(back) if back else None
    if count < 2:
        return _alone(bed, cluster, witnesses, air, shows)
    return _together(bed, cluster, witnesses, air, layers, share if vents else 0.0)


def _without_the_odd_one(shows: list[Say]) -> tuple[list[Say], Say]:
    """All but the one that came to another level than most, and that one."""
    levels = sorted(say.passage.after for say in shows)
    middle = levels[len(levels) // 2]
    odd = max(shows, key=lambda say: abs(say.passage.after - middle))
    return [say for say in shows if say is not odd], odd


def _mean_net(shows: Sequence[Say]) -> float:
    return sum(abs(say.passage.net) for say in shows) / len(shows)


def _parted(bed: Bed, layers: Layers) -> bool:
    """Whether layers end far apart, and no nearer than before."""
    return layers.after > max(bed.figures.alike_k * 100.0, _PARTED * layers.before)


def _denied(says: Sequence[Say]) -> Denied:
    return Denied(*_span(says), tuple(say.witness.wire.id for say in says))


def _span(says: Sequence[Say]) -> tuple[int, int]:
    return min(say.passage.out_ms for say in says), max(say.passage.settled_ms for say in says)


def _alone(
    bed: Bed, cluster: Cluster, witnesses: Sequence[Witness], air: Air, shows: list[Say]
) -> Verdict | None:
    """One probe alone: "perhaps" if no other could have shown it."""
    thermometers = [w for w in witnesses if w.wire.quantity == "temperature"]
    if not shows:
        return None if len(witnesses) > 1 else _verdict(bed, cluster, witnesses, None, PERHAPS, 0.4)
    said = {say.witness.wire.id for say in cluster.says if say.role in (Role.SHOWS, Role.BACK)}
    if any(w.wire.id not in said and w.level is not None and not w.passages for w in thermometers):
        return None
    if any(say.role is Role.BACK for say in cluster.says):
        return None
    layers = layers_of(bed, shows, [], [])
    only, sharp = shows[0], bed.figures.sharp_fall_k * 100.0
    flared = only.passage.stray > 0 and not only.was_out
    # Where another came out and hangs in the air still, this one need show less.
    hangs = any(say.role is Role.OUT and _together_out(say, only) for say in cluster.says)
    least = _HANGS_LEAST if hangs and only.was_out else sharp / 2.0 if hangs or only.was_out else sharp
    if flared or layers.fall < least:
        return None
    if _air_moved(shows, air) and not only.was_out:
        return None
    if hangs and not only.was_out and not only.sure:
        # The others hang in the air; this one may be on its way there.
        return None
    if len(thermometers) > 1 and only.sure:
        # It did not only come out: what it came back to is other grain. The others hang forgotten, or fail.
        return _verdict(bed, cluster, witnesses, layers, TURNED, 0.55)
    return _verdict(bed, cluster, witnesses, layers, PERHAPS, 0.4)


def _together_out(one: Say, other: Say) -> bool:
    return abs(one.passage.out_ms - other.passage.out_ms) <= _HANGS_NEAR_MS


class _Proofs(NamedTuple):
    """What bears a turn out, beside two probes that show it. `apart`: layers that had to come together."""

    apart: bool
    converged: bool
    strongly: bool
    out: bool
    vented: bool
    walked: bool
    sharp: bool

    def number(self) -> int:
        """How many there are."""
        return self.converged + self.out + self.vented + self.walked + self.sharp


def _proofs(bed: Bed, shows: list[Say], layers: Layers | None, share: float) -> _Proofs:
    figures = bed.figures
    before, after, fall = (layers.before, layers.after, layers.fall) if layers else (0, 0, 0.0)
    passes = [say.passage.pass_ms for say in shows if not say.late]
    walked = len(places(bed, shows)) > 1 and bool(passes) and max(passes) - min(passes) >= _WALKED_MS
    return _Proofs(
        apart=before >= _TOLD_APART,
        converged=before >= figures.apart_k * 100.0 and after <= figures.converged_share * before,
        strongly=before >= _TOLD_APART and after <= _STRONGLY * before,
        out=any(say.was_out for say in shows),
        vented=share >= figures.vented_share,
        walked=walked,
        sharp=fall >= figures.sharp_fall_k * 100.0,
    )


def _together(
    bed: Bed,
    cluster: Cluster,
    witnesses: Sequence[Witness],
    air: Air,
    layers: Layers | None,
    share: float,
) -> Verdict | None:
    shows = [say for say in cluster.says if say.role is Role.SHOWS]
    proofs = _proofs(bed, shows, layers, share)
    aired = share >= _PLOUGHED_LEAST
    if layers is not None and not aired and not _can_be(bed, shows, layers, proofs):
        return None
    closer = layers is not None and _PLOUGHED_TO * layers.before >= layers.after
    lifted = closer and layers is not None and layers.fall > 0.0
    # Probes pulled out and put back elsewhere leave layers that are far apart so.
    mixed = proofs.converged or proofs.vented or (proofs.out and (closer or not proofs.apart))
    if not mixed and (proofs.apart or aired) and not (proofs.sharp and (proofs.walked or lifted)):
        return _verdict(bed, cluster, witnesses, layers, PLOUGHED, 0.5) if lifted or aired else None
    if layers is not None and layers.fall < _LITTLE and not (proofs.apart or proofs.out or proofs.vented):
        # Aired a little: too little for a throw through the air.
        return _verdict(bed, cluster, witnesses, layers, PLOUGHED, 0.4) if aired else None
    told_by_layers = proofs.strongly and len(shows) > _MOST_AGREE
    if layers is not None and layers.fall < _FELL_ONLY and not (proofs.out or aired or told_by_layers):
        return None
    if not proofs.number() + aired or (_air_moved(shows, air) and not (mixed or aired)):
        return None
    sureness = 0.6 + 0.08 * (proofs.number() - 1) + 0.1 * aired + 0.05 * proofs.converged
    verdict = _verdict(bed, cluster, witnesses, layers, TURNED, sureness + 0.03 * (len(shows) - 2))
    return verdict._replace(strongly=proofs.strongly, vented=proofs.vented)


def _can_be(bed: Bed, shows: list[Say], layers: Layers, proofs: _Proofs) -> bool:
    """Whether layers that did this can have been turned."""
    parted = _parted(bed, layers)
    fell = layers.fall >= (0.0 if proofs.strongly else _FELL_LEAST)
    burst = all(say.passage.stray > 0 and not say.was_out for say in shows)
    # Water or cold air from one side sets layers further apart; grain thrown through the air does not warm;
    # what flared up and fell back was no grain.
    return fell and not parted and not burst


def _air_moved(shows: Sequence[Say], air: Air) -> bool:
    """Whether the room's air moved with the probes."""
    if not shows:
        return False
    net = sum(say.passage.net for say in shows)
    first, last = _span(shows)
    return any(
        abs(moved.net) >= _AIR_MOVED
        and moved.net * net > 0
        and first - _AIR_NEAR_MS <= moved.out_ms <= last + _AIR_NEAR_MS
        for moved in air.passages
    )


def _verdict(
    bed: Bed,
    cluster: Cluster,
    witnesses: Sequence[Witness],
    layers: Layers | None,
    kind: str,
    sureness: float,
) -> Verdict:
    shows = [say for say in cluster.says if say.role is Role.SHOWS]
    timed = [say for say in shows if not say.late and not _astray(bed, say, shows)] or shows
    passed = [
        Passed(
            bed.at_m(say.witness.wire), say.passage.out_ms, say.passage.pass_ms,
            say.passage.back_ms, bool(say.passage.stray),
        )
        for say in timed
    ]  # fmt: skip
    lettings = [(wire, one) for wire, one in cluster.lettings if one.timed]
    passed += [
        Passed(bed.at_m(wire), one.at_ms, one.at_ms, one.at_ms, False)
        for wire, one in (lettings or ([] if passed else cluster.lettings))
    ]
    shown = {say.witness.wire.id for say in shows} | {wire.id for wire, _ in cluster.lettings}
    still = [w for w in witnesses if w.wire.id not in shown and w.level is not None and not w.passages]
    others = [bed.at_m(w.wire) for w in still]
    took = walk(bed, passed, others)
    last_ms = max([say.passage.settled_ms for say in shows] + [one.pass_ms for one in passed])
    return Verdict(
        kind,
        round(min(0.98, sureness), 2),
        took,
        layers.fall if layers else None,
        layers.before if layers and len(shows) > 1 else None,
        layers.after if layers and len(shows) > 1 else None,
        tuple(sorted(shown)),
        tuple(one.out_ms for one in passed),
        last_ms,
        _tell_ms(bed, cluster, took, last_ms, next_ms(bed, passed, others)),
        scatter_ms(passed),
        all(say.sure for say in shows),
        back=bool(shows) and 2 * sum(say.was_out for say in shows) > len(shows),
    )


def _astray(bed: Bed, say: Say, shows: Sequence[Say]) -> bool:
    """Whether its time is far from that of most others at its place: a turn passes them together."""
    at_m = bed.at_m(say.witness.wire)
    near = sorted(s.passage.pass_ms for s in shows if abs(bed.at_m(s.witness.wire) - at_m) <= PLACE_M)
    return len(near) > _MOST_AGREE and abs(say.passage.pass_ms - near[len(near) // 2]) > _ASTRAY_MS


def _tell_ms(bed: Bed, cluster: Cluster, took: Walk, last_ms: int, next_ms: int) -> int:
    """Not before it has ended, nor while it may still reach another probe, or one has yet to settle."""
    whole = took.from_m <= bed.from_m and took.to_m >= bed.to_m
    shows = [say for say in cluster.says if say.role is Role.SHOWS]
    if not cluster.lettings and not any(say.was_out for say in shows):
        # Nothing but a fall: it must last.
        last_ms += _LASTS_MS
    if whole and all(say.role is not Role.WAITS for say in cluster.says):
        return min(took.ended_ms, last_ms + _WAIT_MOST_MS)
    waits_ms = max((say.passage.out_ms for say in cluster.says if say.role is Role.WAITS), default=0)
    return max(last_ms, next_ms, waits_ms) + int(bed.figures.out_s * 1000)
