"""The heat of the beds as rows: what each will do if nobody turns it, how even it is, how hard it breathes.

Times are Unix ms under the contract's keys (C8), to be printed at the edge.
"""

from __future__ import annotations

from typing import Any

from gateway.core import night, people
from gateway.core.estimate import respiration
from gateway.core.estimate.bed_heat.balance import Forecast, Reach, Said
from gateway.core.estimate.evenness import Evenness, Lie, Spot, evenness
from gateway.core.follow import heat as balance
from gateway.core.rules import heat, reach
from gateway.core.site import Place
from gateway.core.state import State

_SIX_MIN = 6 * 60
_HOUR_MS = 3_600_000


def forecast(state: State) -> list[dict[str, Any]]:
    """One row a bed whose heat is judged, be its piece recorded or not, in walking order."""
    return [bed(state, place) for place in night.walk(state) if judged(state, place)]


def judged(state: State, place: Place) -> bool:
    """Whether a bed has its row: a piece is recorded there, or what its thermometers read is no air."""
    if place.id in state.pieces.beds:
        return True
    best = heat.extreme(state, place.id, 1)
    return best is not None and "bed_hot" in heat.judged(state, place, best[1].value or 0.0)


def bed(state: State, place: Place) -> dict[str, Any]:
    """The row of one bed; without a recorded piece its limits are the strictest."""
    lying, moments = state.pieces.beds.get(place.id), _moments(state)
    told = balance.forecast(state, place, reach.limits(state, place), sorted(moments))
    return {
        "bed": place.id,
        "piece": lying.piece if lying else None,
        "made_at": told.made_ms,
        "rate_k_per_h": told.rate_k_per_h,
        "not_yet": told.not_yet,
        "probe": told.probe,
        "points": [_point(said) for said in told.points],
        "moments": [_point(said) | {"name": moments[said.at_ms]} for said in told.moments],
        "limits": [_limit(one) for one in _reaches(told, state, place)],
        "breathing": breathing(state, place),
    }


def _point(said: Said) -> dict[str, Any]:
    return {"at": said.at_ms, "c": said.value_c, "low_c": said.low_c, "high_c": said.high_c}


def _limit(one: Reach) -> dict[str, Any]:
    return {
        "name": one.name,
        "limit_c": one.limit_c,
        "at": one.at_ms,
        "early": one.early_ms,
        "late": one.late_ms,
    }


def _reaches(told: Forecast, state: State, place: Place) -> list[Reach]:
    if told.not_yet is None:
        return list(told.limits)
    levels = heat.ladder_for(state, place, "bed_hot", state.at_ms).levels
    return [Reach(level.name, level.limit, None, None, None) for level in levels]


def _moments(state: State) -> dict[int, str]:
    """Six in the morning and the end of this shift (Unix ms), by name; one where they are the same."""
    zone, at_ms = state.site.time_zone, state.at_ms
    ends = [people.next_instant_ms(zone, at_ms, shift.to_min % 1440) for shift in state.site.shifts]
    found = {people.next_instant_ms(zone, at_ms, _SIX_MIN): "06:00"}
    return found | ({min(ends): "end of shift"} if ends else {})


def even(state: State, place: Place) -> Evenness | None:
    """How even a bed is by its good thermometers; None without any."""
    lying = state.pieces.beds.get(place.id)
    spots = [
        Spot(probe.id, window.value, probe.height_cm, probe.at_m)
        for probe, window in state.good(place.id, "temperature")
        if window.value is not None
    ]
    return evenness(spots, Lie(place.from_m, place.to_m, lying.depth_cm if lying else None))


def known(state: State, place: Place) -> dict[str, Any]:
    """How even a bed is and how hard it breathes, under their keys; None where that is not known."""
    lies = place.id in state.pieces.beds
    return evenness_row(state, place) | {"respiration": breathing(state, place) if lies else None}


def evenness_row(state: State, place: Place) -> dict[str, Any]:
    """The evenness of a bed under its keys; None where too few thermometers tell."""
    found = even(state, place)
    return {
        "spread_k": found.spread_k if found else None,
        "spread_top_bottom_k": found.over_height_k if found else None,
        "spread_along_k": found.along_k if found else None,
        "hottest_place": found.hottest.words if found else None,
        "coldest_place": found.coldest.words if found else None,
    }


def breathing(state: State, place: Place) -> dict[str, Any]:
    """Estimated respiration: mg of CO2 per kg of dry matter and hour, W per tonne of barley; or why not."""
    lying = state.pieces.beds.get(place.id)
    if lying is None:
        return {"mg_per_kg_h": None, "w_per_t": None, "least_w_per_t": None, "most_w_per_t": None,
                "grade": "D", "not_yet": "no piece is recorded here"}  # fmt: skip
    gas = max(state.good(place.id, "co2"), key=lambda pair: pair[1].value or 0.0, default=None)
    best = heat.extreme(state, place.id, 1)
    warm_c = best[1].value if best and best[1].value is not None else 0.0
    turned_ms = balance.turned_at(lying, gas[0].at_m if gas else None)
    since_h = None if turned_ms is None else (state.at_ms - turned_ms) / _HOUR_MS
    bed = respiration.Bed(
        gas[1].value if gas else None,
        gas[0].height_cm if gas else None,
        lying.depth_cm,
        warm_c,
        since_h,
        balance.made_k_per_h(state, place),
    )
    found = respiration.respiration(bed, _room(state, place), state.programme(place).breathing)
    return {
        "mg_per_kg_h": found.rate.mg_per_kg_h if found.rate else None,
        "w_per_t": found.rate.w_per_t if found.rate else None,
        "least_w_per_t": found.low.w_per_t if found.low else None,
        "most_w_per_t": found.high.w_per_t if found.high else None,
        "grade": found.grade,
        "not_yet": found.not_yet,
    }


def _room(state: State, place: Place) -> respiration.Room:
    rooms = [one.id for one in state.site.places if one.kind == "room" and one.floor == place.floor]
    usual = respiration.Room()

    def mean(quantity: str, otherwise: float) -> float:
        values = [w.value for room in rooms for _, w in state.good(room, quantity) if w.value is not None]
        return sum(values) / len(values) if values else otherwise

    rh = mean("humidity", usual.rh * 100.0) / 100.0
    return respiration.Room(mean("co2", usual.ppm), mean("temperature", usual.warm_c), rh)
