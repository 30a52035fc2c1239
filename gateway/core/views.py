"""What people and programs see of the floor, made from the judge's state: the rows of contract C8.

Rows are dicts of plain values; times are Unix ms under the contract's keys, to be printed at the edge.
"""

from __future__ import annotations

from typing import Any

from gateway.core.piece import Lying, day_of, in_couch, oldest_part
from gateway.core.rules import heat, turning
from gateway.core.rules.limits import level_of
from gateway.core.site import Place, Probe
from gateway.core.state import State
from gateway.core.window import Window

_FRESH_INTERVALS = 3
#: A turned bed has so long to come down before its heat asks for the next turn (ours).
_SETTLES_MS = 45 * 60_000


def beds(state: State) -> list[dict[str, Any]]:
    """One row a bed, in walking order from the steep's end: what lies there, how warm, when to turn."""
    return [_bed(state, place) for place in _walk(state)]


def _walk(state: State) -> list[Place]:
    rooms = [place for place in state.site.places if place.kind == "bed"]
    return sorted(rooms, key=lambda place: (place.floor or "", place.from_m or 0.0))


def _bed(state: State, place: Place) -> dict[str, Any]:
    lying = state.pieces.beds.get(place.id)
    hottest, coldest = heat.extreme(state, place.id, 1), heat.extreme(state, place.id, -1)
    co2 = max((w.value for _, w in state.good(place.id, "co2") if w.value is not None), default=None)
    due_ms, why = _due(state, place, lying)
    return {
        "bed": place.id,
        "piece": lying.piece if lying else None,
        "day": day_of(lying, state.at_ms) if lying else None,
        "hottest_c": _round(hottest[1].value) if hottest else None,
        "coldest_c": _round(coldest[1].value) if coldest else None,
        "co2_ppm": co2,
        "turned_at": oldest_part(lying).turned_ms if lying and lying.turned else None,
        "due_at": due_ms,
        "why": why,
        "level": _level(
            state, place, hottest[1].value if hottest else None, coldest[1].value if coldest else None
        ),
        "watched": place.id not in state.unwatched and hottest is not None,
        "trend_k_per_h": _round(hottest[1].trend_per_h(heat.newest_turn(state, place.id)))
        if hottest
        else None,
        "hottest_probe": hottest[0].id if hottest else None,
    }


def _due(state: State, place: Place, lying: Lying | None) -> tuple[int | None, str]:
    """When the bed wants turning, and why: warm already, or the longest time between turns."""
    if lying is None:
        return None, "known empty" if place.id in state.pieces.empty else "no cast recorded"
    if in_couch(lying, state.at_ms):
        return None, "in the couch"
    guard = state.guard("bed_hot", place.id)
    clock = turning.clock(state, place)
    clock_ms = clock.due_ms if clock else None
    warm_ms = max(guard.since_ms, heat.newest_turn(state, place.id) + _SETTLES_MS)
    if guard.rank >= heat.TURN_AT and (clock_ms is None or warm_ms < clock_ms):
        return warm_ms, "warm enough to turn"
    if clock is None:
        return None, "no turning programme"
    part = "" if clock.whole else f", {clock.from_m:g}-{clock.to_m:g} m"
    return clock_ms, f"longest between turns{part}"


def _level(state: State, place: Place, hottest_c: float | None, coldest_c: float | None) -> str | None:
    """The highest limit the bed's newest values are at: low, aim, turn_at, high or urgent."""
    if hottest_c is None or coldest_c is None:
        return None
    for level in reversed(heat.ladder_for(state, place, "bed_hot", state.at_ms).levels):
        if hottest_c >= level.limit:
            return level.name
    low = level_of(heat.ladder_for(state, place, "bed_low", state.at_ms), 1)
    return "low" if low is not None and coldest_c <= low.limit else "aim"


def probes(state: State) -> list[dict[str, Any]]:
    """One row a probe: what it says, whether it is alive, how much of what was expected did not come."""
    return [_probe(state, probe) for probe in state.site.probes]


def _probe(state: State, probe: Probe) -> dict[str, Any]:
    window = state.windows.get(probe.id) or Window()
    out = state.out_of_service.get(probe.id)
    missed = window.missed_share(probe.every_s, state.run_ms)
    return {
        "probe": probe.id,
        "place": probe.place,
        "quantity": probe.quantity,
        "value": _round(window.value),
        "measured_at": window.measured_ms or None,
        "state": _probe_state(state, probe, window),
        "missed_share": None if missed is None else round(missed, 3),
        "battery": window.battery,
        "why": out if out is not None else (window.refused or None),
    }


def _probe_state(state: State, probe: Probe, window: Window) -> str:
    if probe.id in state.out_of_service:
        return "out_of_service"
    if window.silent:
        return "silent"
    if window.value is None:
        return "waiting"
    quiet_ms = state.run_ms - max(window.heard_run_ms, state.settling_from_ms)
    return "late" if quiet_ms > _FRESH_INTERVALS * probe.every_s * 1000 else "alive"


def tonight(state: State) -> list[dict[str, Any]]:
    """What wants turning, the soonest first: bed, piece, when and why."""
    rows = [row for row in beds(state) if row["piece"] is not None and row["due_at"] is not None]
    rows.sort(key=lambda row: row["due_at"])
    keys = ("bed", "piece", "day", "due_at", "why", "hottest_c", "turned_at")
    return [{key: row[key] for key in keys} for row in rows]


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
