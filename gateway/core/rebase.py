"""A clock that was set: what bears the gateway's own time moves with it, so that durations stay the same.

A probe without a time of its own gets the gateway's. Left where it was, such a reading would lie in the
future after the clock was set back, and hide every later one; set forward, its run over a limit would look
hours long. Nothing that people recorded "now" may lie in the future either.
"""

from __future__ import annotations

from gateway.core import followers
from gateway.core.reading import CLOCK_UNSURE, OWN_TIME
from gateway.core.rules import sample
from gateway.core.state import State
from gateway.core.window import Window


def stepped(state: State, by_ms: int) -> None:
    """From here on the calendar is `by_ms` further, and no time has passed."""
    _move(state, _shift(state, by_ms))


def resumed(state: State, down_ms: int) -> None:
    """The gateway was down: time has passed, unless the clock was set back meanwhile."""
    _move(state, min(0, _shift(state, down_ms)))


def _shift(state: State, by_ms: int) -> int:
    """Shift the axis; how far the calendar jumped (ms), which a small step back does not make it do."""
    before_ms = state.axis.at_ms(state.run_ms)
    state.axis.shift(state.run_ms, by_ms)
    return state.axis.at_ms(state.run_ms) - before_ms


def _move(state: State, by_ms: int) -> None:
    if not by_ms:
        return
    for probe, window in state.windows.items():
        if window.value is not None and _by_our_clock(window):
            window.measured_ms += by_ms
            window.from_ms += by_ms
            _move_marks(state, probe, by_ms)
    if by_ms < 0:
        now_ms = state.axis.at_ms(state.run_ms)
        state.resumed_at_ms = min(state.resumed_at_ms, now_ms)
        state.pieces.not_after(state.site, now_ms)
    sample.moved(state, by_ms)
    followers.moved(state, by_ms)


def _by_our_clock(window: Window) -> bool:
    return not window.flags & OWN_TIME or bool(window.flags & CLOCK_UNSURE)


def _move_marks(state: State, probe: str, by_ms: int) -> None:
    for guard in state.guards.values():
        if guard.probe == probe and guard.since_ms:
            guard.since_ms += by_ms
        for mark in guard.marks.get(probe, ()):
            if mark.over_n:
                mark.over_since_ms += by_ms
                mark.over_until_ms += by_ms
            if mark.under_since_ms:
                mark.under_since_ms += by_ms
