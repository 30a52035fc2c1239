"""The hand-over notes as rows, newest first. Times are Unix ms under their keys, printed at the edge."""

from __future__ import annotations

from typing import Any

from gateway.core.state import State


def notes(state: State) -> list[dict[str, Any]]:
    """One row a note that is kept: its number, when, by whom, what, and who has read it."""
    return [
        {"entry": note.n, "at": note.at_ms, "by": note.by, "text": note.text, "read_by": list(note.read_by)}
        for note in reversed(state.notes)
    ]
