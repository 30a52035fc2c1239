"""Which recorded turns the probes could have shown, and did not, once the time for showing them is over."""

from __future__ import annotations

from gateway.core.board_state import Out
from gateway.core.estimate.turn_seen.merge import SHOWN_WITHIN_MS
from gateway.core.estimate.turn_seen.ring import Ring
from gateway.core.follow import turns_join, turns_rows
from gateway.core.journey.record import Record
from gateway.core.state import State

EVERY_MS = 300_000
#: So long before a turn two heights must have been heard, to show it.
_BEFORE_MS = 900_000
#: A recorded turn is judged so within this of the moment when it first can be, or never: what the probes told
#: of it, and which of them hung there, is not known for longer.
_JUDGED_WITHIN_MS = 2 * 3_600_000
#: Layers nearer to each other, and to the room, than this (hundredths of a degree) are not changed by a turn.
_ALIKE, _AT_AIR = 60, 150


def look(state: State, out: Out) -> None:
    """Take note of the beds that are watched; mark the turns that the probes should have shown by now."""
    kept = state.turns_seen
    kept.next_run_ms = (state.run_ms // EVERY_MS + 1) * EVERY_MS
    for place in state.site.places:
        if place.kind != "bed":
            continue
        if _heights(state, place.id) < 2:
            kept.watched_ms.pop(place.id, None)
        else:
            kept.watched_ms.setdefault(place.id, state.at_ms)
    waiting = [record for record in state.pieces.records if may_be_unshown(state, record)]
    watched = [(record, probes) for record in waiting if (probes := _watched(state, record))]
    found = []
    for record, probes in watched:
        if _alike(state, record.body["bed"], probes, record.when_ms):
            record.mark("alike", True)
        else:
            found.append(record)
    if found:
        before = turns_rows.rows(state)
        for record in found:
            record.mark("unshown", True)
        turns_rows.tell(state, before, set(), out)


def may_be_unshown(state: State, record: Record) -> bool:
    """Whether it is time to judge a recorded turn that nothing the probes told of meets."""
    if record.word != "turned" or record.n < 0 or record.void_n:
        return False
    if record.marks.get("unshown") or record.marks.get("alike"):
        return False
    judged_from_ms = max(record.when_ms + SHOWN_WITHIN_MS, record.known_ms)
    if not judged_from_ms <= state.at_ms <= judged_from_ms + _JUDGED_WITHIN_MS:
        return False
    bed = str(record.body.get("bed"))
    seen = [one for one in state.turns_seen.seen.get(bed, []) if one.seen.state == "seen"]
    return bed in state.site.place and not any(turns_join.meets(state, record, one) for one in seen)


def _watched(state: State, record: Record) -> list[str]:
    """The thermometers that hung where it was turned, if two heights of the bed were heard all the while."""
    bed = record.body["bed"]
    since_ms = state.turns_seen.watched_ms.get(bed)
    if since_ms is None or since_ms > record.when_ms - _BEFORE_MS:
        return []
    low, high = turns_join.stretch(state.site.place[bed], record)
    whole = record.body.get("from_m") is None and record.body.get("to_m") is None
    inside = [
        probe.id
        for probe, _ in state.good(bed, "temperature")
        if whole or (probe.at_m is not None and low <= probe.at_m <= high)
    ]
    return inside if len(inside) >= 2 else []


def _alike(state: State, bed: str, probes: list[str], when_ms: int) -> bool:
    """Whether there was nothing to show: all layers as warm as each other, and as the room.

    Where the memory of that time is gone, there is no telling, and the probes are believed to have had a say.
    """
    lying = state.turns_seen.turns.beds.get(bed)
    rings = [lying.rings[name] for name in probes if name in lying.rings] if lying else []
    levels = [level for level in (_level(ring, when_ms) for ring in rings) if level is not None]
    if len(levels) < 2 or max(levels) - min(levels) >= _ALIKE:
        return False
    floor = state.site.place[bed].floor
    rooms = {place.id for place in state.site.places if place.kind == "room" and place.floor == floor}
    air = [
        _level(ring, when_ms)
        for name, ring in state.turns_seen.turns.air.items()
        if name in state.site.probe and state.site.probe[name].place in rooms
    ]
    known = [level for level in air if level is not None]
    return not known or min(abs(max(levels) - level) for level in known) < _AT_AIR


def _level(ring: Ring, at_ms: int) -> int | None:
    """The middle one of what a probe said in the quarter of an hour before."""
    place = len(ring.values) - 1 - (ring.last - at_ms // ring.bin_ms)
    before = [value for value in ring.values[max(0, place - 15) : max(0, place)] if value is not None]
    return sorted(before)[len(before) // 2] if before else None


def _heights(state: State, bed: str) -> int:
    good = [probe for probe, _ in state.good(bed, "temperature")]
    return len({probe.id if probe.height_cm is None else probe.height_cm for probe in good})
