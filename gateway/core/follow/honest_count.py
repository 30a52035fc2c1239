"""Thermometers counted out when a bed is emptied: one that went along lies in food, or in the kiln's fire.

A thermometer is seen to come out where it stands far from the room's air before, and in it afterwards. One
that was not seen is asked about an hour later; where nobody can tell (no thermometer in the room, or grain as
cool as its air) that is every one, and the question is the same: count them. `keep ENTRY` answers it.
"""

from __future__ import annotations

from typing import Any

from gateway.core import moment
from gateway.core.estimate.honest_state import Count
from gateway.core.inputs import Loaded, Moved
from gateway.core.inputs_journey import Upheld
from gateway.core.journey.told import lay_where
from gateway.core.site import Probe
from gateway.core.state import State

_HOUR_MS, _LOOK_MS = 3_600_000, 300_000
#: Probes are drawn up to so long before it is recorded, and seen out within as long after (ours).
_AROUND_MS = _HOUR_MS
#: A load lies in the kiln for two days and more; then nobody can be asked any more.
_ASKED_MS = 72 * _HOUR_MS
#: So many looks in the air; before them it was so many times as far from it as that.
_LOOKS, _FAR = 3, 2.0
_MOST, _NAMED = 20, 4


def entered(state: State, event: object, n: int) -> None:
    """A bed was recorded loaded or moved: where nothing lies there any more, its thermometers are counted."""
    if isinstance(event, Upheld):
        _answered(state, event)
    if not isinstance(event, Loaded | Moved) or event.bed not in state.pieces.empty:
        return
    record = state.pieces.find(n)
    probes = [one.id for one in _thermometers(state, event.bed)]
    if record is None or not probes or state.at_ms - record.when_ms > _ASKED_MS:
        return
    if all(stay.place != event.bed for stay in lay_where(state.pieces, state.site, record.when_ms - 1)):
        return
    asked_ms = max(state.at_ms, record.when_ms + _AROUND_MS)
    counts = state.honesty.counts
    counts.append(Count(n, event.bed, record.when_ms, asked_ms, len(probes), probes))
    del counts[:-_MOST]
    look(state)


def _answered(state: State, event: Upheld) -> None:
    """They were counted; but who keeps an odd entry before its count is asked about speaks of that alone."""
    record = state.pieces.find(event.entry)
    state.honesty.counts = [
        one
        for one in state.honesty.counts
        if record is None or one.n != record.n or (record.odd and state.at_ms < one.asked_ms)
    ]


def look(state: State) -> None:
    """Who was seen to come out since; what nobody asks about any more is forgotten."""
    kept = []
    for count in state.honesty.counts:
        before = count.when_ms - _AROUND_MS
        count.left = [one for one in count.left if not _came_out(state, one, before)]
        if count.left and state.at_ms - count.when_ms <= _ASKED_MS:
            kept.append(count)
    state.honesty.counts = kept


def _thermometers(state: State, bed: str) -> list[Probe]:
    return [one for one in state.site.probes_of.get(bed, ()) if one.quantity == "temperature"]


def _came_out(state: State, probe: str, from_ms: int) -> bool:
    """Whether it lay far from the air, and in it for some looks since `from_ms`."""
    trail, air = state.honesty.trails.get(probe, []), state.site.honest.air_k * 100
    first = len(trail) - 1 - (state.honesty.looked_ms - from_ms) // _LOOK_MS
    was_far, inside = False, 0
    for at, gap in enumerate(trail):
        if gap is None or abs(gap) > air:
            was_far = was_far or (gap is not None and abs(gap) >= _FAR * air)
            inside = 0
        else:
            inside += 1
        if was_far and inside >= _LOOKS and at - inside + 1 >= first:
            return True
    return False


def questions(state: State) -> list[dict[str, Any]]:
    """One row a bed whose thermometers were not all seen to come out when it was emptied."""
    return [row for count in state.honesty.counts if (row := _asks(state, count))]


def _asks(state: State, count: Count) -> dict[str, Any] | None:
    record, place = state.pieces.find(count.n), state.site.place.get(count.bed)
    if record is None or record.void_n or place is None or state.at_ms < count.asked_ms:
        return None
    names = ", ".join(count.left[:_NAMED]) + (" …" if len(count.left) > _NAMED else "")
    at = moment.local(count.when_ms, state.site.time_zone, state.at_ms)
    seen = f"{count.of - len(count.left)} of {count.of} thermometers were seen to come out; not {names}"
    why = "a lost probe is a foreign body in food and a fire in the kiln"
    text = f"{place.name}: emptied at {at}, {seen}. Count them: {why}"
    return {
        "entry": count.n, "at": count.when_ms, "place": count.bed, "by": record.body.get("by"),
        "text": text, "perhaps": False, "turn": None,
    }  # fmt: skip
