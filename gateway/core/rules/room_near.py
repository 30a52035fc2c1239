"""Whether the room is too warm for turning to help: a turn cannot cool grain below the air it is turned in.

Where the room is within 2 K of a limit (common practice, no source; `room_near_k` of the programme), what
helps is a thinner bed, open shutters and the cool hours.
"""

from __future__ import annotations

from gateway.core.site import Place
from gateway.core.state import State


def air_c(state: State, place: Place) -> float | None:
    """The air of the place's floor, C: the mean of its good thermometers; None where none tells of it."""
    rooms = [one.id for one in state.site.places if one.kind == "room" and one.floor == place.floor]
    values = [w.value for room in rooms for _, w in state.good(room, "temperature") if w.value is not None]
    return sum(values) / len(values) if values else None


def near_c(state: State, place: Place, limit_c: float | None) -> float | None:
    """The room's air (C) where it is so near a limit, or over it, that a turn helps little; else None."""
    room_c = air_c(state, place)
    if room_c is None or limit_c is None or room_c < limit_c - state.programme(place).turning.room_near_k:
        return None
    return room_c
