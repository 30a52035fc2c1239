"""Turns recorded and turns seen are one account: which is which, their numbers, and what the clock takes.

It is worked out anew, from what people recorded and what the probes tell now, whenever either has changed:
so a turn that is told better, recorded late, corrected or taken back leaves nothing behind.
"""

from __future__ import annotations

from bisect import bisect_left

from gateway.core.estimate.turn_seen.merge import RECORDED_NEAR_MS, SURE, Recorded, merge
from gateway.core.follow.turns_state import Seen
from gateway.core.inputs_journey import NotTurned
from gateway.core.journey.ground import extent
from gateway.core.journey.record import Record
from gateway.core.site import Place
from gateway.core.state import State

#: What else was recorded this near explains what the probes saw.
_EXPLAINS_MS = 2_700_000
#: Metres by which stretches may differ and still be one.
_ABOUT_M = 0.5
_EXPLAINS = ("ploughed", "couch-broken", "cast", "moved", "loaded")


def join(state: State) -> set[int]:
    """Pair, number, and give the clock what only the probes tell; the numbers that are no turn's any more."""
    turns, gone = state.turns_seen, set[int]()
    for bed in sorted({*turns.seen, *(r.body["bed"] for r in state.pieces.records if _turn_of(state, r))}):
        gone |= _join_bed(state, bed, turns.seen.get(bed, []))
    wanted = [_entry(state, one) for ones in turns.seen.values() for one in ones if _moves_clock(state, one)]
    state.pieces.show(state.site, wanted, {one.n for ones in turns.seen.values() for one in ones})
    return gone


def deny(state: State, what: NotTurned, n: int) -> None:
    """Somebody says that there was no such turn: that of the number, or the nearest nobody recorded."""
    open_ones = [one for one in state.turns_seen.seen.get(what.bed, []) if not one.record_n]
    if what.turn is not None:
        open_ones = [one for one in open_ones if one.turn == what.turn]
    at_ms = state.at_ms if what.when_ms is None else what.when_ms
    best = min(open_ones, key=lambda one: abs(one.middle_ms - at_ms), default=None)
    if best is not None:
        best.no_n = n


def recorded(state: State, bed: str) -> list[Record]:
    """The bed's turns that people recorded and have not taken back, in order of time."""
    return [r for r in state.pieces.records if _turn_of(state, r) and not r.void_n and r.body["bed"] == bed]


def meets(state: State, record: Record, one: Seen) -> bool:
    """Whether an entry's time and stretch meet what the probes saw."""
    seen = one.seen
    low, high = stretch(state.site.place[record.body["bed"]], record)
    apart_ms = max(seen.began_ms - record.when_ms, record.when_ms - seen.ended_ms)
    return apart_ms <= RECORDED_NEAR_MS and low <= seen.to_m and high >= seen.from_m


def stretch(place: Place, record: Record) -> tuple[float, float]:
    """The metres an entry speaks of."""
    _, low, high = extent(place)
    start, end = record.body.get("from_m"), record.body.get("to_m")
    start, end = low if start is None else start, high if end is None else end
    return min(start, end), max(start, end)


def explained(state: State, one: Seen) -> str:
    """What else was recorded of the bed at the time: ploughed, couch-broken, cast, moved, loaded, or ""."""
    records = state.pieces.records
    first = bisect_left(records, one.seen.began_ms - _EXPLAINS_MS, key=lambda record: record.when_ms)
    for record in records[first:]:
        if record.when_ms > one.seen.ended_ms + _EXPLAINS_MS:
            break
        beds = record.body.get("bed"), record.body.get("to")
        if record.word in _EXPLAINS and not record.void_n and one.seen.bed in beds:
            return record.word
    return ""


def in_couch(state: State, one: Seen) -> bool:
    """Whether what lay there then lies in the couch still, for all that was recorded."""
    lying = state.pieces.beds.get(one.seen.bed)
    return lying is not None and lying.couch_ends_ms is not None and one.middle_ms < lying.couch_ends_ms


def _join_bed(state: State, bed: str, seen: list[Seen]) -> set[int]:
    marks = recorded(state, bed)
    by_n, by_id = {record.n: record for record in marks}, {one.seen.turn: one for one in seen}
    told = [Recorded(r.n, r.when_ms, r.body.get("from_m"), r.body.get("to_m")) for r in marks]
    for one in seen:
        one.record_n, one.part = 0, False
    gone: set[int] = set()
    for pair in merge(told, [one.seen for one in seen], state.at_ms):
        if pair.recorded is not None and pair.seen is not None:
            gone |= _one(state, by_n[pair.recorded], by_id[pair.seen])
    for one in seen:
        if not one.record_n and one.is_turn:
            one.part = any(meets(state, record, one) and _covers(state, record, one) for record in marks)
            if one.part:
                gone |= {one.turn} - {0}
                one.turn = 0
            elif not one.turn:
                one.turn = _number(state)
    paired = {one.record_n for one in seen}
    numbers = {one.turn for ones in state.turns_seen.seen.values() for one in ones}
    for record in marks:
        if record.n not in paired and (not record.turn or record.turn in numbers):
            record.mark("turn", _number(state))
    return gone


def _one(state: State, record: Record, one: Seen) -> set[int]:
    """The two are one turn, under the number that was given first."""
    given = sorted({record.turn, one.turn} - {0})
    number = given[0] if given else _number(state)
    record.mark("turn", number)
    record.mark("unshown", False)
    record.mark("alike", False)
    one.turn, one.record_n = number, record.n
    return set(given[1:])


def _covers(state: State, record: Record, one: Seen) -> bool:
    low, high = stretch(state.site.place[record.body["bed"]], record)
    return low <= one.seen.from_m + _ABOUT_M and high >= one.seen.to_m - _ABOUT_M


def _number(state: State) -> int:
    state.turns += 1
    return state.turns


def _turn_of(state: State, record: Record) -> bool:
    return record.word == "turned" and record.n > 0 and record.body.get("bed") in state.site.place


def trusted(state: State, one: Seen) -> bool:
    """Whether the bed's programme lets what the probes saw restart its turn clock."""
    place = state.site.place.get(one.seen.bed)
    trust = "recorded" if place is None else state.programme(place).turning.trust
    return trust == "perhaps" or (trust == "sure" and one.seen.sureness >= SURE)


def _moves_clock(state: State, one: Seen) -> bool:
    if not one.is_turn or one.record_n or one.part or one.no_n or not trusted(state, one):
        return False
    # What breaks a couch is asked about: its limits are not given up for what nobody recorded.
    return not in_couch(state, one) and not explained(state, one)


def _entry(state: State, one: Seen) -> Record:
    """The turn as it stands among what people recorded."""
    seen = one.seen
    _, low, high = extent(state.site.place[seen.bed])
    body: dict[str, object] = {"bed": seen.bed}
    if seen.from_m > low + _ABOUT_M:
        body["from_m"] = seen.from_m
    if seen.to_m < high - _ABOUT_M:
        body["to_m"] = seen.to_m
    when_ms = min(one.middle_ms, state.at_ms)
    body["when_ms"] = when_ms
    return Record(one.n, when_ms, min(one.known_ms, state.at_ms), "turned", body)
