"""The only module that knows the order: an input or a tick in, effects out, the state changed in place.

    state = new(); effects = advance(state, entries, until_run_ms)

Nothing outside holds a part of the state. The same entries and the same running times give the same effects,
live, after a crash, or in a replay.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence

from gateway.core import board, codec, followers, night, night_heat
from gateway.core.board import Now, Out
from gateway.core.effects import Effect
from gateway.core.finding import Finding, Subject
from gateway.core.happenings import HAPPENINGS
from gateway.core.heard import Heard
from gateway.core.inputs import Entry, Event
from gateway.core.reading import CLOCK_UNSURE, RETAINED, Reading
from gateway.core.rules import heat, place_limit, sample, silence, steeping, surroundings, turning
from gateway.core.site import Place, Probe, Site
from gateway.core.state import State
from gateway.core.timeline import TICK_MS
from gateway.core.window import Window
from gateway.core.wire.gauge import AHEAD_MS

__all__ = ["State", "advance", "dump", "judged", "load", "new", "renumber"]

#: Only a reading younger than this, or than three intervals, may start a call.
_FRESH_MS = 5 * 60_000


def new() -> State:
    """The state of a store in which nothing has happened."""
    return State(Site("", "", "UTC"))


def dump(state: State) -> bytes:
    """The whole state as JSON; `load` gives it back exactly."""
    return json.dumps(codec.plain(state), separators=(",", ":")).encode()


def load(data: bytes) -> State:
    """The state of a dump; raises ValueError if the bytes are not one of this version."""
    try:
        state: State = codec.restore(State, json.loads(data))
    except (TypeError, KeyError, AttributeError, ValueError) as fault:
        raise ValueError(f"not a state of this version: {fault}") from fault
    return state


def renumber(state: State, numbers: tuple[int, int, int]) -> None:
    """Let the alarms, notices and turns still to come have numbers above these, in that order."""
    alarm, notice, turn = numbers
    state.board.next_alarm = max(state.board.next_alarm, alarm + 1)
    state.board.next_notice = max(state.board.next_notice, notice + 1)
    state.turns = max(state.turns, turn)


def advance(state: State, entries: Sequence[Entry], until_run_ms: int) -> list[Effect]:
    """Judge journal entries in order, each after the ticks due before it, then ticks up to a running time."""
    return list(judged(state, entries, until_run_ms))


def judged(state: State, entries: Sequence[Entry], until_run_ms: int) -> Iterator[Effect]:
    """As `advance`, but each effect is had as soon as it is made: the ticks of a year are never held at once.

    The state has come as far as the newest effect taken, and all the way only when there are no more.
    """
    next_tick = 0
    for entry in entries:
        if entry.run_ms >= next_tick:
            yield from _pass_time(state, entry.run_ms)
            next_tick = state.ticked_run_ms + TICK_MS
        state.run_ms = entry.run_ms
        state.at_ms = entry.at_ms
        if type(entry.what) is Reading:
            if made := _read(state, entry.n, entry.what):
                yield from made
        else:
            yield from _happen(state, entry.n, entry.what)  # type: ignore[arg-type]
            next_tick = 0
    yield from _pass_time(state, until_run_ms)


def _pass_time(state: State, until_run_ms: int) -> Iterator[Effect]:
    if not state.run_ms and not state.ticked_run_ms:
        # A store begins at its first entry; there is no time before it.
        state.ticked_run_ms = until_run_ms // TICK_MS * TICK_MS
        return
    last = until_run_ms // TICK_MS * TICK_MS
    while state.ticked_run_ms < last:
        due = max(state.ticked_run_ms + TICK_MS, -(-state.due_run_ms // TICK_MS) * TICK_MS)
        if due > last:
            state.ticked_run_ms = last
            return
        state.ticked_run_ms = due
        state.run_ms = due
        state.at_ms = state.axis.at_ms(due)
        yield from _tick(state)


def _tick(state: State) -> list[Effect]:
    now = Now(state.at_ms, state.run_ms)
    out = Out(state.run_ms)
    heard = [*silence.judge(state), *followers.tick(state, out)]
    sample.judge(state)
    for finding in (*heard, *turning.judge(state), *steeping.judge(state), *surroundings.judge(state)):
        board.found(state.board, state.site, finding, now, out)
    board.tick(state.board, state.site, now, out, _fresh(state))
    night.tick(state, out)
    night_heat.tick(state, out)
    state.due_run_ms = min(
        silence.next_run_ms(state),
        state.sample_run_ms,
        turning.next_run_ms(state),
        steeping.next_run_ms(state),
        state.evening_run_ms,
        state.heats.word.run_ms,
        surroundings.next_run_ms(state),
        followers.next_run_ms(state),
        board.next_due_run_ms(state.board),
    )
    return out.effects


def _read(state: State, n: int, reading: Reading) -> Sequence[Effect]:
    probe = state.site.probe.get(reading.probe)
    if probe is None:
        return ()
    window = state.windows.get(probe.id)
    if window is None:
        window = state.windows[probe.id] = Window()
    measured_ms = state.at_ms if reading.flags & CLOCK_UNSURE else reading.measured_at_ms
    age_ms = state.at_ms - measured_ms
    behind_ms = age_ms if age_ms > max(int(probe.every_s * 3000), _FRESH_MS) else 0
    value = probe.gain * reading.value + probe.offset
    found: list[Finding] = []
    if not behind_ms and measured_ms < window.measured_ms:
        found += _catch_up(state, probe, window, measured_ms)
    newest = window.take(measured_ms, value, reading.flags, state.run_ms, behind_ms)
    if reading.battery is not None:
        window.battery = reading.battery
    if measured_ms < state.resumed_at_ms:
        # A backlog is still coming in: nobody is silent until it has.
        state.settling_from_ms = state.run_ms
    if window.silent and not behind_ms and not reading.flags & RETAINED:
        found += silence.heard(state, probe)
    out = Out(n)
    if probe.id not in state.out_of_service:
        place = state.site.place[probe.place]
        heard = Heard(probe, place, value, measured_ms, reading.flags, newest, not behind_ms)
        followers.reading(state, heard, out)
        if newest:
            found += _judge_value(state, place, probe, window, fresh=not behind_ms)
    if found or out.effects:
        _settle(state, found, out)
    return out.effects


def _catch_up(state: State, probe: Probe, window: Window, measured_ms: int) -> list[Finding]:
    """Where its newest reading was stamped ahead of the clock, and this one is of now: now is what counts.

    With a clock on the topic readings may come before their time; then the clock comes next, and no reading.
    """
    latest_ms = state.at_ms + AHEAD_MS
    if measured_ms > latest_ms or not window.ahead(latest_ms, state.run_ms):
        return []
    window.give_up(latest_ms)
    for guard in state.guards.values():
        guard.marks.pop(probe.id, None)
    return surroundings.conflict(state, probe)


def _judge_value(state: State, place: Place, probe: Probe, window: Window, fresh: bool) -> list[Finding]:
    if place.kind == "bed":
        if probe.quantity == "temperature":
            return heat.judge(state, place, probe, window, fresh)
        return []
    kind = place_limit.kind_for(place, probe.quantity)
    return place_limit.judge(state, place, kind, probe, window, fresh) if kind else []


def _settle(state: State, found: list[Finding], out: Out) -> None:
    now = Now(state.at_ms, state.run_ms)
    for finding in found:
        board.found(state.board, state.site, finding, now, out)
    state.due_run_ms = 0


def _happen(state: State, n: int, event: Event) -> list[Effect]:
    out = Out(n)
    HAPPENINGS[type(event)](state, event, out)
    state.ladders.clear()
    state.due_run_ms = 0
    return out.effects


def _fresh(state: State) -> Callable[[Subject], Finding | None]:
    """What stands behind an alarm, with the newest values, for the words of a repeated call."""

    def fresh(subject: Subject) -> Finding | None:
        place = state.site.place.get(subject.place or "")
        probe = state.site.probe.get(subject.probe or "")
        if subject.kind in ("bed_hot", "bed_low"):
            return heat.finding(state, place, subject.kind) if place else None
        if subject.kind in place_limit.KINDS:
            return place_limit.finding(state, place, subject.kind) if place else None
        if subject.kind == "bed_unwatched":
            return silence.unwatched_finding(state, place) if place else None
        if subject.kind == "turn_overdue":
            return turning.finding(state, place) if place else None
        if subject.kind in ("steep_drain", "steep_fill"):
            return steeping.finding(state, place.id, subject.kind[6:]) if place else None
        if subject.kind == "probe_silent":
            return silence.finding(state, probe) if probe else None
        return followers.finding(state, subject)

    return fresh
