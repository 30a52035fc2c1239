"""What is kept of the air: each gas probe's day, the last hour of a room, and who is inside."""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core.estimate.shut_room import RoomAir
from gateway.core.science.exposure import Exposure


@dataclass(slots=True)
class Gas:
    """One gas probe. All times are Unix ms.

    `since_ms`: it has spoken without a gap since then. `below_ms`: and said less than the lowest level at its
    place since then, 0 while it does not. `room` is of CO2 alone.
    """

    exposure: Exposure = field(default_factory=Exposure)
    room: RoomAir | None = None
    since_ms: int = 0
    below_ms: int = 0
    last_ms: int = 0


@dataclass(slots=True)
class Inside:
    """Somebody who checked in: where, since when, to be out by when; `missed` once that is past."""

    place: str
    since_ms: int
    until_ms: int
    missed: bool = False


@dataclass(slots=True)
class AirState:
    """Gas probes by id, people inside by id, places whose air nobody measures any more."""

    gas: dict[str, Gas] = field(default_factory=dict)
    inside: dict[str, Inside] = field(default_factory=dict)
    unknown: list[str] = field(default_factory=list)
