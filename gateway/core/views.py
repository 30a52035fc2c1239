"""What people and programs see of the floor, made from the judge's state: the rows of contract C8.

Rows are dicts of plain values; times are Unix ms under the contract's keys, to be printed at the edge.
"""

from __future__ import annotations

from typing import Any

from gateway.core import night, views_heat
from gateway.core.follow import honest_dates, honest_said
from gateway.core.piece import day_of, oldest_part
from gateway.core.rules import air_said, heat, silence, steeping
from gateway.core.rules import due as dues
from gateway.core.rules.limits import level_of
from gateway.core.rules.reach import AHEAD, Forecast
from gateway.core.site import Place, Probe
from gateway.core.state import State
from gateway.core.window import Window
from gateway.core.wording import start as wording_start
from gateway.core.wording import steep as wording_steep
from gateway.core.wording import turn as wording_turn

_FRESH_INTERVALS = 3
#: What tonight's list takes over from a bed's own row.
_TONIGHT = (
    "bed", "piece", "day", "due_at", "why", "hottest_c", "turned_at", "start_at", "start", "entry", "reason",
    "line",
)  # fmt: skip


def beds(state: State, ahead: Forecast = AHEAD) -> list[dict[str, Any]]:
    """One row a bed, in walking order from the steep's end: what lies there, how warm, when to turn."""
    return [bed(state, place, ahead) for place in night.walk(state)]


def bed(state: State, place: Place, ahead: Forecast = AHEAD) -> dict[str, Any]:
    """The row of one bed."""
    lying = state.pieces.beds.get(place.id)
    hottest, coldest = heat.extreme(state, place.id, 1), heat.extreme(state, place.id, -1)
    co2 = max((w.value for _, w in state.good(place.id, "co2") if w.value is not None), default=None)
    due = dues.due(state, place, ahead)
    start = wording_start.start(state, place, due.first.start_ms if due.first else None)
    return {
        "bed": place.id,
        "piece": lying.piece if lying else None,
        "day": day_of(lying, state.at_ms) if lying else None,
        "hottest_c": _round(hottest[1].value) if hottest else None,
        "coldest_c": _round(coldest[1].value) if coldest else None,
        "co2_ppm": co2,
        "turned_at": oldest_part(lying).turned_ms if lying and lying.turned else None,
        "due_at": due.first.due_ms if due.first else None,
        "why": wording_turn.why(state, place, due),
        "level": _level(
            state, place, hottest[1].value if hottest else None, coldest[1].value if coldest else None
        ),
        "watched": place.id not in state.unwatched and hottest is not None,
        "unseen": silence.unseen_words(state, place),
        "trend_k_per_h": _round(hottest[1].trend_per_h(heat.newest_turn(state, place.id)))
        if hottest
        else None,
        "hottest_probe": hottest[0].id if hottest else None,
        "start_at": due.first.start_ms if due.first else None,
        "start": start.words or None,
        "entry": start.entry,
        "reason": due.first.kind if due.first else None,
        "line": wording_turn.line(state, place, due),
        "depth_cm": lying.depth_cm if lying else None,
        **views_heat.known(state, place),
    }


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
    due = honest_dates.due(state.site, probe)
    return {
        "probe": probe.id,
        "place": probe.place,
        "quantity": probe.quantity,
        "value": _round(window.value),
        "measured_at": window.measured_ms or None,
        "state": _probe_state(state, probe, window),
        "missed_share": None if missed is None else round(missed, 3),
        "battery": window.battery,
        "battery_unit": probe.battery_unit or None,
        "why": out if out is not None else (silence.why_silent(window) or _why_doubted(state, probe)),
        "calibration_due": due.calibration.isoformat() if due.calibration else None,
        "bump_due": due.bump.isoformat() if due.bump else None,
    }


def _probe_state(state: State, probe: Probe, window: Window) -> str:
    if probe.id in state.out_of_service:
        return "out_of_service"
    if window.silent:
        return "silent"
    if window.value is None:
        return "waiting"
    quiet_ms = state.run_ms - max(window.heard_run_ms, state.settling_from_ms)
    if quiet_ms > _FRESH_INTERVALS * probe.every_s * 1000:
        return "late"
    doubt = honest_said.doubt(state, probe)
    return honest_said.KINDS[doubt] if doubt else "alive"


def _why_doubted(state: State, probe: Probe) -> str | None:
    """Everything that speaks against the probe, the gravest first, and what of it is due."""
    doubts = [kind for kind in honest_said.KINDS if honest_said.holds(state, probe, kind)]
    said = [honest_said.why(state, probe, kind) for kind in doubts]
    return "; ".join([*said, *filter(None, [state.honesty.due.get(probe.id)])]) or None


def tonight(state: State, ahead: Forecast = AHEAD) -> list[dict[str, Any]]:
    """What wants doing, steeps first, then the beds in walking order; and what becomes of each if it is left.

    `fits` is False where one person, doing one thing after another, does not get to it in time.
    """
    until_ms = night.morning_ms(state)
    late = {(job.place, job.what) for job in night.plan(state, until_ms, ahead) if not job.fits}
    found = [_steep_tonight(state, steep, late) for steep in state.pieces.now.steeps]
    for place in night.walk(state):
        row = bed(state, place, ahead)
        if row["piece"] is None or row["due_at"] is None:
            continue
        left = wording_turn.if_left(state, place, ahead, until_ms)
        more = {"what": "turn", "if_left": left, "fits": (place.id, "turn") not in late}
        more["air"] = air_said.short(state, place)
        found.append({key: row[key] for key in _TONIGHT} | more)
    return [row for row in found if row]


def _steep_tonight(state: State, steep: str, late: set[tuple[str, str]]) -> dict[str, Any]:
    one, place = state.pieces.now.steeps[steep], state.site.place.get(steep)
    want = steeping.wanted(state.site, one)
    if want is None or place is None:
        return {}
    start, left = wording_start.start(state, place, want.due_ms), wording_steep.LEFT[want.what]
    held = start.words if start.out else ""
    line = wording_steep.line(state.site, place, one, want, state.at_ms, held)
    return {
        "bed": steep, "piece": one.piece or one.lot or "?", "day": None, "due_at": want.due_ms,
        "why": f"{want.what} due", "hottest_c": None, "turned_at": None, "start_at": want.due_ms,
        "start": start.words, "entry": start.entry, "reason": want.what, "line": line, "what": want.what,
        "if_left": left, "fits": (steep, want.what) not in late, "air": air_said.short(state, place),
    }  # fmt: skip


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
