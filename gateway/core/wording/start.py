"""When to start, as a person is told it: never "now" where nobody may go in, on any list, line or page."""

from __future__ import annotations

from typing import NamedTuple

from gateway.core import people
from gateway.core.rules.air_entry import entry_state
from gateway.core.site import Place, Site
from gateway.core.state import State

#: What is known of the air (`air_entry.STATES`) that sends nobody in.
KEEP_OUT = ("leave", "no_entry")
_NEAR_MS = 20 * 3_600_000
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class Start(NamedTuple):
    """`words` for a person; `entry` is one of `air_entry.STATES`; `out`: nobody goes in there now."""

    words: str
    entry: str
    out: bool


def clock(site: Site, at_ms: int, now_ms: int) -> str:
    """HH:MM by the site's clock, with the day where it is not within 20 hours."""
    wall = people.local(site.time_zone, at_ms)
    return f"{wall:%H:%M}" if abs(at_ms - now_ms) < _NEAR_MS else f"{_DAYS[wall.weekday()]} {wall:%H:%M}"


def start(state: State, place: Place, start_ms: int | None) -> Start:
    """When to start with what is to be done at a place; `start_ms` None: nothing is to be done there."""
    entry = entry_state(state, place.id).state
    out = entry in KEEP_OUT
    if start_ms is None:
        return Start("", entry, out)
    if out:
        return Start("not now: stay out, air it from outside", entry, out)
    now = start_ms <= state.at_ms
    return Start("start now" if now else f"start by {clock(state.site, start_ms, state.at_ms)}", entry, out)
