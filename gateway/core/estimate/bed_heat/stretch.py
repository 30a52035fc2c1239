"""The stretch since a bed's last turn, thermometer by thermometer: where it began, and its balance."""

from __future__ import annotations

import math
from typing import NamedTuple

from gateway.core.estimate.bed_heat.curve import (
    BIN_MS,
    SETTLE_BINS,
    Spot,
    leaps,
    runs,
    wavering_k,
    without_bursts,
)
from gateway.core.estimate.bed_heat.fit import Fit, Point, Stretch, carried, fit, unseen
from gateway.core.estimate.bed_heat.state import Bed, BedHeat, Heat, Hot, Hung

_HOUR_MS = 3_600_000
#: After a turn a thermometer is put back and comes to the grain's temperature within this (ours, grade D).
_SETTLE_MS = 1_200_000
#: Less than this since the last turn says nothing; nor does one silent for so long (ours, grade D).
_LEAST_MS, _LEAST_SPOTS = 2_400_000, 6
_HEARD_MS = 1_500_000
#: A leap is looked for in so many bins: late readings come within this.
_LOOK_BACK = 18
#: The room's way is read from the last so long; what it was longer ago tells nothing of it (ours, grade D).
ROOM_LATE_MS = 5_400_000
#: A thermometer that cannot be reckoned with holds up its bed's forecast where it is hotter by this.
_HOTTER_K = 0.3


class Ready(NamedTuple):
    """A thermometer whose stretch allows a reckoning; `leapt` if it began by a leap and no turn was told."""

    hung: Hung
    hot: Hot
    spots: list[Spot]
    leapt: bool


def began(hot: Hot, hung: Hung, at_ms: int) -> tuple[int, bool]:
    """When the present stretch began: settled after the last turn told, or after the last leap seen."""
    began_ms, leapt = hot.began_ms, hot.leapt
    if hung.turned_ms is not None and hung.turned_ms <= at_ms:
        settled_ms = hung.turned_ms + _SETTLE_MS
        if settled_ms > began_ms:
            began_ms, leapt = settled_ms, False
    since_ms = max(0, (hot.curve.last - _LOOK_BACK) * BIN_MS)
    spots = without_bursts(hot.curve.spots(since_ms))
    for i in leaps(spots):
        settled = spots[min(len(spots) - 1, i + SETTLE_BINS)].at_ms - BIN_MS // 2
        if settled > began_ms:
            began_ms, leapt = settled, True
    return began_ms, leapt


def learn(heat: Heat, bed: Bed, hung: Hung, hot: Hot, ended_ms: int) -> None:
    """Fit the longest undisturbed run of the stretch that has ended; too short a one teaches nothing."""
    spots = [spot for spot in hot.curve.spots(hot.began_ms) if spot.at_ms < ended_ms]
    run = max(runs(spots), key=len) if spots else []
    if len(run) < _LEAST_SPOTS or run[-1].at_ms - run[0].at_ms < _LEAST_MS:
        return
    earlier = Hung(hung.id, None if hot.leapt or not hot.began_ms else hot.began_ms - _SETTLE_MS)
    hot.known = carried(fitted(heat, bed, earlier, hot, run, hot.leapt), bed.figures)


def ready_of(lying: BedHeat, bed: Bed, at_ms: int) -> tuple[list[Ready], list[str]]:
    """Thermometers that allow a reckoning, hottest first; and, hotter than all of them, why others do not."""
    ready: list[Ready] = []
    not_yet: list[tuple[float, str]] = []
    for hung in bed.probes:
        hot = lying.probes.get(hung.id)
        if hot is None or at_ms - (hot.curve.last + 1) * BIN_MS > _patience_ms(hot):
            continue
        began_ms, leapt = began(hot, hung, at_ms)
        spots = without_bursts([spot for spot in hot.curve.spots(began_ms) if spot.at_ms <= at_ms + BIN_MS])
        newest_c = hot.curve.near(at_ms)
        if newest_c is None:
            continue
        if len(spots) < _LEAST_SPOTS or spots[-1].at_ms - spots[0].at_ms < _LEAST_MS - BIN_MS:
            not_yet.append((newest_c, _too_little(began_ms, leapt, spots, at_ms)))
        else:
            ready.append(Ready(hung, hot, spots, leapt))
    ready.sort(key=lambda one: -_late_c(one.spots))
    hottest = _late_c(ready[0].spots) + _HOTTER_K if ready else -math.inf
    return ready, [why for value_c, why in sorted(not_yet, reverse=True) if value_c > hottest]


