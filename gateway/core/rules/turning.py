"""The turn clock, per stretch: due and overdue hours after the last turn, by the stage of the piece.

Common practice, no source: due at 8 h, overdue at 12 h; both are the programme's, as are the fixed rounds. It
runs from the part that has waited longest. In the couch, and where no cast is recorded, there is no clock.
What else makes a bed want turning is in `due`.
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core import people
from gateway.core.finding import Finding, Subject
from gateway.core.piece import Lying, Order, Part, day_figure, day_of, hours_since_cast, in_couch, oldest_part
from gateway.core.rules.air_said import short
from gateway.core.rules.heat import extreme, newest_turn
from gateway.core.site import Place
from gateway.core.state import NEVER_MS, State

_HOUR_MS, _MINUTE_MS = 3_600_000, 60_000
#: A piece recorded days late has turns nobody has typed in yet: so long nobody is called for it (ours).
LATE_ENTRY_MS = 30 * 60_000
#: A turn so little before a round is that round's turn (ours).
ROUND_EARLY_MS = 2 * _HOUR_MS


class Turning(NamedTuple):
    """When a bed wants turning (Unix ms), and from where to where."""

    due_ms: int
    overdue_ms: int
    from_m: float
    to_m: float
    whole: bool
    last_ms: int | None
    by: str | None = None


def clock(state: State, place: Place) -> Turning | None:
    """The bed's turn clock; None in the couch, without a piece or without a programme."""
    lying = state.pieces.beds.get(place.id)
    programme = state.programme(place)
    if lying is None or not programme.days or in_couch(lying, state.at_ms):
        return None
    part = oldest_part(lying)
    since_ms = part.turned_ms
    if not lying.turned and lying.couch_ends_ms is not None:
        # A lapsed couch lay for its longest time before turning was anybody's business.
        since_ms = max(since_ms, min(state.at_ms, lying.couch_ends_ms))
    due, overdue = _from(state, place, lying, part, since_ms)
    if not lying.turned and lying.known_ms > lying.cast_ms:
        overdue = max(overdue, lying.known_ms + LATE_ENTRY_MS)
    order = state.pieces.order(place.id, state.at_ms) or _ended_order(state, place, since_ms)
    if order is not None:
        due, overdue = max(due, order.until_ms), max(overdue, order.until_ms)
    whole = len({piece.turned_ms for piece in lying.parts}) == 1
    return Turning(due, overdue, part.from_m, part.to_m, whole, since_ms if lying.turned else None, part.by)


def _ended_order(state: State, place: Place, since_ms: int) -> Order | None:
    """The order that ended and was not followed by a turn yet: what it put off was wanted by its end."""
    order = state.pieces.now.orders.get(place.id)
    return order if order is not None and since_ms < order.until_ms <= state.at_ms else None


def _from(state: State, place: Place, lying: Lying, part: Part, since_ms: int) -> tuple[int, int]:
    """Due and overdue of a stretch that was last turned then, before any standing order.

    A ploughing puts off due, never overdue: it parts the rootlets and leaves the heat where it was. A chilled
    piece waits for its matting time: turning would only chill it more. Rounds stand in for the hours of due.
    """
    figures = state.programme(place).turning
    due_h, overdue_h = longest_h(state, place, lying)
    overdue = since_ms + int(overdue_h * _HOUR_MS)
    if figures.rounds:
        due = next_round_ms(state, place, since_ms)
        # Rounds may be further apart than that: nobody is late for one before its turn could be done.
        overdue = max(overdue, due + int(figures.turn_takes_min * _MINUTE_MS))
    else:
        due = since_ms + int(due_h * _HOUR_MS)
    if part.ploughed_ms > since_ms:
        due = max(due, min(part.ploughed_ms + int(figures.plough_h * _HOUR_MS), overdue))
    if chilled(state, place) and figures.mat_h > due_h:
        mats = since_ms + int(figures.mat_h * _HOUR_MS)
        due, overdue = max(due, mats), max(overdue, mats + int((overdue_h - due_h) * _HOUR_MS))
    return due, overdue


