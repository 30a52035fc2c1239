"""Heat that the night will bring, said in the evening and not at three in the morning.

A bed is told of that will be at its high limit before the morning by its heat balance (the middle of what is
said, and only where a band can be told), and that tonight's list does not help: nobody gets to it by then, or
the room is so warm that a turn cools little. Once an evening, to the maltster and the first on shift.
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core import callout, night, people, wording_night
from gateway.core.board_state import Out, notice
from gateway.core.callout import Calling, Now, Ring
from gateway.core.inputs import Delivery
from gateway.core.piece import in_couch
from gateway.core.rules import heat, room_near
from gateway.core.rules.limits import level_of
from gateway.core.rules.reach import Reach, surely
from gateway.core.site import Place
from gateway.core.state import State

#: The word is not sent when the gateway comes back only so long after (ours).
_TOO_LATE_MS = 4 * 3_600_000


class Hot(NamedTuple):
    """A bed that will be at its high limit: when, when the list turns it (None: not by then), a warm room."""

    place: Place
    piece: str
    limit_c: float
    reach: Reach
    turn_ms: int | None
    room_c: float | None
    couch: bool = False


def found(state: State, until_ms: int) -> list[Hot]:
    """The beds that will be too hot before then, in walking order, though tonight's list is done."""
    jobs = [job for job in night.plan(state, until_ms) if job.what == "turn" and job.fits]
    hot = []
    for place in night.walk(state):
        lying = state.pieces.beds.get(place.id)
        level = level_of(heat.ladder_for(state, place, "bed_hot", state.at_ms), heat.HIGH)
        if lying is None or level is None or state.guard("bed_hot", place.id).rank >= heat.HIGH:
            continue
        reach = surely(state, place, level.name)
        if reach is None or reach.at_ms > until_ms:
            continue
        turn = next((job for job in jobs if job.place == place.id), None)
        room_c = room_near.near_c(state, place, level.limit)
        if turn is None or turn.start_ms + turn.takes_ms > reach.at_ms or room_c is not None:
            turn_ms = turn.start_ms if turn else None
            couch = in_couch(lying, state.at_ms)
            hot.append(Hot(place, lying.piece, level.limit, reach, turn_ms, room_c, couch))
    return hot


def start(state: State) -> None:
    """Begin to wait for the next evening by the site's clock."""
    word, minute = state.heats.word, state.site.callout.forecast_min
    word.at_ms = people.next_instant_ms(state.site.time_zone, state.at_ms, minute)
    look_ahead(state)


def look_ahead(state: State) -> None:
    """Set the running time before which it cannot be time; a clock set back brings the evening nearer."""
    word, minute = state.heats.word, state.site.callout.forecast_min
    soonest = people.next_instant_ms(state.site.time_zone, state.at_ms, minute)
    word.at_ms = min(word.at_ms or soonest, soonest)
    word.run_ms = state.run_ms + max(0, word.at_ms - state.at_ms)


def tick(state: State, out: Out) -> None:
    """If it is time, tell of the heat to come; nothing is sent where there is none."""
    word = state.heats.word
    if not word.at_ms or state.at_ms < word.at_ms:
        look_ahead(state)
        return
    late_ms = state.at_ms - word.at_ms
    start(state)
    word.calling = Calling()
    if late_ms > _TOO_LATE_MS:
        return
    hot = found(state, night.morning_ms(state))
    if hot:
        readers = [
            people.morning_reader(state.site, state.at_ms),
            *people.on_shift(state.site, state.at_ms)[:1],
        ]
        rings = [Ring(who, state.site.phones_of[who][0].id, "call") for who in dict.fromkeys(readers) if who]
        word.calling.called = {ring.person: 1 for ring in rings}
        _send(state, rings, hot, out)


def delivery(state: State, what: Delivery, out: Out) -> None:
    """If the word was not delivered, the reader's next phone and the next person get it."""
    calling = state.heats.word.calling
    if calling.notices.get(what.phone) != what.notice:
        return
    if what.outcome == "delivered":
        del calling.notices[what.phone]
        return
    now = Now(state.at_ms, state.run_ms)
    rings = callout.phone_failed(calling, state.site, "medium", now, what.phone)
    hot = found(state, night.morning_ms(state))
    if hot:
        _send(state, rings, hot, out)


def _send(state: State, rings: list[Ring], hot: list[Hot], out: Out) -> None:
    now = Now(state.at_ms, state.run_ms)
    for one in rings:
        lines = [_line(bed) for bed in hot]
        words = wording_night.heat_to_come(state.site, lines, state.board.next_notice)
        state.heats.word.calling.notices[one.phone] = state.board.next_notice
        notice(state.board, one, words, "low", now, out)


def _line(bed: Hot) -> wording_night.Heat:
    early_ms = bed.reach.at_ms if bed.reach.early_ms is None else bed.reach.early_ms
    return wording_night.Heat(
        bed.place.id, bed.piece, bed.limit_c, early_ms, bed.reach.late_ms, bed.turn_ms, bed.room_c, bed.couch
    )
