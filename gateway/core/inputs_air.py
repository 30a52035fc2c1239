"""What people record of themselves: going in, and being out again."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.core.inputs_journey import Said


@dataclass(frozen=True, slots=True)
class CheckedIn(Said):
    """A person went into a place, for a round or an entry, and is to be out again in `for_s` seconds."""

    person: str
    place: str
    for_s: float | None = None


@dataclass(frozen=True, slots=True)
class CheckedOut(Said):
    """A person is out again, wherever that was."""

    person: str


AIR_EVENTS: dict[str, type] = {"check-in": CheckedIn, "check-out": CheckedOut}
