"""What is to be asked of people about turns: those nobody recorded, and those the probes did not show."""

from __future__ import annotations

from typing import Any

from gateway.core import moment
from gateway.core.estimate.turn_seen.merge import SURE
from gateway.core.follow import turns_join
from gateway.core.follow.turns_rows import NOT_SHOWN
from gateway.core.follow.turns_state import Seen
from gateway.core.rules.turning import stretch_words
from gateway.core.state import State

#: Older ones are asked about no more.
ASKED_MS = 48 * 3_600_000


def questions(state: State) -> list[dict[str, Any]]:
    """One row a question, oldest first; `perhaps`: `turned BED --at` says yes, `not-turned BED` says no."""
    seen = [one for ones in state.turns_seen.seen.values() for one in ones]
    found = [row for one in seen if (row := _asks(state, one))]
    for record in state.pieces.records:
        asked = record.marks.get("unshown") and not record.void_n and not record.upheld and not record.odd
        if asked and state.at_ms - record.when_ms <= ASKED_MS and record.body["bed"] in state.site.place:
            name, at = state.site.place[record.body["bed"]].name, _clock(state, record.when_ms)
            text = f"{name}: turned at {at}, as recorded; {NOT_SHOWN}"
            found.append(
                {"entry": record.n, "at": record.when_ms, "place": record.body["bed"],
                 "by": record.body.get("by"), "text": text, "perhaps": False, "turn": record.turn}
            )  # fmt: skip
    return sorted(found, key=lambda row: (row["at"], row["place"]))


def _asks(state: State, one: Seen) -> dict[str, Any] | None:
    seen = one.seen
    lying = state.pieces.beds.get(seen.bed)
    if one.record_n or one.part or one.no_n or seen.state != "seen" or seen.bed not in state.site.place:
        return None
    if state.at_ms - one.middle_ms > ASKED_MS or turns_join.explained(state, one):
        return None
    if seen.bed in state.pieces.empty or (lying is not None and one.middle_ms < lying.cast_ms):
        # What lay there is gone; nobody needs to know any more.
        return None
    if seen.kind == "ploughed" and _turned_near(state, one):
        return None
    return {
        "entry": None,
        "at": one.middle_ms,
        "place": seen.bed,
        "by": None,
        "text": f"{state.site.place[seen.bed].name}: {_words(state, one)}",
        "perhaps": seen.kind != "ploughed",
        "turn": one.turn or None,
    }


def _turned_near(state: State, one: Seen) -> bool:
    return any(turns_join.meets(state, r, one) for r in turns_join.recorded(state, one.seen.bed))


def _words(state: State, one: Seen) -> str:
    seen, at = one.seen, _clock(state, one.middle_ms)
    if seen.kind == "ploughed":
        return f"ploughed about {at}? Nobody recorded it"
    if seen.sureness < SURE:
        alone = "Only one probe shows it, which may have been pulled out"
        return f"perhaps turned about {at}? {alone if len(seen.probes) == 1 else 'Nobody recorded it'}"
    if turns_join.in_couch(state, one):
        return f"couch broken about {at}? Nobody recorded it"
    place = state.site.place[seen.bed]
    low, high = place.from_m, place.to_m
    part = ""
    if low is not None and high is not None and seen.to_m - seen.from_m < high - low - 1.0:
        part = f" ({stretch_words(place, seen.from_m, seen.to_m)})"
    return f"turned about {at}{part}? Nobody recorded it"


def _clock(state: State, at_ms: int) -> str:
    return moment.local(at_ms, state.site.time_zone, state.at_ms)
