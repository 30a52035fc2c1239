"""Which bed thermometers hang out of the grain: not put back after a turn, or above the bed's recorded depth.

Such a probe watches nothing (`State.good`). It is still judged reading by reading: a hot one calls as ever.
A probe is found not back by its distance from the room's air: far from it before the turn, in it and not
rising out of it later than the programme of the turn allows. Where no thermometer hangs in the room, the
grain was no warmer than its air, or the air came to the grain, nobody can tell, and nothing is said.
"""

from __future__ import annotations

from statistics import median
from typing import NamedTuple

from gateway.core.estimate.honest_state import Figures
from gateway.core.site import Place, Probe
from gateway.core.state import State

NOT_BACK, HIGH = "not_back", "high"
LOOK_MS, _MINUTE_MS = 300_000, 60_000
#: Four hours: an hour before a turn, its hour, the time for putting back, and some more.
_TRAIL = 48
#: So many looks in the air, one after another; and the looks over which grain would have begun to rise again.
_IN_AIR, _RISE_OVER = 4, 9
#: Grain rises by this and more (hundredths of a kelvin) over those looks.
_RISES, _REHEATS = 15, 40
#: In the air is nearer to it than this share of what the other grain is; closer than that nobody need be.
_SHARE, _NEAREST = 0.25, 25.0
#: Before the turn the probe must have been so many times as far from the air; back, so many times `air_k`.
_FAR, _BACK = 2.0, 1.4
#: The air may have come this share of the way; more, and it is not the probe that went.
_CAME = 0.5


class Turn(NamedTuple):
    """A turn of a bed, Unix ms."""

    began_ms: int
    ended_ms: int


def newest_turn(state: State, bed: str) -> Turn | None:
    """The bed's last turn: as the probes showed it, else as it was recorded, with the time a turn takes.

    Its end is told anew as probes come back. Until a turn has had its time all of them may rightly be out.
    """
    seen = [one.seen for one in state.turns_seen.seen.get(bed, ()) if one.seen.state == "seen"]
    turns = [Turn(one.began_ms, one.ended_ms) for one in seen]
    takes_ms = round(state.programme(state.site.place[bed]).turning.turn_takes_min * _MINUTE_MS)
    for record in reversed(state.pieces.records):
        if record.word == "turned" and record.n > 0 and not record.void_n and record.body.get("bed") == bed:
            when_ms = record.when_ms
            if not any(turn.began_ms - takes_ms <= when_ms <= turn.ended_ms + takes_ms for turn in turns):
                turns.append(Turn(when_ms - takes_ms, when_ms + takes_ms))
            break
    last = max(turns, key=lambda turn: turn.ended_ms, default=None)
    return last and last._replace(ended_ms=max(last.ended_ms, last.began_ms + takes_ms))