def heard_until(hot: Hot, hung: Hung, until_ms: int) -> tuple[list[Spot], bool]:
    """What was heard up to a moment (Unix ms) since the turn or leap before it, and whether it was a leap.

    Nothing where that is too little to reckon with. Where an earlier stretch taught how the place warms, the
    last spot since the turn is enough: it says from where.
    """
    since_ms = 0 if hung.turned_ms is None else hung.turned_ms + _SETTLE_MS
    heard = [spot for spot in hot.curve.spots(since_ms) if spot.at_ms <= until_ms]
    cut = runs(heard)
    spots, leapt = cut[-1], len(cut) > 1
    if hot.known is not None:
        return (spots, leapt) if spots else (heard[-1:], False)
    enough = len(spots) >= _LEAST_SPOTS and spots[-1].at_ms - spots[0].at_ms >= _LEAST_MS - BIN_MS
    return (spots if enough else []), leapt


def _patience_ms(hot: Hot) -> int:
    """How long a thermometer may be silent: longer for one that speaks seldom."""
    spoke = sum(1 for count in hot.curve.counts if count)
    return max(_HEARD_MS, 5 * BIN_MS * len(hot.curve.counts) // (2 * max(1, spoke)))


def _too_little(began_ms: int, leapt: bool, spots: list[Spot], at_ms: int) -> str:
    """Why there is no reckoning: the turn was lately, or it is long past and little was heard since."""
    if not began_ms:
        return "too few readings yet"
    ago_ms = max(0, at_ms - began_ms + (0 if leapt else _SETTLE_MS))
    since = f"{'its curve leapt' if leapt else 'turned'} {_span(ago_ms)} ago"
    if ago_ms <= 2 * _LEAST_MS:
        return f"{since}: too few readings since"
    if not spots:
        return f"{since}: nothing heard since"
    heard_ms = at_ms - spots[0].at_ms + BIN_MS // 2
    if heard_ms > 2 * _LEAST_MS:
        return f"{since}: heard too seldom since"
    return f"{since}: heard for {_span(heard_ms)} only since then"


def _span(ms: int) -> str:
    hours, minutes = divmod(ms // 60_000, 60)
    return f"{hours} h {minutes:02d}" if hours else f"{minutes} min"


def _late_c(spots: list[Spot]) -> float:
    last = spots[-3:]
    return sum(spot.value_c for spot in last) / len(last)


def fitted(heat: Heat, bed: Bed, hung: Hung, hot: Hot, spots: list[Spot], leapt: bool) -> Fit:
    """The balance of one thermometer over its spots; a leap is taken for a turn nobody told of."""
    first_ms = spots[0].at_ms
    turned_ms = first_ms - _SETTLE_MS if leapt else hung.turned_ms
    age_h = None if bed.cast_ms is None else (first_ms - bed.cast_ms) / _HOUR_MS
    since_h = None if turned_ms is None else max(0.0, (first_ms - turned_ms) / _HOUR_MS)
    sd_k = 1.5 * max(0.05, wavering_k(spots))
    rooms = _room_by_bin(heat, bed, spots)
    points = [
        Point((spot.at_ms - first_ms) / _HOUR_MS, spot.value_c, room_c, sd_k, told)
        for spot, (room_c, told) in zip(spots, rooms, strict=True)
    ]
    return fit(Stretch(points, age_h, since_h), hot.known or unseen(bed.figures), bed.figures)


def _room_by_bin(heat: Heat, bed: Bed, spots: list[Spot]) -> list[tuple[float, bool]]:
    """The room's temperature at each spot: the newest by then, else the oldest known, else the usual.

    And whether a thermometer told of it then.
    """
    curve = heat.rooms.get(bed.room or "")
    known = curve.spots() if curve else []
    if not known:
        return [(bed.figures.room_c, False)] * len(spots)
    found, i = [], 0
    for spot in spots:
        while i + 1 < len(known) and known[i + 1].at_ms <= spot.at_ms:
            i += 1
        found.append((known[i].value_c, abs(spot.at_ms - known[i].at_ms) <= ROOM_LATE_MS))
    return found
