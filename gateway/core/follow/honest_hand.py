"""A thermometer put in by hand, held against the probe beside it."""

from __future__ import annotations

from gateway.core.finding import Finding
from gateway.core.follow.honest_said import finding_of
from gateway.core.inputs_journey import HandRead
from gateway.core.site import Probe
from gateway.core.state import State

#: The probe's value within so long of the reading by hand; a metre is as far as ten centimetres of height.
_NEAR_MS, _CM_A_METRE = 10 * 60_000, 10.0


def read(state: State, event: HandRead) -> list[Finding]:
    """Hold a reading by hand against the nearest probe; without a place, against all of the bed.

    Nothing is said where no probe was heard then. A later reading that agrees ends what an earlier began.
    """
    at_ms = state.at_ms if event.when_ms is None else min(event.when_ms, state.at_ms)
    said = {}
    for probe, _ in state.good(event.bed, "temperature") if event.bed in state.site.place else ():
        value = _value_at(state, probe, at_ms)
        if value is not None:
            said[probe.id] = value
    if not said:
        return []
    name = _nearest(state, event, said)
    off = abs(event.c - said[name]) >= state.site.honest.hand_k
    was = name in state.honesty.by_hand
    if off:
        state.honesty.by_hand[name] = (round(event.c, 2), round(said[name], 2))
    elif was:
        del state.honesty.by_hand[name]
    return [finding_of(state, state.site.probe[name], "probe_hand")] if off or was else []


def look(state: State) -> list[Finding]:
    """A probe taken out of service is being seen to."""
    gone = [name for name in state.honesty.by_hand if name in state.out_of_service]
    for name in gone:
        del state.honesty.by_hand[name]
    return [finding_of(state, state.site.probe[name], "probe_hand") for name in gone]


def _value_at(state: State, probe: Probe, at_ms: int) -> float | None:
    window = state.windows[probe.id]
    times = [window.from_ms + after_ms for after_ms in window.times]
    pairs = [*zip(times, window.values, strict=True), (window.measured_ms, window.value)]
    off_ms, value = min((abs(t - at_ms), v) for t, v in pairs if v is not None)
    return value if off_ms <= _NEAR_MS else None


def far_cm(event: HandRead, probe: Probe) -> float:
    """How far from a probe somebody measured by hand, as centimetres of height; 0 where nobody said."""
    cm = 0.0
    if event.at_m is not None and probe.at_m is not None:
        cm += abs(event.at_m - probe.at_m) * _CM_A_METRE
    if event.height_cm is not None and probe.height_cm is not None:
        cm += abs(event.height_cm - probe.height_cm)
    return cm


def _nearest(state: State, event: HandRead, said: dict[str, float]) -> str:
    def far(name: str) -> tuple[float, float]:
        return far_cm(event, state.site.probe[name]), abs(event.c - said[name])

    return min(said, key=far)
