"""What is said of a doubted probe: the finding, why in plain words, and the state of its row."""

from __future__ import annotations

from gateway.core.finding import Finding, Subject
from gateway.core.site import Probe
from gateway.core.state import State
from gateway.core.window import Window

UNITS = {"temperature": "Cel", "humidity": "%RH", "co2": "ppm", "co": "ppm"}
#: Kind of finding -> the state of a probe's row; the gravest first.
KINDS = {
    "probe_not_back": "not_back", "probe_high": "high", "probe_sentinel": "sentinel", "probe_stuck": "stuck",
    "probe_jumps": "jumping", "probe_noisy": "noisy", "probe_low": "low", "probe_drifts": "drifting",
    "probe_hand": "off",
}  # fmt: skip


def holds(state: State, probe: Probe, kind: str) -> bool:
    """Whether this is said of the probe now."""
    if probe.id in state.out_of_service:
        return False
    honesty = state.honesty
    if kind in ("probe_not_back", "probe_high"):
        return honesty.away.get(probe.id) == KINDS[kind]
    if kind == "probe_hand":
        return probe.id in honesty.by_hand
    track = honesty.tracks.get(probe.id)
    return track is not None and kind in track.faults


def doubt(state: State, probe: Probe) -> str | None:
    """The gravest kind of finding that holds for a probe; None for an honest one."""
    return next((kind for kind in KINDS if holds(state, probe, kind)), None)


def finding_of(state: State, probe: Probe, kind: str) -> Finding:
    """One doubt about a probe as it stands now."""
    window = state.windows.get(probe.id) or Window()
    track = state.honesty.tracks.get(probe.id)
    since_ms = track.faults.get(kind) if track else None
    if kind in ("probe_not_back", "probe_high"):
        since_ms = state.honesty.away_ms.get(probe.id)
    return Finding(
        Subject(kind, probe.place, probe.id),
        holds(state, probe, kind),
        "low",
        KINDS[kind],
        1,
        value=window.value,
        unit=UNITS.get(probe.quantity),
        measured_at_ms=window.measured_ms or None,
        since_ms=since_ms,
        detail=why(state, probe, kind),
    )


def why(state: State, probe: Probe, kind: str) -> str:
    """The reason in plain words, short enough for a message."""
    track = state.honesty.tracks.get(probe.id)
    if kind == "probe_not_back":
        return "after the turn it reads like the room's air"
    if kind == "probe_high":
        lying = state.pieces.beds.get(probe.place)
        deep = f", bed {lying.depth_cm:g} cm deep" if lying and lying.depth_cm is not None else ""
        return f"hangs at {probe.height_cm or 0:g} cm{deep}"
    if kind == "probe_hand":
        by_hand_c, said_c = state.honesty.by_hand.get(probe.id, (None, None))
        return "" if by_hand_c is None else f"by hand {by_hand_c:.1f} C, probe {said_c:.1f} C"
    if track is None:
        return ""
    if kind == "probe_stuck":
        return f"the same value for {(track.heard_ms - track.since_ms) / 3_600_000:.1f} h"
    if kind == "probe_low":
        return "CO2 below that of outdoor air"
    if kind == "probe_sentinel":
        return "a value that means a fault, not a measurement"
    if kind == "probe_drifts":
        bias = track.biases[-1] if track.biases else 0.0
        return f"{abs(bias):.1f} K {'above' if bias > 0 else 'below'} the others after turns"
    return {"probe_jumps": "a leap nothing here can make", "probe_noisy": "far more unrest than before"}[kind]
