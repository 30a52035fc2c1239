"""The heat of each bed, followed and carried forward."""

from __future__ import annotations

from gateway.core.board_state import Out
from gateway.core.finding import Finding, Subject
from gateway.core.heard import Heard
from gateway.core.state import NEVER_MS, State


def reading(state: State, heard: Heard, out: Out) -> None:
    """Take a reading."""


def tick(state: State, out: Out) -> list[Finding]:
    """What time alone brings."""
    return []


def next_run_ms(state: State) -> int:
    """A running time before which time alone brings nothing."""
    return NEVER_MS


def entered(state: State, event: object, out: Out) -> None:
    """Take what people recorded."""


def moved(state: State, by_ms: int) -> None:
    """The clock was set."""


def site_changed(state: State) -> None:
    """Another site file holds."""


def finding(state: State, subject: Subject) -> Finding | None:
    """What stands behind an alarm of this family now."""
    return None
