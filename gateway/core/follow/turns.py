"""Turns seen by the probes, joined with those people record.

What the probes tell is kept in `State.turns_seen`; `turns_join` says which recorded turn it is, `turns_rows`
what is told of it, `turns_asked` what is asked of people.
"""

from __future__ import annotations

from gateway.core.board_state import Out
from gateway.core.estimate.turn_seen import detect as turn_seen
from gateway.core.estimate.turn_seen.bed import TurnSeen
from gateway.core.estimate.turn_seen.ring import BINS, LEAST_BIN_MS, bin_ms
from gateway.core.finding import Finding, Subject
from gateway.core.follow import turns_clock, turns_join, turns_rows, turns_shown
from gateway.core.follow.turns_state import Seen
from gateway.core.follow.turns_wiring import Wiring, wired
from gateway.core.heard import Heard
from gateway.core.inputs import Cast, Loaded, Moved
from gateway.core.state import State

#: So long after a turn people may still record it, or say that there was none; and so many of a bed.
KEPT_MS, _MOST = 72 * 3_600_000, 12


def reading(state: State, heard: Heard, out: Out) -> None:
    """Take a reading of a bed's probe, or of a thermometer in the air over it."""
    wiring = _wiring(state)
    turns, probe = state.turns_seen.turns, heard.probe
    bed = wiring.beds.get(heard.place.id)
    if bed is None:
        wire = wiring.air.get(probe.id)
        if wire is not None:
            turn_seen.over(turns, wire, heard.measured_ms, heard.value, state.at_ms)
        return
    found = turn_seen.take(turns, bed, probe.id, heard.measured_ms, heard.value, state.at_ms)
    if found:
        learn(state, found, out)


def tick(state: State, out: Out) -> list[Finding]:
    """Whether each bed is watched, and which recorded turns the probes should have shown by now."""
    if state.run_ms >= state.turns_seen.next_run_ms:
        turns_shown.look(state, out)
        _trim(state)
    return []


def next_run_ms(state: State) -> int:
    """A running time before which time alone brings nothing."""
    return state.turns_seen.next_run_ms


def entered(state: State, event: object, out: Out) -> None:
    """Other grain, or none, lies there from now on: what the probes said before tells nothing of it."""
    if isinstance(event, Cast | Moved | Loaded) and _lately(state, event.when_ms):
        for bed in {event.bed, getattr(event, "to", event.bed)}:
            turn_seen.forget(state.turns_seen.turns, bed)
            state.turns_seen.watched_ms.pop(bed, None)


def _lately(state: State, when_ms: int | None) -> bool:
    """Whether the memory of the probes reaches back before it: else there is nothing to forget."""
    return when_ms is None or state.at_ms - when_ms <= BINS * LEAST_BIN_MS


def moved(state: State, by_ms: int) -> None:
    """The clock was set."""
    turns_clock.moved(state, by_ms)
    turns_join.join(state)


def site_changed(state: State) -> None:
    """Another site file holds: what hangs in beds that are gone, or no longer hangs there, is forgotten."""
    kept, site = state.turns_seen, state.site
    kept.wiring = None
    for bed in [bed for bed in kept.turns.beds if bed not in site.place]:
        turn_seen.forget(kept.turns, bed)
    for bed, lying in kept.turns.beds.items():
        here = {probe.id: bin_ms(probe.every_s) for probe in site.probes_of[bed]}
        lying.rings = {n: ring for n, ring in lying.rings.items() if here.get(n) == ring.bin_ms}
    kept.turns.air = {name: ring for name, ring in kept.turns.air.items() if name in site.probe}
    kept.seen = {bed: ones for bed, ones in kept.seen.items() if bed in site.place}
    kept.watched_ms = {bed: at_ms for bed, at_ms in kept.watched_ms.items() if bed in site.place}
    # What is trusted may be another now.
    turns_join.join(state)


def finding(state: State, subject: Subject) -> Finding | None:
    """Turns seen raise no alarm: they are asked about."""
    return None


def _wiring(state: State) -> Wiring:
    wiring = state.turns_seen.wiring
    if wiring is None or wiring.site is not state.site:
        wiring = state.turns_seen.wiring = wired(state.site)
    return wiring


def learn(state: State, found: list[TurnSeen], out: Out) -> None:
    """Take what the probes tell: a new turn, or one told before as it is told now."""
    before = turns_rows.rows(state)
    for seen in found:
        ones = state.turns_seen.seen.setdefault(seen.bed, [])
        known = next((one for one in ones if one.seen.turn == seen.turn), None)
        if known is not None:
            known.seen = seen
        elif seen.bed not in state.pieces.empty:
            # Of a bed recorded empty nothing is believed: what moves there is a cast nobody has recorded yet.
            ones.append(Seen(seen, state.at_ms))
    gone = turns_join.join(state)
    turns_rows.tell(state, before, gone, out)
    # The turn clock may be another now: the next tick looks at it.
    state.due_run_ms = 0


def _trim(state: State) -> None:
    for bed, ones in list(state.turns_seen.seen.items()):
        kept = [one for one in ones if state.at_ms - one.seen.ended_ms <= KEPT_MS][-_MOST:]
        if kept:
            state.turns_seen.seen[bed] = kept
        else:
            del state.turns_seen.seen[bed]
