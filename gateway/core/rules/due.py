"""When a bed wants turning, and why: the earliest of all reasons, as the time to start.

The longest time between turns for its stage (or the fixed round), the level at which it wants turning, met or
to be met; the rise since the last turn; the spread between its probes; carbon dioxide in it. The maltster's
standing order moves all of these, and none of the limits that call somebody. The figures behind rise, spread
and CO2 are the programme's; 2 K and 3 K are grade C, 40,000 ppm grade D.
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core.piece import Lying, Order, in_couch
from gateway.core.rules import heat, turning
from gateway.core.rules.limits import level_of
from gateway.core.rules.reach import AHEAD, Forecast, Reach
from gateway.core.rules.sample import SETTLES_MS, since_ms
from gateway.core.site import Place, Probe
from gateway.core.state import State

_HOUR_MS = 3_600_000
#: A rise slower than this (K/h) is no rise to reckon with (ours: below a probe's own noise).
_LEAST_AHEAD = 0.05
_AHEAD_H = 12.0


class Reason(NamedTuple):
    """One reason to turn: its kind, when it is due and when to start (Unix ms).

    `kind`: clock, round, warm (at the level), heat (will be), hot (over a limit that calls), rise, spread,
    co2. `limit` is what is met.
    """

    kind: str
    due_ms: int
    start_ms: int
    limit: float | None = None
    reach: Reach | None = None


class Due(NamedTuple):
    """When a bed wants turning; `first` is the reason that counts; None: `idle` says why there is none.

    At a limit that calls, and still measured there, that is the heat, from the earliest time that any reason
    gave. `ends`: a heat alarm stands and the bed has come down from it.
    """

    first: Reason | None
    clock: turning.Turning | None
    order: Order | None
    idle: str = ""
    chilled: bool = False
    ends: heat.Ends | None = None


def due(state: State, place: Place, ahead: Forecast = AHEAD) -> Due:
    """Why and when a bed wants turning; pure, from the state as it stands."""
    lying = state.pieces.beds.get(place.id)
    order = state.pieces.order(place.id, state.at_ms)
    if lying is None:
        idle = "known empty" if place.id in state.pieces.empty else "no cast recorded"
        return Due(None, None, None, idle)
    if in_couch(lying, state.at_ms):
        return Due(None, None, order, "in the couch")
    clock = turning.clock(state, place)
    found = [*_by_clock(state, place, clock), *_by_heat(state, place, lying, ahead)]
    found += _by_sample(state, place, lying)
    if order is not None:
        found = [_after(reason, order.until_ms) for reason in found]
    earliest = min(found, key=lambda one: (one.start_ms, one.due_ms, one.kind), default=None)
    first = _counts(state, place, earliest) if earliest else None
    idle, chilled = "" if first else "no turning programme", turning.chilled(state, place)
    return Due(first, clock, order, idle, chilled, heat.ends(state, place))


def _counts(state: State, place: Place, earliest: Reason) -> Reason:
    held = heat.held(state, place)
    if held is None or held.level.rank < heat.HIGH:
        return earliest
    return earliest._replace(kind="hot", limit=held.level.limit, reach=None)


def turned_ms(lying: Lying, probe: Probe) -> int:
    """When the grain at a probe was last turned, or cast; of an untold place the longest ago."""
    at_m = probe.at_m
    here = [part for part in lying.parts if at_m is None or part.from_m <= at_m <= part.to_m]
    return min(part.turned_ms for part in here or lying.parts)


def takes_ms(state: State, place: Place) -> int:
    """How long a turn of the bed takes, by its programme."""
    return int(state.programme(place).turning.turn_takes_min * 60_000)


def _by_clock(state: State, place: Place, clock: turning.Turning | None) -> list[Reason]:
    if clock is None:
        return []
    if state.programme(place).turning.rounds:
        return [Reason("round", clock.due_ms, clock.due_ms)]
    # From the middle of one turn to the middle of the next.
    return [Reason("clock", clock.due_ms, clock.due_ms - takes_ms(state, place) // 2)]


def _by_heat(state: State, place: Place, lying: Lying, ahead: Forecast) -> list[Reason]:
    level = level_of(heat.ladder_for(state, place, "bed_hot", state.at_ms), heat.TURN_AT)
    limit_c = level.limit if level else None
    held = heat.held(state, place)
    if held is not None:
        since = state.guard("bed_hot", place.id).since_ms
        warm_ms = max(since, turned_ms(lying, held.probe) + SETTLES_MS)
        return [Reason("warm", warm_ms, warm_ms, limit_c)]
    settled_ms = since_ms(lying) + SETTLES_MS
    if limit_c is None or state.at_ms < settled_ms:
        return []
    reach = ahead.reach(state, place, limit_c)
    if reach is None:
        return []
    return [Reason("heat", reach.at_ms, reach.at_ms - takes_ms(state, place), limit_c, reach)]


def _by_sample(state: State, place: Place, lying: Lying) -> list[Reason]:
    want = state.wants.get(place.id)
    if want is None or want.from_ms != since_ms(lying):
        return []
    figures = state.programme(place).turning
    limits = {"rise": figures.rise_k, "spread": figures.spread_k, "co2": figures.co2_turn_ppm}
    found = [Reason(name, at_ms, at_ms, limits[name]) for name, at_ms in want.since.items()]
    best = heat.extreme(state, place.id, 1)
    if "rise" in want.since or want.low_c is None or best is None or best[1].value is None:
        return found
    trend = best[1].trend_per_h(heat.newest_turn(state, place.id))
    if trend is None or trend < _LEAST_AHEAD:
        return found
    hours = max(0.0, want.low_c + figures.rise_k - best[1].value) / trend
    if hours <= _AHEAD_H:
        at_ms = best[1].measured_ms + int(hours * _HOUR_MS)
        found.append(Reason("rise", at_ms, at_ms - takes_ms(state, place), figures.rise_k))
    return found


def _after(reason: Reason, until_ms: int) -> Reason:
    if reason.start_ms >= until_ms:
        return reason
    return reason._replace(due_ms=max(reason.due_ms, until_ms), start_ms=until_ms)
