"""A room's air ahead: how much barley breathes in it, minutes to a level, and whether it is being aired."""

from __future__ import annotations

from typing import NamedTuple

from gateway.core.estimate import shut_room
from gateway.core.estimate.shut_room import Airing, Outlook
from gateway.core.journey.ground import extent
from gateway.core.rules import place_air
from gateway.core.site import Place
from gateway.core.state import State


class Load(NamedTuple):
    """What lies on a room's floor: tonnes of barley, how fast CO2 rises if it is shut (ppm an hour).

    `ppm_h` is None without a volume, or where nothing is known to lie there. `guessed`: a bed's own
    `full_t` stood in for a weight that nobody recorded.
    """

    barley_t: float
    volume_m3: float | None
    ppm_h: float | None
    guessed: bool


def rooms_of(state: State, place: Place) -> list[Place]:
    """The rooms whose air a bed lies in; a place that is entered itself is its own."""
    if place.kind != "bed":
        return [place]
    return [one for one in state.site.places if one.kind == "room" and one.floor and one.floor == place.floor]


def load(state: State, room: Place) -> Load:
    """What lies on the beds of the room's floor, as recorded."""
    found, guessed = 0.0, False
    for bed in state.site.places:
        if bed.kind == "bed" and room.floor and bed.floor == room.floor:
            here_t, was_guessed = _on_bed(state, bed)
            found += here_t
            guessed = guessed or was_guessed
    volume = room.volume_m3
    if volume is None:
        volume = next((one.volume_m3 for one in state.site.floors if one.id == room.floor), None)
    known = volume is not None and volume > 0.0 and found > 0.0
    ppm_h = state.site.air.room.shut_ppm_h(volume, found) if known and volume is not None else None
    return Load(found, volume, ppm_h, guessed)


def _on_bed(state: State, bed: Place) -> tuple[float, bool]:
    """Tonnes on a bed: each piece's weight by the share of its metres that lies here."""
    lying = state.pieces.beds.get(bed.id)
    if lying is None:
        return 0.0, False
    _, from_m, to_m = extent(bed)
    found, guessed = 0.0, False
    for part in lying.parts:
        metres = part.to_m - part.from_m
        piece = state.pieces.now.pieces.get(part.piece)
        if piece is not None and piece.weight_t is not None:
            whole = sum(one.to_m - one.from_m for one in state.pieces.now.parts if one.piece == part.piece)
            found += piece.weight_t * metres / whole if whole > 0.0 else 0.0
        elif bed.full_t is not None:
            found += bed.full_t * metres / (to_m - from_m)
            guessed = True
    return found, guessed


def _levels(state: State, room: Place) -> tuple[float, ...]:
    return tuple(level.limit for level in place_air.levels(state.site, room, "co2"))


def ahead(state: State, room: Place) -> Outlook | None:
    """The soonest that any good CO2 probe there says; None where none was heard lately."""
    found = [
        told
        for probe, _ in state.good(room.id, "co2")
        if (gas := state.air.gas.get(probe.id)) is not None
        and gas.room is not None
        and (told := _outlook(state, room, gas.room)) is not None
    ]
    return max(found, key=lambda one: one.ppm, default=None)


def _outlook(state: State, room: Place, air: shut_room.RoomAir) -> Outlook | None:
    figures = state.site.air.room
    return shut_room.outlook(air, figures, state.at_ms, load(state, room).ppm_h, _levels(state, room))


def airing(state: State, room: Place) -> Airing | None:
    """Whether it is being aired, by the probe that says most."""
    best = place_air.highest(state, room, "co2")
    gas = state.air.gas.get(best[0].id) if best else None
    if gas is None or gas.room is None:
        return None
    figures = state.site.air.room
    return shut_room.airing(gas.room, figures, state.at_ms, load(state, room).ppm_h, _levels(state, room))