def longest_h(state: State, place: Place, lying: Lying) -> tuple[float, float]:
    """Hours after a turn at which the next is due, and overdue, at this stage of the piece."""
    programme, hours = state.programme(place), hours_since_cast(lying, state.at_ms)
    due_h, overdue_h = day_figure(programme, hours, "due_h"), day_figure(programme, hours, "overdue_h")
    if lying.withering:
        figures = programme.turning
        return max(due_h, figures.withering_due_h), max(overdue_h, figures.withering_overdue_h)
    return due_h, overdue_h


def next_round_ms(state: State, place: Place, turned_ms: int) -> int:
    """The first round after a turn that is not that turn's own, of a programme that has rounds."""
    zone, rounds = state.site.time_zone, state.programme(place).turning.rounds
    return min(people.next_instant_ms(zone, turned_ms + ROUND_EARLY_MS, minute) for minute in rounds)


def chilled(state: State, place: Place) -> bool:
    """Whether the piece was found chilled at the newest sample: then no turning by clock alone."""
    want = state.wants.get(place.id)
    return want is not None and want.chilled


def judge(state: State) -> list[Finding]:
    """Beds that became overdue or no longer are."""
    found = []
    for place in state.site.places:
        if place.kind != "bed":
            continue
        turning = clock(state, place)
        overdue = turning is not None and state.at_ms >= turning.overdue_ms
        if overdue != (place.id in state.overdue):
            if overdue:
                state.overdue.append(place.id)
            else:
                state.overdue.remove(place.id)
            found.append(finding(state, place))
    return found


def next_run_ms(state: State) -> int:
    """A running time before which no bed becomes overdue."""
    offset = state.axis.offset_ms
    waiting = [NEVER_MS]
    for place in state.site.places:
        lying = state.pieces.beds.get(place.id)
        if lying is None or place.kind != "bed" or place.id in state.overdue:
            continue
        turning = clock(state, place)
        if turning is None:
            waiting.append((lying.couch_ends_ms or NEVER_MS) - offset)
        else:
            # The ramp between days may shorten the hours: look again at least every ten minutes.
            waiting.append(
                max(turning.overdue_ms - offset, state.run_ms) if _flat(state, place) else state.run_ms
            )
    return min(waiting)


def _flat(state: State, place: Place) -> bool:
    """Whether all days of the programme allow the same time between turns."""
    return len({day.overdue_h for day in state.programme(place).days}) == 1


def finding(state: State, place: Place) -> Finding:
    """The finding as it stands now."""
    turning = clock(state, place)
    lying = state.pieces.beds.get(place.id)
    best = extreme(state, place.id, 1)
    window = best[1] if best else None
    detail = ""
    if turning is not None and not turning.whole:
        detail = f"{stretch_words(place, turning.from_m, turning.to_m)} not done"
    return Finding(
        Subject("turn_overdue", place.id),
        place.id in state.overdue,
        "medium",
        "overdue",
        1,
        value=window.value if window else None,
        unit="Cel",
        measured_at_ms=window.measured_ms if window else None,
        since_ms=turning.overdue_ms if turning else None,
        trend_per_h=window.trend_per_h(newest_turn(state, place.id)) if window else None,
        hottest_probe=best[0].id if best else None,
        piece=lying.piece if lying else None,
        day=day_of(lying, state.at_ms) if lying else None,
        last_turned_ms=turning.last_ms if turning else None,
        wanted_by_ms=turning.due_ms if turning else None,
        detail=detail,
        air=short(state, place),
    )


def stretch_words(place: Place, from_m: float, to_m: float) -> str:
    """A stretch of a bed as people say it: its steep-end or kiln-end half or third, else metres."""
    if place.from_m is not None and place.to_m is not None:
        length = place.to_m - place.from_m
        for name, share in (("half", 1 / 2), ("third", 1 / 3)):
            near = 0.05 * length
            if abs(to_m - from_m - share * length) <= near:
                if abs(from_m - place.from_m) <= near:
                    return f"steep-end {name}"
                if abs(to_m - place.to_m) <= near:
                    return f"kiln-end {name}"
    return f"{from_m:g}-{to_m:g} m"
