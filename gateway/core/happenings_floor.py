"""What an entry about a piece means to the judge: where things lie, which turns are known, what is over."""

from __future__ import annotations

from typing import Any

from gateway.core import board, followers
from gateway.core.board import Now, Out
from gateway.core.effects import TurnKnown
from gateway.core.finding import Finding
from gateway.core.inputs import Turned
from gateway.core.inputs_journey import Corrected, Upheld, Voided
from gateway.core.journey.fold import FOLDS
from gateway.core.journey.record import Record
from gateway.core.rules import heat, silence, steeping, turning
from gateway.core.rules.limits import Guard
from gateway.core.state import State


def entered(state: State, what: Any, out: Out) -> None:
    """Keep an entry in its place in time; turns it makes known or changes, alarms it begins or ends."""
    looks, lay, empty = _turn_looks(state), _pieces_on(state), set(state.pieces.empty)
    if isinstance(what, Corrected | Voided | Upheld):
        state.pieces.put_right(state.site, out.n, what, max(state.at_ms, state.noted_ms))
    else:
        _take(state, what, out.n)
    for record in state.pieces.records:
        if record.turn and looks.get(record.n) != _turn_look(record):
            out.effects.append(_turn(state, record, out))
    emptied = set(state.pieces.empty) - empty
    renamed = isinstance(what, Corrected)
    for bed in sorted({*state.pieces.beds, *emptied}):
        if bed in emptied or (not renamed and _other_grain(state, lay.get(bed, []), bed)):
            _forget_heat(state, bed, out)
    if isinstance(what, Turned) and what.bed in state.site.place:
        now = Now(state.at_ms, state.run_ms)
        board.bed_turned(state.board, state.site, what.bed, what.by, now, out)
    followers.entered(state, what, out)
    tell(state, out, [*turning.judge(state), *silence.watch(state), *steeping.judge(state)])


def _take(state: State, what: Any, n: int) -> None:
    record = state.pieces.take(state.site, n, what, max(state.at_ms, state.noted_ms))
    if isinstance(what, Turned) and what.bed in state.site.place:
        state.turns += 1
        record.mark("turn", state.turns)


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


def _turn_looks(state: State) -> dict[int, tuple[Any, ...]]:
    return {record.n: _turn_look(record) for record in state.pieces.records if record.turn}


def _turn_look(record: Record) -> tuple[Any, ...]:
    body = record.body
    metres = body.get("from_m"), body.get("to_m")
    return _turn_state(record), record.when_ms, body.get("bed"), metres, body.get("by")


def _turn_state(record: Record) -> str:
    return "void" if record.void_n else "flagged" if record.odd and not record.upheld else "kept"


def _turn(state: State, record: Record, out: Out) -> TurnKnown:
    body = record.body
    place = state.site.place.get(body["bed"])
    low, high = (place.from_m, place.to_m) if place else (None, None)
    return TurnKnown(
        out.cause(),
        record.turn,
        body["bed"],
        body.get("from_m", low),
        body.get("to_m", high),
        "recorded",
        record.when_ms,
        record.when_ms,
        record.known_ms,
        body.get("by"),
        state=_turn_state(record),
    )


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


ENTERED: tuple[type, ...] = (*FOLDS, Corrected, Voided, Upheld)
__all__ = ["ENTERED", "entered", "tell"]
