"""The order in which what follows the readings is asked (`gateway.core.follow`)."""

from __future__ import annotations

from collections.abc import Callable

from gateway.core.board_state import Out
from gateway.core.finding import Finding, Subject
from gateway.core.follow import air, heat, honest, kiln, turns
from gateway.core.heard import Heard
from gateway.core.state import State

#: Whether a probe is honest is known before its word is used.
_ALL = (honest, turns, heat, kiln, air)
_Reader = Callable[[State, Heard, Out], None]

#: Who hears what: by kind of place, and quantity. What stands in neither is heard by honest alone.
_BED = (honest.reading, turns.reading, heat.reading)
_READERS: dict[tuple[str, str], tuple[_Reader, ...]] = {
    ("bed", "temperature"): _BED,
    ("bed", "co2"): _BED,
    ("room", "temperature"): _BED,
    ("room", "humidity"): _BED,
}
_KILN_AND_OUTDOORS = (honest.reading, kiln.reading, heat.reading)
_GAS = (honest.reading, air.reading)


def _readers(kind: str, quantity: str) -> tuple[_Reader, ...]:
    if quantity == "co" or (quantity == "co2" and kind != "bed"):
        return _GAS if kind != "kiln" else (honest.reading, kiln.reading, air.reading)
    if kind in ("kiln", "outdoors"):
        return _KILN_AND_OUTDOORS
    return _READERS.get((kind, quantity), (honest.reading,))


_KNOWN: dict[tuple[str, str], tuple[_Reader, ...]] = {}


def reading(state: State, heard: Heard, out: Out) -> None:
    """Let everybody whom it concerns take a reading."""
    key = heard.place.kind, heard.probe.quantity
    found = _KNOWN.get(key)
    if found is None:
        found = _KNOWN[key] = _readers(*key)
    for take in found:
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
