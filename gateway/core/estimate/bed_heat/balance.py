"""The heat of the beds: what the hottest good thermometer of each will do, and when it will be too much.

    heat = Heat()
    take(heat, bed_id, probe_id, measured_ms, value_c, at_ms)   # each calibrated reading in a bed
    over(heat, room_id, measured_ms, value_c, at_ms)            # each in its room's air
    consider(heat, bed, at_ms)                                  # each ten minutes of the tick's grid
    told = forecast(heat, bed, at_ms, limits, moments)          # whenever asked; changes nothing
    forget(heat, bed_id)                                        # another piece lies there

Taking costs one addition. Considering notes where the curves leap (turned, pulled out, put back), lets a
finished stretch teach the next, and holds what was said earlier against what came. All that is thought
follows from the readings, the bed's facts and the times of considering: a restart changes nothing.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from statistics import median
from typing import NamedTuple

from gateway.core.estimate.bed_heat.ahead import Air
from gateway.core.estimate.bed_heat.curve import BIN_MS, Curve
from gateway.core.estimate.bed_heat.fit import made_now
from gateway.core.estimate.bed_heat.proof import factor, gone, promise, prove
from gateway.core.estimate.bed_heat.said import Forecast, Limit, Outlook, Reach, Said, say
from gateway.core.estimate.bed_heat.state import Bed, BedHeat, Heat, Hot, Hung
from gateway.core.estimate.bed_heat.stretch import ROOM_LATE_MS, began, fitted, heard_until, learn, ready_of

__all__ = [
    "Bed", "Forecast", "Heat", "Hung", "Limit", "Reach", "Said", "Unseen", "consider", "forecast", "forget",
    "last_of", "made_k_per_h", "outlooks", "over", "stepped", "take", "unseen",
]  # fmt: skip

#: Only the hottest few are worth the reckoning: the hottest at the end is among them.
_FEW = 3
#: A room's way of late is believed the less the shorter it was heard (ours, grade D).
_ROOM_STILL_H2 = 1.0
#: The room strays in hours by this share of the range it went through lately (ours, grade D).
_ROOM_RANGE = 0.33
#: An untold room strays in hours by this share of what it may be off all along (ours, grade D).
_UNTOLD_STRAYS = 0.5
_PROMISE_EACH_MS = 1_800_000
_HOUR_MS = 3_600_000


def take(heat: Heat, bed: str, probe: str, measured_ms: int, value_c: float, at_ms: int) -> None:
    """Take one calibrated reading (C) of a thermometer in a bed; late ones and any order will do.

    `at_ms` is the gateway's time: nothing was measured after it.
    """
    lying = heat.beds.get(bed)
    if lying is None:
        lying = heat.beds[bed] = BedHeat()
    hot = lying.probes.get(probe)
    if hot is None:
        hot = lying.probes[probe] = Hot()
    hot.curve.put(min(measured_ms, at_ms), value_c)


def over(heat: Heat, room: str, measured_ms: int, value_c: float, at_ms: int) -> None:
    """Take one calibrated reading (C) of a thermometer in a room's air."""
    curve = heat.rooms.get(room)
    if curve is None:
        curve = heat.rooms[room] = Curve()
    curve.put(min(measured_ms, at_ms), value_c)


def forget(heat: Heat, bed: str) -> None:
    """Another piece lies there, or none: what the thermometers said before tells nothing of it."""
    gone(heat, bed)
    heat.beds.pop(bed, None)


def stepped(heat: Heat, by_ms: int, own_clock: Container[str] = ()) -> None:
    """The gateway's clock was set by so much and no time has passed: what is kept moves with it.

    What thermometers and rooms with a clock of their own (`own_clock`) said stays where it was.
    """
    bins = round(by_ms / BIN_MS)
    for room, curve in heat.rooms.items():
        curve.last += 0 if room in own_clock else bins
    for lying in heat.beds.values():
        lying.promised_ms += by_ms
        for promised in lying.promises:
            promised.due_ms += by_ms
            promised.began_ms += by_ms
        for name, hot in lying.probes.items():
            if name not in own_clock:
                hot.curve.last += bins
                hot.began_ms += by_ms if hot.began_ms else 0


def consider(heat: Heat, bed: Bed, at_ms: int) -> None:
    """Note leaps and told turns, learn from a stretch that ended, hold what was said against what came."""
    lying = heat.beds.get(bed.id)
    if lying is None:
        return
    for hung in bed.probes:
        hot = lying.probes.get(hung.id)
        if hot is None:
            continue
        began_ms, leapt = began(hot, hung, at_ms)
        if began_ms > hot.began_ms:
            learn(heat, bed, hung, hot, began_ms)
            hot.began_ms, hot.leapt = began_ms, leapt
    prove(lying, bed, at_ms)
    if at_ms - lying.promised_ms >= _PROMISE_EACH_MS:
        reckoned, _ = _outlooks(heat, bed, lying, at_ms, hours=4.5)
        if reckoned:
            promise(lying, bed, reckoned, factor(heat, bed.id), at_ms)


def forecast(
    heat: Heat, bed: Bed, at_ms: int, limits: Sequence[Limit] = (), moments: Sequence[int] = ()
) -> Forecast:
    """What the hottest good thermometer will say for twelve hours from now, if nobody turns.

    `moments` (Unix ms) are answered for by themselves: the end of a shift, six in the morning. Where too
    little is known there is no number but a reason, in `not_yet`.
    """
    reckoned, why = outlooks(heat, bed, at_ms)
    return say(bed.id, at_ms, reckoned, why, limits, moments)