def look(state: State) -> list[Probe]:
    """Take a look at every bed, five minutes after the last; the probes that went away, or are back."""
    honesty, changed = state.honesty, []
    missed = min(_TRAIL, max(0, (state.at_ms - honesty.looked_ms) // LOOK_MS - 1)) if honesty.looked_ms else 0
    honesty.looked_ms = state.at_ms
    for place in state.site.places:
        if place.kind == "bed":
            room_c = air_c(state, place)
            _keep(
                honesty.airs.setdefault(place.id, []), None if room_c is None else round(room_c * 100), missed
            )
            for probe in state.site.probes_of[place.id]:
                if probe.quantity == "temperature":
                    _trail(state, probe, room_c, missed)
            changed += _judge(state, place)
    return changed


def judge_all(state: State) -> list[Probe]:
    """Look at every bed now, as something was recorded; the probes that went away, or are back."""
    return [probe for place in state.site.places if place.kind == "bed" for probe in _judge(state, place)]


def _trail(state: State, probe: Probe, room_c: float | None, missed: int) -> None:
    window = state.windows.get(probe.id)
    value_c = None if window is None or window.silent else window.value
    gap = None if value_c is None or room_c is None else round((value_c - room_c) * 100)
    _keep(state.honesty.trails.setdefault(probe.id, []), gap, missed)


def _keep(trail: list[int | None], value: int | None, missed: int) -> None:
    trail += [None] * missed
    trail.append(value)
    del trail[:-_TRAIL]


def air_c(state: State, bed: Place) -> float | None:
    """The air of the rooms on the bed's floor; None where nobody measures it."""
    values = [
        window.value
        for place in state.site.places
        if place.kind == "room" and place.floor == bed.floor
        for _, window in state.good(place.id, "temperature")
        if window.value is not None
    ]
    return median(values) if values else None


def _judge(state: State, place: Place) -> list[Probe]:
    turn = newest_turn(state, place.id)
    changed = []
    for probe in state.site.probes_of[place.id]:
        if probe.quantity != "temperature":
            continue
        before, why = state.honesty.away.get(probe.id), away(state, place, probe, turn)
        if why != before:
            put(state, probe, why)
            changed.append(probe)
    return changed


def put(state: State, probe: Probe, why: str | None) -> None:
    """Note that a probe hangs out of the grain, or (None) in it."""
    honesty = state.honesty
    if why is None:
        honesty.away.pop(probe.id, None)
        honesty.away_ms.pop(probe.id, None)
    else:
        honesty.away[probe.id] = why
        honesty.away_ms.setdefault(probe.id, state.at_ms)


def away(state: State, place: Place, probe: Probe, turn: Turn | None) -> str | None:
    """Why the probe hangs out of the grain now; None where it does not, or nobody can tell."""
    lying = state.pieces.beds.get(place.id)
    if probe.id in state.out_of_service or lying is None:
        return None
    if lying.depth_cm is not None and probe.height_cm is not None and probe.height_cm > lying.depth_cm:
        return HIGH
    trail = state.honesty.trails.get(probe.id, [])
    figures = state.site.honest
    if state.honesty.away.get(probe.id) == NOT_BACK:
        newest = next((gap for gap in reversed(trail) if gap is not None), None)
        left = (
            newest is not None and abs(newest) <= figures.air_k * 100 * _BACK and not _rises(trail, _REHEATS)
        )
        return NOT_BACK if left else None
    if turn is None or state.at_ms < turn.ended_ms + round(figures.back_within_min * _MINUTE_MS):
        return None
    window = state.windows.get(probe.id)
    if window is not None and window.value is not None and _elsewhere(state, place, window.value):
        # It came back since the last look.
        return None
    near = _near(state, place, probe, figures)
    airs = state.honesty.airs.get(place.id, [])
    return NOT_BACK if _left_out(state, trail, airs, turn, near) else None


class _Near(NamedTuple):
    """What is in the air now, and far from it before; hundredths of a kelvin."""

    now: float
    before: float


def _near(state: State, place: Place, probe: Probe, figures: Figures) -> _Near:
    """How near to the room's air is in it, and how far from it the probe must have been.

    Where the other grain is in the air, too, or there is none, it bears no witness: only a probe that was
    plainly away from the air can then have gone into it.
    """
    others = [
        abs(gap)
        for one in state.site.probes_of[place.id]
        if one.id != probe.id and one.id not in state.honesty.away
        for gap in state.honesty.trails.get(one.id, [])[-1:]
        if gap is not None
    ]
    air = figures.air_k * 100
    if not others:
        return _Near(air, air * _FAR)
    now = min(air, max(_NEAREST, _SHARE * median(others)))
    return _Near(now, now * _FAR if median(others) >= _NEAREST * _FAR else air * _FAR)


def _rises(trail: list[int | None], by: int) -> bool:
    """Whether the last looks lie higher over the air than those half an hour before."""
    before = [gap for gap in trail[-_RISE_OVER:-_IN_AIR] if gap is not None]
    now = [gap for gap in trail[-_IN_AIR:] if gap is not None]
    return bool(before and now) and median(now) - median(before) >= by


def _left_out(state: State, trail: list[int | None], airs: list[int | None], turn: Turn, air: _Near) -> bool:
    """Far from the air before the turn; in the air for the last looks, and not rising out of it."""
    last = len(trail) - 1
    first = max(0, last - (state.at_ms - turn.began_ms + 75 * _MINUTE_MS) // LOOK_MS)
    until = last - (state.at_ms - turn.began_ms + 10 * _MINUTE_MS) // LOOK_MS
    known = [abs(gap) for gap in trail[first : max(0, until + 1)] if gap is not None]
    near = trail[-_IN_AIR:]
    if not known or median(known) < air.before or len(near) < _IN_AIR:
        return False
    if any(gap is None or abs(gap) > air.now for gap in near):
        return False
    was, now = _middle(airs[first : max(0, until + 1)]), _middle(airs[-_IN_AIR:])
    if was is not None and now is not None and abs(now - was) > _CAME * median(known):
        return False
    return not _rises(trail, _RISES)


def _middle(values: list[int | None]) -> float | None:
    known = [value for value in values if value is not None]
    return median(known) if known else None


def is_back(state: State, probe: Probe, value_c: float) -> bool:
    """Whether a probe that was left out is plainly somewhere else than in the room's air again."""
    if state.honesty.away.get(probe.id) != NOT_BACK:
        return False
    return _elsewhere(state, state.site.place[probe.place], value_c)


def out_or_in(state: State, probe: Probe, old_c: float, value_c: float) -> bool:
    """Whether a leap is the way out of warm grain into the room's air, or back to where the probe was."""
    room_c = air_c(state, state.site.place[probe.place]) if probe.quantity == "temperature" else None
    if room_c is None:
        return False
    air_k = state.site.honest.air_k
    low_c, high_c = min(old_c, value_c), max(old_c, value_c)
    was = [gap / 100 for gap in state.honesty.trails.get(probe.id, []) if gap is not None]
    return low_c >= room_c - air_k and (value_c < old_c or high_c <= room_c + max(was, default=0.0) + air_k)


def like_air(state: State, bed: Place, value_c: float) -> bool:
    """Whether a value is that of the room's air, as far as anybody measures it."""
    room_c = air_c(state, bed)
    return room_c is not None and abs(value_c - room_c) <= state.site.honest.air_k


def _elsewhere(state: State, bed: Place, value_c: float) -> bool:
    room_c = air_c(state, bed)
    return room_c is not None and abs(value_c - room_c) > state.site.honest.air_k * _BACK
