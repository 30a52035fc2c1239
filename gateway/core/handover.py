"""The notes of a hand-over: the newest are kept, with who has read them. Nobody is judged by them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from gateway.core.board_state import Out
from gateway.core.inputs_note import HandedOver, HandoverRead

if TYPE_CHECKING:
    from gateway.core.state import State

#: So many notes are kept in view; all of them stay in the journal.
KEPT = 30


@dataclass(slots=True)
class Note:
    """One note: its journal number, when (Unix ms), who wrote it, and who has read it."""

    n: int
    at_ms: int
    text: str
    by: str | None = None
    read_by: list[str] = field(default_factory=list)


def handed_over(state: State, what: HandedOver, out: Out) -> None:
    """Keep the note."""
    state.notes = [*state.notes, Note(out.n, what.when_ms or state.at_ms, what.note, what.by)][-KEPT:]


def read(state: State, what: HandoverRead, out: Out) -> None:
    """Mark it as read; a note that is not kept any more needs no mark."""
    for note in state.notes:
        if note.n == what.entry and what.by and what.by not in note.read_by:
            note.read_by.append(what.by)
