"""Every five minutes one look at each bed: has it risen, is it uneven, is it stuffy, is it chilled, how warm.

It is done by ticks on running time, so that live, after a restart and in a replay it is done at the same
moments. What a bed wants is wanted until the next turn, or until it is so no longer.
"""

from __future__ import annotations

from gateway.core.follow import heat as balance
from gateway.core.journey.warmth import Warmth
from gateway.core.piece import Lying, in_couch
from gateway.core.rules import heat
from gateway.core.site import Place
from gateway.core.state import State
from gateway.core.want import Want

EVERY_MS = 300_000
#: The last load's warmth is gone from a bed this far below the strictest limit (ours).
COOL_K = 2.0
#: A bed recorded empty that warms so fast holds grain (ours: three times the noise of a trend).
WARMS_K_PER_H = 0.2
#: So does one that is warmer than its room and falls no faster (ours: a bare floor 10 K over its room, which
#: kept its warmth for ten hours, would fall twice as fast).
KEEPS_K_PER_H = 0.5
#: Nor by so much of what it is above its room, an hour: such a bare floor would fall twice as fast (ours).
KEEPS_SHARE_PER_H = 0.05
#: So long after a turn a bed has come down and its probes are grain again; before, its heat says nothing.
SETTLES_MS = 45 * 60_000


def judge(state: State) -> None:
    """Take a sample if it is time."""
    if state.run_ms < state.sample_run_ms:
        return
    state.sample_run_ms = (state.run_ms // EVERY_MS + 1) * EVERY_MS
    state.emptied = {bed: state.emptied.get(bed, state.run_ms) for bed in state.pieces.empty}
    state.rearmed = [
        bed for bed in state.pieces.empty if bed in state.rearmed or _cool(state, bed) or _grows(state, bed)
    ]
    state.unrecorded = [bed for bed in state.pieces.empty if _holds_grain(state, bed)]
    for place in state.site.places:
        lying = state.pieces.beds.get(place.id)
        if place.kind != "bed" or lying is None:
            state.wants.pop(place.id, None)
            continue
        _bed(state, place, lying)
    _warm(state)


def _cool(state: State, bed: str) -> bool:
    """Whether the last load's warmth is gone from the probes of a bed that was emptied."""
    place = state.site.place[bed]
    best = heat.extreme(state, bed, 1)
    strict_c = heat.ladder_for(state, place, "bed_hot", state.at_ms).levels[0].limit
    return best is not None and (best[1].value or 0.0) <= strict_c - COOL_K


def _grows(state: State, bed: str) -> bool:
    """Whether a bed recorded empty makes heat long after: the last load's warmth falls to the room's."""
    if state.run_ms - state.emptied[bed] < SETTLES_MS:
        return False
    best = heat.extreme(state, bed, 1)
    trend = best[1].trend_per_h() if best else None
    if best is None or trend is None:
        return False
    air_c = balance.room_c(state, state.site.place[bed])
    keeps = air_c is not None and (best[1].value or 0.0) > air_c + balance.ROOM_K and trend > -KEEPS_K_PER_H
    return keeps or trend >= WARMS_K_PER_H


def _holds_grain(state: State, bed: str) -> bool:
    """Whether a bed recorded empty holds grain by what it said last: it is warmer than its room and stays so.

    Where nobody hears it, or no thermometer its room, it is as it was. A day warms a bare floor too: without
    the room's air there is nothing to tell them apart by.
    """
    best = heat.extreme(state, bed, 1)
    air_c = balance.room_c(state, state.site.place[bed])
    if best is None or air_c is None:
        return bed in state.unrecorded
    over_k = (best[1].value or 0.0) - air_c
    if bed not in state.rearmed or over_k <= balance.ROOM_K:
        return False
    trend = best[1].trend_per_h()
    settled = state.run_ms - state.emptied[bed] >= SETTLES_MS
    return settled and trend is not None and trend > -KEEPS_SHARE_PER_H * over_k


def since_ms(lying: Lying) -> int:
    """The newest turn of any part, or the cast, or the breaking of the couch: from here a bed warms anew."""
    return max(lying.cast_ms, *(part.turned_ms for part in lying.parts))


def _bed(state: State, place: Place, lying: Lying) -> None:
    from_ms = since_ms(lying)
    want = state.wants.get(place.id)
    if want is None or want.from_ms != from_ms:
        want = state.wants[place.id] = Want(from_ms)
    values = [w.value for _, w in state.good(place.id, "temperature") if w.value is not None]
    co2 = [w.value for _, w in state.good(place.id, "co2") if w.value is not None]
    turning = state.programme(place).turning
    stuffy = bool(co2) and max(co2) >= turning.co2_turn_ppm
    want.chilled = bool(values) and not stuffy and max(values) <= low_c(state, place, lying)
    if in_couch(lying, state.at_ms) or state.at_ms < from_ms + SETTLES_MS:
        want.since.clear()
        return
    holds = ["co2"] if stuffy else []
    if values:
        hottest = max(values)
        want.low_c = hottest if want.low_c is None else min(want.low_c, hottest)
        holds += ["rise"] if hottest - want.low_c >= turning.rise_k else []
        holds += ["spread"] if hottest - min(values) >= turning.spread_k else []
    want.since = {name: want.since.get(name, state.at_ms) for name in holds}


def low_c(state: State, place: Place, lying: Lying) -> float:
    """At or below this the bed is chilled."""
    ladder = heat.ladder_for(state, place, "bed_low", state.at_ms)
    return ladder.levels[0].limit


def _warm(state: State) -> None:
    means: dict[str, list[float]] = {}
    bases: dict[str, float] = {}
    for place in state.site.places:
        lying = state.pieces.beds.get(place.id)
        if lying is None:
            continue
        values = [w.value for _, w in state.good(place.id, "temperature") if w.value is not None]
        for name in lying.pieces:
            bases.setdefault(name, state.programme(place).turning.base_c)
            means.setdefault(name, [])
            if values:
                means[name].append(sum(values) / len(values))
    for name, found in means.items():
        warmth = state.warmth.get(name)
        if warmth is None:
            warmth = state.warmth[name] = _inherited(state, name)
        warmth.add(state.at_ms, sum(found) / len(found) if found else None, bases[name])
    for name in [name for name in state.warmth if name not in state.pieces.now.pieces]:
        del state.warmth[name]


def _inherited(state: State, name: str) -> Warmth:
    """A piece joined of others, or split off one, is as far as they were."""
    pieces = state.pieces.now.pieces
    own = pieces.get(name)
    parents = [one.name for one in pieces.values() if one.into == name]
    parents += [own.out_of] if own and own.out_of else []
    found = [state.warmth[parent] for parent in parents if parent in state.warmth]
    best = max(found, key=lambda one: one.kh, default=Warmth())
    return Warmth(best.kh, best.watched_ms, best.last_ms, best.base_c)


def moved(state: State, by_ms: int) -> None:
    """The clock was set: what is counted from a moment of it moves along."""
    for warmth in state.warmth.values():
        if warmth.last_ms:
            warmth.last_ms += by_ms
    for want in state.wants.values():
        want.since = {name: min(at_ms, state.axis.at_ms(state.run_ms)) for name, at_ms in want.since.items()}
