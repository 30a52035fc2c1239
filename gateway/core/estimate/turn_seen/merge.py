"""One turn, told twice: by the person who did it and by the probes.

A recorded turn and a seen one are the same where their times and their stretches meet. A recorded one that
the probes could have shown and did not is kept: "probes did not show it". A seen one that nobody recorded is
to be asked about.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from gateway.core.estimate.turn_seen.bed import TurnSeen

#: People record at the start, at the end, or at the next cup of tea: this far from the turn (grade D).
RECORDED_NEAR_MS = 5_400_000
#: The probes have shown a turn by now, if they ever will: the last is back, has settled, and is told.
SHOWN_WITHIN_MS = 3_600_000
#: A seen turn is one somebody did, unless it is less sure than this: then it asks, and resets nothing.
SURE = 0.5


class Recorded(NamedTuple):
    """A turn somebody recorded: when it was done, as they say (Unix ms), which stretch (None: to the end)."""

    turn: int
    at_ms: int
    from_m: float | None = None
    to_m: float | None = None


class Merged(NamedTuple):
    """One turn of a bed. `source`: "recorded", "seen" or "both".

    `state`: "kept"; "probes did not show it" (recorded, and the time for showing it is over); "waiting"
    (recorded, the probes may still show it); "nobody recorded it"; "perhaps" (seen by too little).
    """

    source: str
    state: str
    recorded: int | None
    seen: int | None


def merge(
    recorded: Sequence[Recorded], seen: Sequence[TurnSeen], now_ms: int, watched: bool = True
) -> list[Merged]:
    """Join one bed's recorded and seen turns, each at most once, the nearest in time first.

    Withdrawn ones and ploughings are left out: they are no turns. `watched`: whether two good probes were in
    the grain to show a recorded turn; where not, one that is not seen is simply kept. Recorded ones come
    first, in their order, then what nobody recorded.
    """
    turns = [one for one in seen if one.state == "seen" and one.kind != "ploughed"]
    pairs = sorted(
        (_apart_ms(mark, turn), i, k)
        for i, mark in enumerate(recorded)
        for k, turn in enumerate(turns)
        if _apart_ms(mark, turn) <= RECORDED_NEAR_MS and _meet(mark, turn)
    )
    of_recorded: dict[int, int] = {}
    for _, i, k in pairs:
        if i not in of_recorded and k not in of_recorded.values():
            of_recorded[i] = k
    merged = []
    for i, mark in enumerate(recorded):
        if i in of_recorded:
            merged.append(Merged("both", "kept", mark.turn, turns[of_recorded[i]].turn))
        else:
            merged.append(Merged("recorded", _unseen(mark, now_ms, watched), mark.turn, None))
    alone = [turn for k, turn in enumerate(turns) if k not in of_recorded.values()]
    return merged + [
        Merged("seen", "perhaps" if turn.sureness < SURE else "nobody recorded it", None, turn.turn)
        for turn in alone
    ]


def _unseen(mark: Recorded, now_ms: int, watched: bool) -> str:
    if not watched:
        return "kept"
    return "waiting" if now_ms < mark.at_ms + SHOWN_WITHIN_MS else "probes did not show it"


def _apart_ms(mark: Recorded, turn: TurnSeen) -> int:
    """How far a recorded moment lies outside a seen turn; 0 inside it."""
    return max(0, turn.began_ms - mark.at_ms, mark.at_ms - turn.ended_ms)


def _meet(mark: Recorded, turn: TurnSeen) -> bool:
    low = turn.from_m if mark.from_m is None else mark.from_m
    high = turn.to_m if mark.to_m is None else mark.to_m
    return min(low, high) <= turn.to_m and max(low, high) >= turn.from_m
