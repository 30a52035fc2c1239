"""What the site says of the air people breathe: instant levels, the law's limits, rooms, people inside."""

from __future__ import annotations

from dataclasses import dataclass, field

from gateway.core.estimate.shut_room import RoomSettings
from gateway.core.science.exposure_limits import Limit


@dataclass(frozen=True, slots=True)
class Air:
    """Instant levels hold whatever the law's means say, for each place that names none of its own.

    CO2: `high_ppm` no entry without a hand meter, `leave_ppm` leave. CO: `co_leave_ppm` leave,
    `co_evacuate_ppm` everybody out of the building. `limits` are those of the jurisdiction, with the site's
    own in their place. `out_after_min`: a check-in that names no time is missed after so long.
    """

    high_ppm: float = 5000.0
    on_delay_s: float = 60.0
    off_delay_s: float = 300.0
    deadband_ppm: float = 500.0
    leave_ppm: float = 15_000.0
    co_leave_ppm: float = 20.0
    co_evacuate_ppm: float = 100.0
    co_deadband_ppm: float = 5.0
    jurisdiction: str = ""
    limits: tuple[Limit, ...] = ()
    room: RoomSettings = field(default_factory=RoomSettings)
    emergency: str = "112"
    out_after_min: float = 60.0
    safety_officer: str = ""
    why: str = ""
