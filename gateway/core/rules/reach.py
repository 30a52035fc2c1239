"""How warm a bed will be, and when it meets a limit, if nobody turns it.

By its heat balance (`follow.heat`), with the band that holds nine of ten. While that cannot say yet, the
trend of its hottest probe stands in: a straight line, and no band. When a limit is met by it is said twelve
hours ahead, so that nobody is late; how warm the bed will be, for three.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from gateway.core.estimate.bed_heat.balance import Limit
from gateway.core.follow import heat as balance
from gateway.core.rules import heat
from gateway.core.site import Place
from gateway.core.state import State

_HOUR_MS = 3_600_000
#: Nothing is foretold farther ahead (ours); a bed bends off a straight line long before.
AHEAD_MS = 12 * _HOUR_MS
#: A straight line through less than an hour tells how warm it will be no farther than this (ours, grade D).
_STRAIGHT_MS = 3 * _HOUR_MS


class Reach(NamedTuple):
    """When a limit is met (Unix ms), and from when to when with nine chances in ten; None where unknown."""

    at_ms: int
    early_ms: int | None = None
    late_ms: int | None = None


class Warm(NamedTuple):
    """How warm at a moment (C), and from what to what with nine chances in ten; None where unknown."""

    c: float
    low_c: float | None = None
    high_c: float | None = None


class Forecast(NamedTuple):
    """`reach(state, bed, limit_c)`: when; `at(state, bed, at_ms)`: how warm. None: nobody can say."""

    reach: Callable[[State, Place, float], Reach | None]
    at: Callable[[State, Place, int], Warm | None]


def _reach(state: State, place: Place, limit_c: float) -> Reach | None:
    best = heat.extreme(state, place.id, 1)
    if best is None:
        return None
    window = best[1]
    trend = window.trend_per_h(heat.newest_turn(state, place.id))
    at_ms = heat.reached_at(window.value, window.measured_ms, trend, limit_c)
    return Reach(at_ms) if at_ms is not None and at_ms - state.at_ms <= AHEAD_MS else None


def _at(state: State, place: Place, at_ms: int) -> Warm | None:
    best = heat.extreme(state, place.id, 1)
    if best is None or best[1].value is None or at_ms - state.at_ms > _STRAIGHT_MS:
        return None
    trend = best[1].trend_per_h(heat.newest_turn(state, place.id))
    if trend is None:
        return None
    return Warm(best[1].value + trend * (at_ms - best[1].measured_ms) / _HOUR_MS)


def limits(state: State, place: Place) -> list[Limit]:
    """The bed's levels of heat by name, each as high as it will be: they ramp with the day on the floor."""
    names = [level.name for level in heat.ladder_for(state, place, "bed_hot", state.at_ms).levels]
    return [Limit(name, _height(state, place, index)) for index, name in enumerate(names)]


def _height(state: State, place: Place, index: int) -> Callable[[int], float]:
    def at(at_ms: int) -> float:
        return heat.ladder_for(state, place, "bed_hot", at_ms // _HOUR_MS * _HOUR_MS).levels[index].limit

    return at


def surely(state: State, place: Place, level: str) -> Reach | None:
    """When a level is met by the heat balance alone; None where it is not, or cannot be told with a band."""
    told = balance.forecast(state, place, limits(state, place))
    for found in told.limits:
        if found.name == level and found.at_ms is not None:
            return Reach(found.at_ms, found.early_ms, found.late_ms)
    return None


def _balance_reach(state: State, place: Place, limit_c: float) -> Reach | None:
    told = balance.forecast(state, place, [Limit("", lambda _: limit_c)])
    if told.not_yet is not None:
        return _reach(state, place, limit_c)
    found = told.limits[0]
    return None if found.at_ms is None else Reach(found.at_ms, found.early_ms, found.late_ms)


def _balance_at(state: State, place: Place, at_ms: int) -> Warm | None:
    told = balance.forecast(state, place, moments=[at_ms])
    if told.not_yet is not None:
        return _at(state, place, at_ms)
    return next((Warm(said.value_c, said.low_c, said.high_c) for said in told.moments), None)


TREND = Forecast(_reach, _at)
AHEAD = Forecast(_balance_reach, _balance_at)