def outlooks(heat: Heat, bed: Bed, at_ms: int) -> tuple[list[Outlook], str | None]:
    """The hottest thermometers carried forward by twelve hours, for `say`; or why there are none."""
    lying = heat.beds.get(bed.id)
    if lying is None:
        return [], "no thermometer in the grain has been heard"
    return _outlooks(heat, bed, lying, at_ms, hours=12.5)


def made_k_per_h(heat: Heat, bed: Bed, at_ms: int) -> float | None:
    """How fast the hottest grain would warm if nothing were lost, K per hour; None before it is known."""
    lying = heat.beds.get(bed.id)
    ready = ready_of(lying, bed, at_ms)[0] if lying else []
    return made_now(fitted(heat, bed, *ready[0]), bed.figures) if ready else None


class Unseen(NamedTuple):
    """A place that no thermometer tells of any more, carried on; it strayed as those beside it did, K.

    `beside`: how many tell of that.
    """

    outlook: Outlook
    off_k: float
    beside: int

    def at(self, at_ms: int) -> tuple[float, float]:
        """Temperature (C) and its standard deviation (K) at a moment (Unix ms)."""
        value_c, sd_k, _ = self.outlook.at(at_ms)
        return value_c + self.off_k, sd_k


def unseen(heat: Heat, bed: Bed, hung: Hung, until_ms: int, at_ms: int) -> Unseen | None:
    """The place of a thermometer from what was heard of it until then (Unix ms), and twelve hours on.

    `bed.probes` are those that still tell: as they went otherwise than was to be expected of them then, the
    place did. None where too little was heard since the last turn, and nothing is known from before it.
    """
    lying = heat.beds.get(bed.id)
    outlook = _until(heat, bed, lying, hung, until_ms, at_ms) if lying else None
    if lying is None or outlook is None:
        return None
    strayed = []
    for other in bed.probes:
        if other.id == hung.id or (other.turned_ms or 0) > until_ms:
            continue
        beside, hot = _until(heat, bed, lying, other, until_ms, at_ms), lying.probes.get(other.id)
        now_c = hot.curve.near(at_ms) if hot else None
        if beside is not None and now_c is not None:
            strayed.append(now_c - beside.at(at_ms)[0])
    return Unseen(outlook, median(strayed) if strayed else 0.0, len(strayed))


def last_of(heat: Heat, bed: str, probe: str, before_ms: int) -> tuple[int, float] | None:
    """Until when a thermometer was heard before a moment (Unix ms), and what it said then (C)."""
    lying = heat.beds.get(bed)
    hot = lying.probes.get(probe) if lying else None
    spots = [spot for spot in hot.curve.spots() if spot.at_ms + BIN_MS // 2 <= before_ms] if hot else []
    return (spots[-1].at_ms + BIN_MS // 2, spots[-1].value_c) if spots else None


def _until(heat: Heat, bed: Bed, lying: BedHeat, hung: Hung, until_ms: int, at_ms: int) -> Outlook | None:
    hot = lying.probes.get(hung.id)
    spots, leapt = heard_until(hot, hung, until_ms) if hot else ([], False)
    if hot is None or not spots:
        return None
    fit = fitted(heat, bed, hung, hot, spots, leapt)
    doubts = bed.doubts._replace(factor=factor(heat, bed.id))
    hours = 12.5 + max(0, at_ms - spots[-1].at_ms) / _HOUR_MS
    return Outlook.of(hung.id, spots[-1].at_ms, fit, bed.figures, _room_now(heat, bed, at_ms), doubts, hours)


def _room_now(heat: Heat, bed: Bed, at_ms: int) -> Air:
    """The room as it was of late, how it moves, and how far it may stray (the more, the more it did)."""
    curve = heat.rooms.get(bed.room or "")
    known = curve.spots() if curve else []
    late = [spot for spot in known if spot.at_ms > at_ms - ROOM_LATE_MS]
    if not late:
        untold_k = bed.figures.room_sd_k
        sd_k = max(bed.figures.room_stray_k, untold_k * _UNTOLD_STRAYS)
        return Air(known[-1].value_c if known else bed.figures.room_c, 0.0, sd_k, untold_k)
    mean_h = sum(spot.at_ms - at_ms for spot in late) / len(late) / _HOUR_MS
    mean_c = sum(spot.value_c for spot in late) / len(late)
    hours = [(spot.at_ms - at_ms) / _HOUR_MS - mean_h for spot in late]
    spread = sum(hour * hour for hour in hours) + _ROOM_STILL_H2
    k_per_h = sum(hour * (spot.value_c - mean_c) for hour, spot in zip(hours, late, strict=True)) / spread
    values = [spot.value_c for spot in known]
    sd_k = max(bed.figures.room_stray_k, (max(values) - min(values)) * _ROOM_RANGE)
    return Air(mean_c - k_per_h * mean_h, k_per_h, sd_k)


def _outlooks(
    heat: Heat, bed: Bed, lying: BedHeat, at_ms: int, hours: float
) -> tuple[list[Outlook], str | None]:
    ready, hotter = ready_of(lying, bed, at_ms)
    if not ready:
        return [], hotter[0] if hotter else "no thermometer in the grain has been heard of late"
    if hotter:
        return [], hotter[0]
    air = _room_now(heat, bed, at_ms)
    doubts = bed.doubts._replace(factor=factor(heat, bed.id))
    found = []
    for hung, hot, spots, leapt in ready[:_FEW]:
        fit = fitted(heat, bed, hung, hot, spots, leapt)
        found.append(Outlook.of(hung.id, spots[-1].at_ms, fit, bed.figures, air, doubts, hours))
    return found, None
