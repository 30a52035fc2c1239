"""What an entry about a piece means to the judge: where things lie, which turns are known, what is over."""

from __future__ import annotations

from typing import Any

from gateway.core import board, callout, followers
from gateway.core.board import Now, Out
from gateway.core.finding import Finding
from gateway.core.follow import turns_join, turns_rows
from gateway.core.inputs import Loaded, Moved, Turned
from gateway.core.inputs_journey import Corrected, NotTurned, Upheld, Voided
from gateway.core.journey import figures
from gateway.core.journey.fold import FOLDS
from gateway.core.rules import heat, silence, steeping, turning
from gateway.core.rules.limits import Guard
from gateway.core.state import State


def entered(state: State, what: Any, out: Out) -> None:
    """Keep an entry in its place in time; turns it makes known or changes, alarms it begins or ends."""
    turns, lay, empty = turns_rows.rows(state), _pieces_on(state), set(state.pieces.empty)
    before = _clock_of(state, what)
    if isinstance(what, Corrected | Voided | Upheld):
        state.pieces.put_right(state.site, out.n, what, max(state.at_ms, state.noted_ms))
    elif isinstance(what, NotTurned):
        turns_join.deny(state, what, out.n)
    else:
        state.pieces.take(state.site, out.n, what, max(state.at_ms, state.noted_ms))
    turns_rows.tell(state, turns, turns_join.join(state), out)
    emptied = set(state.pieces.empty) - empty
    renamed = isinstance(what, Corrected)
    for bed in sorted({*state.pieces.beds, *emptied}):
        if bed in emptied or (not renamed and _other_grain(state, lay.get(bed, []), bed)):
            _forget_heat(state, bed, out)
    if isinstance(what, Turned) and what.bed in state.site.place:
        answers = ["turn_overdue"] if _just_now(state, what) or _clock_of(state, what) != before else []
        answers += ["bed_hot"] if _just_now(state, what) else []
        now = Now(state.at_ms, state.run_ms)
        board.bed_turned(state.board, state.site, what.bed, what.by, now, out, answers)
    if isinstance(what, Loaded | Moved) and what.bed in state.unrecorded:
        # Somebody looked, and says once more that it is empty.
        state.unrecorded.remove(what.bed)
        state.emptied[what.bed] = state.run_ms
    believed = figures.believed(what)
    if believed is not None:
        followers.entered(state, believed, out)
    tell(state, out, [*turning.judge(state), *silence.watch(state), *steeping.judge(state)])


def _clock_of(state: State, what: Any) -> turning.Turning | None:
    """The turn clock of a bed that was turned: an old turn that moves it on is the one it waited for."""
    place = state.site.place.get(what.bed) if isinstance(what, Turned) else None
    return turning.clock(state, place) if place is not None else None


def _just_now(state: State, what: Turned) -> bool:
    """Whether it was turned so lately that it holds calls still: an old turn told late holds none."""
    hold_ms = callout.step_ms(state.site.callout, state.site.callout.going_hold_s)
    return what.when_ms is None or max(state.at_ms, state.noted_ms) - what.when_ms <= hold_ms


def _other_grain(state: State, before: list[str], bed: str) -> bool:
    """Whether what lies on the bed is not, or not only, what lay there, under that name or a new one."""
    now = state.pieces.beds[bed].pieces
    if not before:
        return True
    pieces = state.pieces.now.pieces
    came_from = {pieces[name].out_of for name in now if name in pieces}
    return any(
        name not in now and name not in came_from and (name not in pieces or pieces[name].into not in now)
        for name in before
    )


def _pieces_on(state: State) -> dict[str, list[str]]:
    return {bed: lying.pieces for bed, lying in state.pieces.beds.items()}


def _forget_heat(state: State, bed: str, out: Out) -> None:
    """Other grain, or none, lies there: what the probes said of the last piece holds for it no longer."""
    now = Now(state.at_ms, state.run_ms)
    for kind in ("bed_hot", "bed_low"):
        if state.guards.pop(f"{kind} {bed}", Guard()).rank and bed in state.site.place:
            place = state.site.place[bed]
            board.found(state.board, state.site, heat.finding(state, place, kind), now, out)


def tell(state: State, out: Out, found: list[Finding]) -> None:
    """Give findings to the board."""
    for finding in found:
        board.found(state.board, state.site, finding, Now(state.at_ms, state.run_ms), out)


ENTERED: tuple[type, ...] = (*FOLDS, Corrected, Voided, Upheld, NotTurned)
__all__ = ["ENTERED", "entered", "tell"]
