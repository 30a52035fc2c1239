"""Every turn that is known, recorded or seen, as it is told: one `TurnKnown` a turn, by its number."""

from __future__ import annotations

from dataclasses import replace

from gateway.core.board_state import Out
from gateway.core.effects import TurnKnown
from gateway.core.estimate.turn_seen.merge import SURE
from gateway.core.follow import turns_join
from gateway.core.follow.turns_state import Seen
from gateway.core.journey.record import Record
from gateway.core.site import Place
from gateway.core.state import State

NOT_SHOWN = "probes did not show it"
NOBODY = "nobody recorded it"
PERHAPS = "perhaps"
VOID, WITHDRAWN = "void", "withdrawn"

Rows = dict[int, TurnKnown]


def rows(state: State) -> Rows:
    """Each turn as it is known now; the cause is not filled in."""
    seen = [one for ones in state.turns_seen.seen.values() for one in ones]
    of_record = {one.record_n: one for one in seen if one.record_n}
    found: Rows = {}
    for record in state.pieces.records:
        if record.turn and record.n > 0:
            found[record.turn] = _recorded(state, record, of_record.get(record.n))
    for one in seen:
        if one.turn and not one.record_n and one.seen.bed in state.site.place:
            found[one.turn] = _seen(state, one)
    return found


def tell(state: State, before: Rows, gone: set[int], out: Out) -> None:
    """What is known differently from before, in the order of the numbers; numbers that are none any more."""
    now = rows(state)
    for number in sorted(gone - now.keys()):
        if number in before:
            now[number] = replace(before[number], state=WITHDRAWN)
    for number in sorted(now):
        if before.get(number) != now[number]:
            out.effects.append(replace(now[number], cause=out.cause()))


def _recorded(state: State, record: Record, one: Seen | None) -> TurnKnown:
    body = record.body
    place = state.site.place.get(body["bed"])
    low, high = (place.from_m, place.to_m) if place else (None, None)
    known = TurnKnown(
        (0, 0),
        record.turn,
        body["bed"],
        body.get("from_m", low),
        body.get("to_m", high),
        "recorded",
        record.when_ms,
        record.when_ms,
        record.known_ms,
        body.get("by"),
        state=_state(record, one),
    )
    return known if one is None else _with_seen(replace(known, source="both"), one)


def _state(record: Record, one: Seen | None) -> str:
    if record.void_n:
        return VOID
    if record.odd and not record.upheld:
        return "flagged"
    unshown = one is None and record.marks.get("unshown") and not record.upheld
    return NOT_SHOWN if unshown else "kept"


def _with_seen(known: TurnKnown, one: Seen) -> TurnKnown:
    seen = one.seen
    return replace(
        known,
        began_at_ms=seen.began_ms,
        ended_at_ms=seen.ended_ms,
        known_at_ms=min(known.known_at_ms, one.known_ms),
        sureness=seen.sureness,
        fall_k=seen.fall_k,
        spread_before_k=seen.spread_before_k,
        spread_after_k=seen.spread_after_k,
    )


def _seen(state: State, one: Seen) -> TurnKnown:
    seen = one.seen
    low, high = _metres(state.site.place[seen.bed], one)
    known = TurnKnown(
        (0, 0), one.turn, seen.bed, low, high, "seen", seen.began_ms, seen.ended_ms, one.known_ms, None,
        state=_seen_state(state, one),
    )  # fmt: skip
    return _with_seen(known, one)


def _metres(place: Place, one: Seen) -> tuple[float | None, float | None]:
    """A bed whose stretch the site does not give has none."""
    if place.from_m is None or place.to_m is None:
        return None, None
    return one.seen.from_m, one.seen.to_m


def _seen_state(state: State, one: Seen) -> str:
    if not one.is_turn:
        return WITHDRAWN
    was = turns_join.explained(state, one)
    if was == "couch-broken" and not one.no_n:
        # A couch is turned when it is broken.
        return "kept"
    if one.no_n or was:
        return VOID
    return PERHAPS if one.seen.sureness < SURE else NOBODY
