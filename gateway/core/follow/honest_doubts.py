"""Stuck, noisy, jumping, low, drifting, sending what means a fault: begun and ended, probe by probe."""

from __future__ import annotations

from statistics import median

from gateway.core.estimate import honest
from gateway.core.estimate.honest_state import Track
from gateway.core.finding import Finding
from gateway.core.follow import honest_grain
from gateway.core.follow.honest_said import finding_of
from gateway.core.heard import Heard
from gateway.core.reading import RANGE_HIGH, RANGE_LOW
from gateway.core.site import Place, Probe
from gateway.core.state import State
from gateway.core.window import Window

_HOUR_MS, _MINUTE_MS = 3_600_000, 60_000
#: A jump, and what means a fault, stand so long after the last (ours).
STANDS_MS = 6 * _HOUR_MS
#: What a common family of thermometers says after its power was cut (data sheet, from memory); and so many
#: zeros, or refusals within an hour, are a fault.
_POWER_ON_C, _ZEROS, _REFUSALS = 85.0, 3, 3
#: Around a turn probes come out and go back: no jump then (trade practice).
_AROUND_TURN_MS = _HOUR_MS
#: These stand at nothing for days, rightly.
_REST_AT_0 = ("co", "pressure_difference", "air_flow")
#: Wet air over a load stands at its end, and so does the instrument in it.
_WET_RH, _FULL_RH = 95.0, 99.0
_MIXED_AFTER_MS, _MIXED_UNTIL_MS = 20 * _MINUTE_MS, 90 * _MINUTE_MS
_BIASES = 3
_MEASURE_NOTHING = {"probe_stuck", "probe_sentinel"}
#: Neighbours that went a good way were as far off so long ago, too: taken out for a turn they went nowhere,
#: and the one that is taken out last has not stood still (ours).
_MOVED_FOR_MS = 20 * _MINUTE_MS
#: Of two nobody can tell which is off.
_WITNESSES = 3


def heard(state: State, heard: Heard, track: Track, old: float, old_ms: int) -> list[Finding]:
    """What a reading that differs from the one before begins or ends."""
    probe, value = heard.probe, heard.value
    found: list[Finding] = []
    if "probe_stuck" in track.faults and value != old:
        found.append(_end(state, probe, track, "probe_stuck"))
    leap = abs(value - old) if old_ms else 0.0
    soon = heard.measured_ms - old_ms <= max(int(probe.every_s * 3000), 5 * _MINUTE_MS)
    limit = _leap(state, heard)
    if limit is not None and leap >= limit and soon:
        # What stands for a fault no hand makes, around a turn either; the way back from it is no second one.
        was_fault = "probe_sentinel" in track.faults and _means_fault(probe, old)
        means_fault = was_fault or _means_fault(probe, value)
        if means_fault or not _moved_by_hand(state, heard, old):
            track.jumped_ms = heard.measured_ms
            found += _begin(state, probe, track, "probe_sentinel" if means_fault else "probe_jumps")
    if _raw(probe, value) == 0.0 and probe.quantity in ("humidity", "co2") and heard.place.kind != "bed":
        track.zeros += 1
        if track.zeros >= _ZEROS:
            track.jumped_ms = heard.measured_ms
            found += _begin(state, probe, track, "probe_sentinel")
    else:
        track.zeros = 0
    return found


def _raw(probe: Probe, value: float) -> float:
    return (value - probe.offset) / probe.gain if probe.gain else value


def _means_fault(probe: Probe, value: float) -> bool:
    raw = _raw(probe, value)
    return abs(raw - _POWER_ON_C) < 0.005 or raw == 0.0


def _leap(state: State, heard: Heard) -> float | None:
    figures = state.site.honest
    if heard.probe.quantity == "humidity":
        return figures.jump_rh
    if heard.probe.quantity != "temperature":
        return None
    return figures.jump_k * (2.0 if heard.place.kind == "kiln" else 1.0)


def _moved_by_hand(state: State, heard: Heard, old: float) -> bool:
    """Whether a probe is taken out of the grain or put back: it was out, by its values, or near a turn."""
    if heard.place.kind != "bed":
        return False
    if heard.probe.id in state.honesty.away or honest_grain.out_or_in(state, heard.probe, old, heard.value):
        return True
    turn = honest_grain.newest_turn(state, heard.place.id)
    return (
        turn is not None
        and turn.began_ms - _AROUND_TURN_MS <= heard.measured_ms <= turn.ended_ms + _AROUND_TURN_MS
    )


def refused(state: State, probe: Probe, count: int) -> list[Finding]:
    """Values were refused that no probe of its kind can measure: -9999 and the like."""
    track = state.honesty.tracks.setdefault(probe.id, Track())
    if state.run_ms - track.refused_run_ms > _HOUR_MS:
        track.refused = 0
    track.refused = min(_REFUSALS, track.refused + count)
    track.refused_run_ms = state.run_ms
    if track.refused < _REFUSALS or probe.id in state.out_of_service:
        return []
    return _begin(state, probe, track, "probe_sentinel")


def look(state: State) -> list[Finding]:
    """Every five minutes: what stands still, is unrestful or low, and what has ended."""
    found: list[Finding] = []
    for place in state.site.places:
        if place.kind == "bed":
            _mixed(state, place)
        for probe in state.site.probes_of[place.id]:
            track = state.honesty.tracks.get(probe.id)
            if track is None:
                continue
            if probe.id in state.out_of_service:
                found += [_end(state, probe, track, kind) for kind in list(track.faults)]
            else:
                found += _of_one(state, place, probe, track)
    return found


