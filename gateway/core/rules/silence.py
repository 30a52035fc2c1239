"""Probes that are not heard, and beds that nobody watches any more. Found by ticks alone.

Silence counts on running time from the last reading that was young enough to call anybody, or from the moment
the gateway could hear again (start, gap, broker back, backlog drained), whichever is later.
"""

from __future__ import annotations

from gateway.core.finding import Finding, Subject
from gateway.core.follow.honest_said import UNITS
from gateway.core.piece import day_of
from gateway.core.rules.air_said import short
from gateway.core.rules.heat import newest_turn
from gateway.core.site import Place, Probe
from gateway.core.state import NEVER_MS, State
from gateway.core.window import Window


def silent_at_ms(state: State, probe: Probe) -> int:
    """The running time at which the probe counts as silent if nothing more is heard."""
    window = state.windows.get(probe.id)
    heard = window.heard_run_ms if window else 0
    return max(heard, state.settling_from_ms) + int(probe.silent_after_s * 1000)


def judge(state: State) -> list[Finding]:
    """Probes newly silent, then beds newly unwatched or watched again."""
    found = []
    if not state.broker_lost:
        for probe in state.site.probes:
            window = state.window(probe.id)
            if window.silent or probe.id in state.out_of_service:
                continue
            if state.run_ms >= silent_at_ms(state, probe):
                window.silent = True
                found.append(finding(state, probe))
    return found + watch(state)


def heard(state: State, probe: Probe) -> list[Finding]:
    """A silent probe spoke: its silence ends, and with it perhaps the bed's being unwatched."""
    state.window(probe.id).silent = False
    state.due_run_ms = 0
    return [finding(state, probe), *watch(state)]


def watch(state: State) -> list[Finding]:
    """Beds whose last good temperature probe went, or that have one again."""
    found = []
    for place in state.site.places:
        if place.kind != "bed":
            continue
        unwatched = (
            _matters(state, place) and not state.good(place.id, "temperature") and _had_time(state, place)
        )
        if unwatched != (place.id in state.unwatched):
            if unwatched:
                state.unwatched.append(place.id)
            else:
                state.unwatched.remove(place.id)
            found.append(unwatched_finding(state, place))
    return found


def _matters(state: State, place: Place) -> bool:
    """A bed with a piece, or one never recorded but heard; never one known empty."""
    if place.id in state.pieces.beds:
        return bool(state.site.probes_of[place.id])
    if place.id in state.pieces.empty:
        return False
    return any(
        state.windows[probe.id].value is not None
        for probe in state.site.probes_of[place.id]
        if probe.id in state.windows
    )


def _had_time(state: State, place: Place) -> bool:
    """Whether every thermometer is silent, out of service or out of the grain, not merely not heard yet."""
    return all(
        probe.id in state.out_of_service
        or probe.id in state.honesty.away
        or (probe.id in state.windows and state.windows[probe.id].silent)
        for probe in state.site.probes_of[place.id]
        if probe.quantity == "temperature"
    )


def next_run_ms(state: State) -> int:
    """A running time before which no probe falls silent."""
    if state.broker_lost:
        return NEVER_MS
    return min(
        (
            silent_at_ms(state, probe)
            for probe in state.site.probes
            if probe.id not in state.out_of_service and not state.window(probe.id).silent
        ),
        default=NEVER_MS,
    )


def finding(state: State, probe: Probe) -> Finding:
    """The probe's silence as it stands now."""
    window = state.window(probe.id)
    return Finding(
        Subject("probe_silent", probe.place, probe.id),
        window.silent and probe.id not in state.out_of_service,
        "low",
        "silent",
        1,
        value=window.value,
        unit=UNITS.get(probe.quantity),
        measured_at_ms=window.measured_ms or None,
        since_ms=window.measured_ms or None,
        detail=why_silent(window),
    )


def why_silent(window: Window) -> str:
    """What is known of the reason, in words; empty where nothing is."""
    if window.behind_ms:
        return f"it speaks, but {window.behind_ms // 60_000} min late: its clock or its link"
    return window.refused


def unwatched_finding(state: State, place: Place) -> Finding:
    """The bed's being unwatched as it stands now: how many probes are silent, or out, and of what."""
    probes = [probe for probe in state.site.probes_of[place.id] if probe.quantity == "temperature"]
    out = sum(probe.id in state.out_of_service for probe in probes)
    silent = sum(state.window(probe.id).silent for probe in probes if probe.id not in state.out_of_service)
    away = sum(
        probe.id in state.honesty.away
        and probe.id not in state.out_of_service
        and not state.window(probe.id).silent
        for probe in probes
    )
    # What a probe on its hook says is the room's, and no word of the bed.
    in_grain = [probe for probe in probes if probe.id not in state.honesty.away]
    heard_windows = [state.window(probe.id) for probe in in_grain if state.window(probe.id).value is not None]
    last = max(heard_windows, key=lambda window: window.measured_ms, default=None)
    gone_ms = [state.honesty.away_ms[probe.id] for probe in probes if probe.id in state.honesty.away_ms]
    gone_ms += [last.measured_ms] if last else []
    lying = state.pieces.beds.get(place.id)
    parts = [f"{silent} silent"] if silent else []
    parts += [f"{out} out of service"] if out else []
    parts += [f"{away} out of the grain"] if away else []
    return Finding(
        Subject("bed_unwatched", place.id),
        place.id in state.unwatched,
        "high",
        "unwatched",
        1,
        value=last.value if last else None,
        unit="Cel",
        measured_at_ms=last.measured_ms if last else None,
        since_ms=max(gone_ms, default=None),
        trend_per_h=last.trend_per_h(newest_turn(state, place.id)) if last else None,
        piece=lying.piece if lying else None,
        day=day_of(lying, state.at_ms) if lying else None,
        detail=", ".join(parts) or "no probe",
        air=short(state, place),
    )
