"""One instant level for a place: the kiln against its programme. Gases are in `place_air`."""

from __future__ import annotations

from gateway.core.finding import Finding, Subject
from gateway.core.rules.limits import Ladder, Level, ease, take
from gateway.core.site import Place, Probe
from gateway.core.state import State
from gateway.core.window import Window

_HOUR_MS = 3_600_000

#: kind -> (quantity, unit, priority)
KINDS = {"kiln_hot": ("temperature", "Cel", "high")}


def kind_for(place: Place, quantity: str) -> str | None:
    """Which kind judges this quantity at this place; None for none."""
    if place.kind == "kiln" and quantity == "temperature":
        return "kiln_hot"
    return None


def judge(state: State, place: Place, kind: str, probe: Probe, window: Window, fresh: bool) -> list[Finding]:
    """Findings of a new reading, newest first by measured time."""
    if window.value is None:
        return []
    guard = state.guard(kind, place.id)
    ladder = _ladder(state, place, kind, window.measured_ms)
    rose, late = take(guard, ladder, probe.id, window.value, window.measured_ms, fresh)
    watching = [
        (other.id, state.windows[other.id].measured_ms)
        for other in state.probes(place.id, KINDS[kind][0])
        if other.id in state.windows
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
    """The finding as it stands now: the highest good probe, never a mean."""
    quantity, unit, priority = KINDS[kind]
    good = state.good(place.id, quantity)
    probe, window = max(good, key=lambda pair: pair[1].value or 0.0, default=(None, None))
    at_ms = window.measured_ms if window else state.at_ms
    guard = state.guard(kind, place.id)
    level = _ladder(state, place, kind, at_ms).levels[0]
    firing = state.pieces.kilns.get(place.id)
    detail = ""
    if kind == "kiln_hot":
        lit_ms = firing.lit_ms if firing else None
        detail = "no fire recorded" if lit_ms is None else f"{int((at_ms - lit_ms) / _HOUR_MS)} h in"
    return Finding(
        Subject(kind, place.id),
        guard.rank > 0,
        priority,
        level.name,
        1,
        value=window.value if window else None,
        unit=unit,
        limit=level.limit,
        measured_at_ms=at_ms,
        since_ms=guard.since_ms or None,
        trend_per_h=window.trend_per_h() if window else None,
        hottest_probe=probe.id if probe else None,
        piece=firing.piece if firing else None,
        detail=detail,
    )


def _ladder(state: State, place: Place, kind: str, at_ms: int) -> Ladder:
    programme = state.programme(place)
    delays = int(programme.on_delay_s * 1000), int(programme.off_delay_s * 1000)
    return Ladder(
        (Level("high", 1, kiln_limit(state, place, at_ms), "high"),), programme.deadband_k, *delays, 1
    )


def kiln_limit(state: State, place: Place, at_ms: int) -> float:
    """The limit in C of the stage the fire has reached; without a recorded fire the absolute cap."""
    programme = state.programme(place)
    firing = state.pieces.kilns.get(place.id)
    if firing is None or firing.lit_ms is None or not programme.stages:
        return programme.cap_c
    hours = max(0.0, (at_ms - firing.lit_ms) / _HOUR_MS)
    limit = programme.stages[0].limit_c
    for stage in programme.stages:
        if hours >= stage.from_h:
            limit = stage.limit_c
    return min(limit, programme.cap_c)