def _of_one(state: State, place: Place, probe: Probe, track: Track) -> list[Finding]:
    every_ms = int(probe.every_s * 1000)
    moved = _others_moved(state, place, probe, track)
    held = {
        "probe_stuck": honest.stuck(track, state.site.honest, every_ms, moved)
        and not _may_stand(state, place, probe),
        "probe_noisy": honest.noisy(track),
        "probe_low": _breathes_air(place, probe)
        and honest.low(track, state.site.honest, track.value, track.heard_ms),
        "probe_jumps": "probe_jumps" in track.faults and state.at_ms - track.jumped_ms < STANDS_MS,
        "probe_sentinel": "probe_sentinel" in track.faults and _still_sends(state, probe, track),
        "probe_drifts": _drifts(state, track),
    }
    found: list[Finding] = []
    for kind, holds in held.items():
        if holds:
            found += _begin(state, probe, track, kind)
        elif kind in track.faults:
            found.append(_end(state, probe, track, kind))
    return found


def _still_sends(state: State, probe: Probe, track: Track) -> bool:
    lately = bool(track.refused_run_ms) and state.run_ms - track.refused_run_ms < STANDS_MS
    since_ms = state.at_ms - track.jumped_ms
    return lately or since_ms < STANDS_MS or (bool(track.jumped_ms) and _means_fault(probe, track.value))


def _begin(state: State, probe: Probe, track: Track, kind: str) -> list[Finding]:
    if kind in track.faults:
        return []
    track.faults[kind] = track.since_ms if kind == "probe_stuck" else track.heard_ms or state.at_ms
    return [finding_of(state, probe, kind)]


def _end(state: State, probe: Probe, track: Track, kind: str) -> Finding:
    del track.faults[kind]
    return finding_of(state, probe, kind)


def _may_stand(state: State, place: Place, probe: Probe) -> bool:
    """Whether the probe may say one thing for days: at its end, in wet air, at rest, out of the grain."""
    window = state.windows.get(probe.id)
    if window is None or window.value is None or window.silent or probe.id in state.honesty.away:
        return True
    if window.flags & (RANGE_HIGH | RANGE_LOW):
        return True
    if probe.quantity == "humidity":
        return window.value >= (_WET_RH if place.kind == "kiln" else _FULL_RH)
    return probe.quantity in _REST_AT_0 and abs(window.value) < 1e-6


def _others_moved(state: State, place: Place, probe: Probe, track: Track) -> bool:
    """Whether the neighbours of the same kind went a good way while this one stood."""
    if probe.quantity not in ("temperature", "humidity"):
        return False
    others = [
        (window.value, _lately(window, window.value))
        for other, window in state.good(place.id, probe.quantity)
        if other.id != probe.id and window.value is not None
    ]
    now = median(value for value, _ in others) if others else None
    if track.beside_ms != track.since_ms or track.beside is None:
        track.beside_ms, track.beside = track.since_ms, now
    if now is None or track.beside is None:
        return False
    least = max(5.0 * track.step, 0.5 if probe.quantity == "temperature" else 5.0)
    ways = [now - track.beside, median(before for _, before in others) - track.beside]
    return min(ways) >= least or max(ways) <= -least


def _lately(window: Window, value: float) -> float:
    """What a probe said a while ago; what it says now where no more is known."""
    from_ms = window.measured_ms - _MOVED_FOR_MS - window.from_ms
    return next((v for t, v in zip(window.times, window.values, strict=True) if t >= from_ms), value)


def _breathes_air(place: Place, probe: Probe) -> bool:
    """Whether the probe is made for air: those for grain count in hundredths of a whole, and err by more."""
    end = probe.range_high if probe.range_high is not None else probe.plausible_high
    return probe.quantity == "co2" and (place.kind != "bed" or (end is not None and end <= 10_000.0))


def _mixed(state: State, place: Place) -> None:
    """After a turn that the probes showed grain is alike: how far is each from the middle?"""
    seen = [one.seen for one in state.turns_seen.seen.get(place.id, ()) if one.is_turn]
    if not seen or seen[-1].ended_ms == state.honesty.mixed.get(place.id):
        return
    after_ms = state.at_ms - seen[-1].ended_ms
    if not _MIXED_AFTER_MS <= after_ms <= _MIXED_UNTIL_MS:
        return
    state.honesty.mixed[place.id] = seen[-1].ended_ms
    tracks = state.honesty.tracks
    # What stands still, stands for a fault, or may hang in the air is nobody's measure: it bears no witness,
    # and drifts nowhere.
    values = {
        p.id: w.value
        for p, w in state.good(place.id, "temperature")
        if w.value is not None and p.id in tracks and not _MEASURE_NOTHING & tracks[p.id].faults.keys()
        and not honest_grain.like_air(state, place, w.value)
    }  # fmt: skip
    if len(values) < _WITNESSES:
        return
    # The middle of all, itself among them: of three, one that is off does not shift it, and blames no other.
    middle = median(values.values())
    for name, value in values.items():
        biases = tracks[name].biases
        biases.append(round(value - middle, 2))
        del biases[:-_BIASES]


def _drifts(state: State, track: Track) -> bool:
    biases, bias_k = track.biases, state.site.honest.bias_k
    if len(biases) < _BIASES:
        return False
    if "probe_drifts" in track.faults:
        return abs(median(biases)) >= bias_k * 0.7
    return min(biases) >= bias_k or max(biases) <= -bias_k
