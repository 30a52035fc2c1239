"""The kiln's temperatures against its programme, and its grain against its moisture. Gases: `place_air`."""

from __future__ import annotations

import math

from gateway.core.finding import Finding, Subject
from gateway.core.follow import kiln_draught, kiln_load, kiln_stage
from gateway.core.follow.kiln_air import role
from gateway.core.follow.kiln_state import Kilning
from gateway.core.rules.limits import Ladder, Level, ease, take
from gateway.core.site import Place, Probe
from gateway.core.site_kiln import KilnFigures
from gateway.core.state import State
from gateway.core.window import Window

_HOUR_MS = 3_600_000

#: kind -> (quantity, unit, priority)
KINDS = {"kiln_hot": ("temperature", "Cel", "high")}
#: The guard of what hangs in the grain; one alarm is told of both.
_GRAIN = "kiln_hot_grain"


def kind_for(place: Place, quantity: str) -> str | None:
    """Which kind judges this quantity at this place; None for none."""
    if place.kind == "kiln" and quantity == "temperature":
        return "kiln_hot"
    return None


def judge(state: State, place: Place, kind: str, probe: Probe, window: Window, fresh: bool) -> list[Finding]:
    """Findings of a new reading, newest first by measured time.

    Air-on and air-off are held against the stage; grain against what its layer's estimated moisture allows.
    """
    if window.value is None:
        return []
    key, ladder = _judged_by(state, place, probe, window.measured_ms)
    guard = state.guard(key, place.id)
    rose, late = take(guard, ladder, probe.id, window.value, window.measured_ms, fresh)
    watching = [
        (other.id, state.windows[other.id].measured_ms)
        for other in state.probes(place.id, KINDS[kind][0])
        if other.id in state.windows and (role(other) == "grain") == (key == _GRAIN)
    ]
    fell = bool(guard.rank) and fresh and not rose and ease(guard, ladder, watching)
    found = [
        Finding(
            Subject(kind, place.id), True, item.level.priority, item.level.name, 1, value=item.peak,
            unit=KINDS[kind][1], limit=item.level.limit, measured_at_ms=item.until_ms,
            since_ms=item.since_ms, late=True, hottest_probe=item.probe,
        )
        for item in late
    ]  # fmt: skip
    if rose or fell:
        found.append(finding(state, place, kind))
    return found


def finding(state: State, place: Place, kind: str) -> Finding:
    """The finding as it stands now: the good probe furthest over what it is held against, never a mean."""
    quantity, unit, priority = KINDS[kind]
    guards = [state.guards.get(f"{key} {place.id}") for key in (kind, _GRAIN)]
    up = [guard for guard in guards if guard is not None and guard.rank]
    good = [
        (probe, window, _judged_by(state, place, probe, window.measured_ms)[1].levels[0])
        for probe, window in state.good(place.id, quantity)
    ]
    best = max(good, key=lambda one: (one[1].value or 0.0) - one[2].limit, default=None)
    at_ms = best[1].measured_ms if best else state.at_ms
    return Finding(
        Subject(kind, place.id),
        bool(up),
        priority,
        "high",
        1,
        value=best[1].value if best else None,
        unit=unit,
        limit=best[2].limit if best else kiln_limit(state, place, at_ms),
        measured_at_ms=at_ms,
        since_ms=min((guard.since_ms for guard in up), default=0) or None,
        trend_per_h=best[1].trend_per_h() if best else None,
        hottest_probe=best[0].id if best else None,
        piece=piece(state, place),
        detail=detail(state, place),
    )


def piece(state: State, place: Place) -> str | None:
    """What is known to lie in the kiln."""
    firing = state.pieces.kilns.get(place.id)
    return firing.piece if firing else None


def detail(state: State, place: Place) -> str:
    """How far the kilning is, and whether the malt is still wet."""
    kilning, firing = state.kilns.now.get(place.id), state.pieces.kilns.get(place.id)
    if kilning is not None:
        return kiln_stage.said(state, place, kilning)
    lit_ms = firing.lit_ms if firing else None
    return "no fire recorded" if lit_ms is None else f"{int((state.at_ms - lit_ms) / _HOUR_MS)} h in"


def _judged_by(state: State, place: Place, probe: Probe, at_ms: int) -> tuple[str, Ladder]:
    """The guard that a thermometer belongs to, and what it is held against."""
    programme = state.programme(place)
    delays = int(programme.on_delay_s * 1000), int(programme.off_delay_s * 1000)
    limit = kiln_limit(state, place, at_ms)
    kilning, figures = state.kilns.now.get(place.id), state.site.kiln
    key = "kiln_hot"
    if role(probe) == "grain" and kilning is not None and figures is not None and not kilning.stripped_ms:
        key = _GRAIN
        limit = min(_grain_limit(state, place, kilning, figures, probe), programme.cap_c)
    return key, Ladder((Level("high", 1, limit, "high"),), programme.deadband_k, *delays, 1)


def kiln_limit(state: State, place: Place, at_ms: int) -> float:
    """The limit in C of the stage the fire has reached; without a recorded fire the absolute cap.

    A fire that nobody recorded (air-on far over outdoors) is held against the lowest of all limits.
    """
    programme = state.programme(place)
    kilning, firing = state.kilns.now.get(place.id), state.pieces.kilns.get(place.id)
    if not programme.stages:
        return programme.cap_c
    if kilning is not None and not kilning.stripped_ms:
        return min(kiln_stage.stage_of(programme, kilning).limit_c, programme.cap_c)
    if firing is None or firing.lit_ms is None:
        return programme.cap_c
    hours = max(0.0, (at_ms - firing.lit_ms) / _HOUR_MS)
    limit = programme.stages[0].limit_c
    for stage in programme.stages:
        if hours >= stage.from_h:
            limit = stage.limit_c
    return min(limit, programme.cap_c)


def _grain_limit(state: State, place: Place, kilning: Kilning, figures: KilnFigures, probe: Probe) -> float:
    """How warm grain may be at its height, by that layer's moisture: as it is reckoned, or seen to be."""
    wet = kiln_load.layer_wb(kilning, probe.height_cm, figures.kiln_watch.depth_cm)
    if wet is None:
        return math.inf
    limit = figures.kiln_watch.wet_limit_c(wet)
    window = state.windows.get(probe.id)
    if window is None or window.value is None or window.value <= limit - state.programme(place).deadband_k:
        return limit
    seen = kiln_draught.seen_wb(state, place, kilning, figures, window.value)
    return limit if seen is None else max(limit, figures.kiln_watch.wet_limit_c(seen))
