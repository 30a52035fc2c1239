"""A room where grain breathes: how fast CO2 rises, when it reaches a level, and whether it is being aired.

    room = RoomAir()
    take(room, measured_ms, ppm)                         # each reading of the probe, low down in the room
    outlook(room, settings, now_ms, shut_ppm_h, levels)  # what is coming; shut_ppm_h from `shut_ppm_h(...)`
    airing(room, settings, now_ms, shut_ppm_h, levels)   # how long until it is down; None: not being aired

Two answers to "how long": as it goes (the slope of what was measured, drawn on straight: air that is let in
bends it downwards, so it is the soonest), and if somebody shuts the room now (from the load that lies there
and the volume). One stirred room is assumed; CO2 lies low, so by the floor it is more and sooner. Advice,
no gas alarm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import NamedTuple

_MIN_MS = 60_000
_H_MS = 3_600_000
#: One value a minute, for so many.
_KEPT = 61
#: A slope is looked for over these, the shortest that is sure.
_WINDOWS_MIN = (5, 10, 20, 40, 60)
_LEAST = 5
#: A probe that was not heard for this long tells no slope.
_HEARD_MS = 600_000


@dataclass(frozen=True, slots=True)
class RoomSettings:
    """See config/shut-room.toml: what each is, and its grade."""

    outdoor_ppm: float = 420.0
    co2_m3_h_t: float = 0.32
    peak_share: float = 1.45
    noise_ppm: float = 50.0
    sure_share: float = 0.25
    airing_per_h: float = 0.6
    airing_share: float = 0.1

    def shut_ppm_h(self, volume_m3: float, barley_t: float, share: float = 1.0) -> float:
        """How fast CO2 rises in a shut room of that air volume with so much barley growing, ppm per hour.

        `share` is the day's growth over the mean of five days; ValueError for a room without volume.
        """
        if not volume_m3 > 0.0:
            raise ValueError(f"volume {volume_m3} m3: expected above 0")
        return share * self.co2_m3_h_t * barley_t / volume_m3 * 1e6


@dataclass(slots=True)
class RoomAir:
    """The last hour of one probe, a value a minute (the middle of up to three readings of it)."""

    minutes: list[int] = field(default_factory=list)
    ppm: list[float] = field(default_factory=list)
    within: list[float] = field(default_factory=list)


class Slope(NamedTuple):
    """ppm per hour, its standard error, and the level now by the same line."""

    ppm_h: float
    error_ppm_h: float
    now_ppm: float


class Reach(NamedTuple):
    """Minutes until a level: as it goes, and if shut now (with the most, and with the mean of growth).

    0 where it is there; None where nothing says that it will be.
    """

    level_ppm: float
    as_it_goes_min: float | None
    if_shut_min: tuple[float, float] | None

    def soonest_min(self) -> float | None:
        """The soonest of what is told."""
        told = [self.as_it_goes_min, self.if_shut_min[0] if self.if_shut_min else None]
        return min((one for one in told if one is not None), default=None)


class Outlook(NamedTuple):
    """The level now, its slope where one is sure, and when it reaches each level."""

    ppm: float
    slope: Slope | None
    reaches: tuple[Reach, ...]


class Down(NamedTuple):
    """Minutes until it is below a level; `latest` is None where with these doors it would stay over it."""

    level_ppm: float
    soonest_min: float
    latest_min: float | None


class Airing(NamedTuple):
    """The room is being aired: since when (within the hour), air changes per hour, and how long still."""

    since_ms: int
    per_h: float
    downs: tuple[Down, ...]


def take(room: RoomAir, measured_ms: int, ppm: float) -> bool:
    """Take a reading in ppm; False if it is no number, below 0, or of a minute that is over."""
    if not 0.0 <= ppm <= 1e6:
        return False
    minute = measured_ms // _MIN_MS
    if room.minutes and minute < room.minutes[-1]:
        return False
    if room.minutes and minute == room.minutes[-1]:
        room.within = [*room.within, ppm][-3:]
        room.ppm[-1] = sorted(room.within)[len(room.within) // 2]
        return True
    room.within = [ppm]
    room.minutes.append(minute)
    room.ppm.append(ppm)
    while len(room.minutes) > _KEPT or room.minutes[0] <= minute - _KEPT:
        del room.minutes[0], room.ppm[0]
    return True


def moved(room: RoomAir, by_ms: int) -> None:
    """The clock the readings are dated by was set: everything was that much later."""
    by_min = round(by_ms / _MIN_MS)
    room.minutes = [minute + by_min for minute in room.minutes]


def outlook(
    room: RoomAir, settings: RoomSettings, now_ms: int, shut_ppm_h: float | None, levels: tuple[float, ...]
) -> Outlook | None:
    """What is coming. None where nothing was heard for ten minutes. `shut_ppm_h` is of the mean growth."""
    if not _heard(room, now_ms):
        return None
    slope = _slope(room, settings)
    # The middle of three values is a minute behind a level that climbs.
    ppm = max(_smooth(room, len(room.ppm) - 1), slope.now_ppm if slope else 0.0)
    rises = slope.ppm_h if slope and slope.ppm_h > 0.0 else None
    return Outlook(ppm, slope, tuple(_reach(settings, ppm, rises, shut_ppm_h, level) for level in levels))


def airing(
    room: RoomAir, settings: RoomSettings, now_ms: int, shut_ppm_h: float | None, levels: tuple[float, ...]
) -> Airing | None:
    """Whether it is being aired. The load breathes on: it comes down to where both are even."""
    slope = _slope(room, settings) if _heard(room, now_ms) else None
    if slope is None or slope.ppm_h >= 0.0:
        return None
    ppm = slope.now_ppm
    over = ppm - settings.outdoor_ppm
    if over <= 2.0 * settings.noise_ppm:
        return None
    top = max(range(len(room.ppm)), key=lambda i: (_smooth(room, i), i))
    gone = 1.0 - over / max(_smooth(room, top) - settings.outdoor_ppm, 1.0)
    bare_per_h = -slope.ppm_h / over
    per_h = (max(0.0, shut_ppm_h or 0.0) - slope.ppm_h) / over
    if bare_per_h < settings.airing_per_h or gone < settings.airing_share:
        return None
    rest = settings.outdoor_ppm + max(0.0, shut_ppm_h or 0.0) / per_h
    downs = tuple(_down(ppm, settings.outdoor_ppm, rest, per_h, level) for level in levels)
    return Airing(room.minutes[top] * _MIN_MS, per_h, downs)


def _heard(room: RoomAir, now_ms: int) -> bool:
    return bool(room.minutes) and now_ms - room.minutes[-1] * _MIN_MS <= _HEARD_MS


def _smooth(room: RoomAir, i: int) -> float:
    """The middle one of three values up to this: a breath on the probe is no level."""
    return sorted(room.ppm[max(0, i - 2) : i + 1])[min(i, 2) // 2]


def _slope(room: RoomAir, settings: RoomSettings) -> Slope | None:
    """By least squares over the shortest window that is sure; None where none is."""
    for window in _WINDOWS_MIN:
        from_minute = room.minutes[-1] - window
        points = [(m, p) for m, p in zip(room.minutes, room.ppm, strict=True) if m >= from_minute]
        if len(points) < _LEAST or points[-1][0] - points[0][0] < 0.8 * window:
            continue
        slope = _fit(points, settings.noise_ppm)
        if slope.error_ppm_h <= settings.sure_share * abs(slope.ppm_h):
            return slope
    return None


def _fit(points: list[tuple[int, float]], noise_ppm: float) -> Slope:
    count = len(points)
    mean_m = math.fsum(m for m, _ in points) / count
    mean_p = math.fsum(p for _, p in points) / count
    spread = math.fsum((m - mean_m) ** 2 for m, _ in points)
    per_min = math.fsum((m - mean_m) * (p - mean_p) for m, p in points) / spread
    off = math.fsum((p - mean_p - per_min * (m - mean_m)) ** 2 for m, p in points) / (count - 2)
    # Five points may lie on a line by chance: never surer than the probe's own noise lets it be.
    error = math.sqrt(max(off, noise_ppm**2) / spread)
    return Slope(60.0 * per_min, 60.0 * error, max(0.0, mean_p + per_min * (points[-1][0] - mean_m)))


def _reach(
    settings: RoomSettings, ppm: float, rises_ppm_h: float | None, shut_ppm_h: float | None, level: float
) -> Reach:
    if ppm >= level:
        return Reach(level, 0.0, (0.0, 0.0))
    missing = 60.0 * (level - ppm)
    as_it_goes = missing / rises_ppm_h if rises_ppm_h else None
    if not shut_ppm_h or shut_ppm_h <= 0.0:
        return Reach(level, as_it_goes, None)
    return Reach(level, as_it_goes, (missing / shut_ppm_h / settings.peak_share, missing / shut_ppm_h))


def _down(ppm: float, outdoor_ppm: float, rest_ppm: float, per_h: float, level: float) -> Down:
    if ppm < level:
        return Down(level, 0.0, 0.0)
    latest = None
    if level > rest_ppm:
        latest = 60.0 / per_h * math.log((ppm - rest_ppm) / (level - rest_ppm))
    soonest = (
        60.0 / per_h * math.log((ppm - outdoor_ppm) / (level - outdoor_ppm)) if level > outdoor_ppm else 0.0
    )
    return Down(level, min(soonest, latest) if latest is not None else soonest, latest)
