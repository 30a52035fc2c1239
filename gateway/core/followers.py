"""The order in which what follows the readings is asked (`gateway.core.follow`)."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from gateway.core.board_state import Out
from gateway.core.finding import Finding, Subject
from gateway.core.follow import air, heat, honest, kiln, turns
from gateway.core.heard import Heard
from gateway.core.state import State

#: Whether a probe is honest is known before its word is used.
_ALL = (honest, turns, heat, kiln, air)
_Reader = Callable[[State, Heard, Out], None]
#: What tells of a turn, and of a bed's heat.
_GRAIN_AND_ROOM = (("bed", "temperature"), ("bed", "co2"), ("room", "temperature"), ("room", "humidity"))


@cache
def _readers(kind: str, quantity: str) -> tuple[_Reader, ...]:
    """Who hears a reading, by the kind of its place and its quantity; honest hears all."""
    if quantity == "co" or (quantity == "co2" and kind != "bed"):
        first = (honest.reading, kiln.reading) if kind == "kiln" else (honest.reading,)
        return *first, air.reading
    if kind in ("kiln", "outdoors"):
        return honest.reading, kiln.reading, heat.reading
    if (kind, quantity) in _GRAIN_AND_ROOM:
        return honest.reading, turns.reading, heat.reading
    return (honest.reading,)


def reading(state: State, heard: Heard, out: Out) -> None:
    """Let everybody whom it concerns take a reading."""
    for take in _readers(heard.place.kind, heard.probe.quantity):
        take(state, heard, out)


def tick(state: State, out: Out) -> list[Finding]:
    """What time alone brings."""
    return [finding for one in _ALL for finding in one.tick(state, out)]


def next_run_ms(state: State) -> int:
    """A running time before which time alone brings nothing."""
    times: list[int] = [one.next_run_ms(state) for one in _ALL]
    return min(times)


def entered(state: State, event: object, out: Out) -> None:
    """Let everybody take what people recorded of a piece; the pieces know it already."""
    for one in _ALL:
        one.entered(state, event, out)


def moved(state: State, by_ms: int) -> None:
    """The clock was set."""
    for one in _ALL:
        one.moved(state, by_ms)


def site_changed(state: State) -> None:
    """Another site file holds."""
    for one in _ALL:
        one.site_changed(state)


def finding(state: State, subject: Subject) -> Finding | None:
    """What stands behind an alarm now; None where no family here knows it."""
    for one in _ALL:
        found: Finding | None = one.finding(state, subject)
        if found is not None:
            return found
    return None
