"""Whether each probe is alive and honest. Its silence is found by `rules.silence`.

What a fault finding says of a probe never silences it: each reading is judged as before, and an impossible
jump upward is a hot bed and a jump. Only a thermometer that hangs out of the grain watches nothing any more
(`honest_grain`).
"""

from __future__ import annotations

from gateway.core.board_state import Out
from gateway.core.estimate import honest
from gateway.core.estimate.honest_state import Track
from gateway.core.finding import Finding, Subject
from gateway.core.follow import honest_count, honest_dates, honest_doubts, honest_grain, honest_hand
from gateway.core.follow.honest_said import KINDS, finding_of
from gateway.core.heard import Heard
from gateway.core.inputs_journey import HandRead
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME
from gateway.core.rules import silence
from gateway.core.site import Probe
from gateway.core.state import State

_AWAY = {honest_grain.NOT_BACK: "probe_not_back", honest_grain.HIGH: "probe_high"}
#: Unrest below this is no noise, whatever the probe's past: ours (D), by quantity in its fixed unit.
_FLOOR = {
    "temperature": 0.5,
    "humidity": 5.0,
    "co2": 200.0,
    "co": 10.0,
    "pressure_difference": 20.0,
    "air_flow": 1.0,
}


def reading(state: State, heard: Heard, out: Out) -> None:
    """Take a reading of a probe in service."""
    if not heard.newest:
        return
    probe, value = heard.probe, heard.value
    track = state.honesty.tracks.get(probe.id)
    if track is None:
        track = state.honesty.tracks[probe.id] = Track()
    old, old_ms = track.value, track.heard_ms
    figures = state.site.honest
    floor = _FLOOR.get(probe.quantity, 1.0)
    honest.take(track, heard.measured_ms, value, int(probe.every_s * 1000), figures, floor)
    if value == old and not track.zeros:
        return
    if (
        not track.faults
        and value != probe.offset
        and abs(value - old) < figures.jump_k
        and probe.id not in state.honesty.away
        and not track.zeros
    ):
        return
    found = honest_doubts.heard(state, heard, track, old, old_ms)
    if probe.id in state.honesty.away and honest_grain.is_back(state, probe, value):
        honest_grain.put(state, probe, None)
        found += [finding_of(state, probe, "probe_not_back"), *silence.watch(state)]
    if found:
        from gateway.core.happenings_floor import tell

        tell(state, out, found)


def tick(state: State, out: Out) -> list[Finding]:
    """Every five minutes: who is in the grain, who stands still, what has ended."""
    if state.run_ms < state.honesty.next_run_ms:
        return []
    state.honesty.next_run_ms = (state.run_ms // honest_grain.LOOK_MS + 1) * honest_grain.LOOK_MS
    found = [*_look_at_grain(state), *honest_doubts.look(state), *honest_hand.look(state)]
    honest_count.look(state)
    return [*found, *honest_dates.look(state)]


def _look_at_grain(state: State) -> list[Finding]:
    before = dict(state.honesty.away)
    found = [
        one for probe in honest_grain.look(state) for one in _changed(state, probe, before.get(probe.id))
    ]
    return [*found, *silence.watch(state)] if found else []


def _changed(state: State, probe: Probe, before: str | None) -> list[Finding]:
    """What is said when a probe went out of the grain, came back, or is out for another reason."""
    now = state.honesty.away.get(probe.id)
    return [finding_of(state, probe, kind) for why, kind in _AWAY.items() if why in (before, now)]


def next_run_ms(state: State) -> int:
    """The running time of the next look."""
    return state.honesty.next_run_ms


def entered(state: State, event: object, out: Out) -> None:
    """A depth recorded may leave a probe above the grain; a reading by hand is held against the probes."""
    from gateway.core.happenings_floor import tell

    honest_count.entered(state, event, out.n)
    found = honest_hand.read(state, event) if isinstance(event, HandRead) else []
    before = dict(state.honesty.away)
    for probe in honest_grain.judge_all(state):
        found += _changed(state, probe, before.get(probe.id))
    if found:
        tell(state, out, [*found, *silence.watch(state)])


def moved(state: State, by_ms: int) -> None:
    """The clock was set: what is dated by it moves along."""
    honesty = state.honesty
    honesty.dates_run_ms = 0
    honesty.looked_ms += by_ms if honesty.looked_ms else 0
    for count in honesty.counts:
        count.when_ms, count.asked_ms = count.when_ms + by_ms, count.asked_ms + by_ms
    honesty.away_ms = {name: at_ms + by_ms for name, at_ms in honesty.away_ms.items()}
    honesty.mixed = {bed: at_ms + by_ms for bed, at_ms in honesty.mixed.items()}
    for probe, track in honesty.tracks.items():
        window = state.windows.get(probe)
        if window is not None and window.flags & OWN_TIME and not window.flags & CLOCK_UNSURE:
            continue
        for name in (
            "since_ms",
            "heard_ms",
            "aged_ms",
            "sampled_ms",
            "low_since_ms",
            "jumped_ms",
            "beside_ms",
        ):
            if getattr(track, name):
                setattr(track, name, getattr(track, name) + by_ms)


def site_changed(state: State) -> None:
    """What the site no longer has is forgotten."""
    honesty, site = state.honesty, state.site
    honesty.dates_run_ms = 0
    honesty.due = {name: said for name, said in honesty.due.items() if name in site.probe}
    honesty.tracks = {name: track for name, track in honesty.tracks.items() if name in site.probe}
    honesty.away = {name: why for name, why in honesty.away.items() if name in site.probe}
    honesty.away_ms = {name: at_ms for name, at_ms in honesty.away_ms.items() if name in site.probe}
    honesty.trails = {name: trail for name, trail in honesty.trails.items() if name in site.probe}
    honesty.airs = {bed: trail for bed, trail in honesty.airs.items() if bed in site.place}
    honesty.by_hand = {name: pair for name, pair in honesty.by_hand.items() if name in site.probe}
    honesty.mixed = {bed: at_ms for bed, at_ms in honesty.mixed.items() if bed in site.place}
    for count in honesty.counts:
        count.left = [name for name in count.left if name in site.probe]


def finding(state: State, subject: Subject) -> Finding | None:
    """What stands behind an alarm of this family now."""
    probe = state.site.probe.get(subject.probe or "")
    if probe is not None and subject.kind == honest_dates.KIND:
        return honest_dates.finding_of(state, probe)
    if probe is None or subject.kind not in KINDS:
        return None
    return finding_of(state, probe, subject.kind)
