"""What one shift leaves for the next in words, and that somebody has read it."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.core.inputs_journey import Said


@dataclass(frozen=True, slots=True)
class HandedOver(Said):
    """A note for whoever comes next."""

    note: str


@dataclass(frozen=True, slots=True)
class HandoverRead(Said):
    """Somebody has read the note of this journal number."""

    entry: int


NOTE_EVENTS: dict[str, type] = {"hand-over": HandedOver, "hand-over-read": HandoverRead}
"""The word for each in the journal, in input files and on the command line."""
