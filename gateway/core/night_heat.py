"""Heat that the night will bring, said in the evening and not at three in the morning.

A bed is told of that will be at its high limit before the morning by its heat balance (the middle of what is
said, and only where a band can be told), and that tonight's list does not help: nobody gets to it by then, or
the room is so warm that a turn cools little. Once an evening, to the maltster and the first on shift.
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core import daily, night, people
from gateway.core.board_state import Out
from gateway.core.callout import Calling, Now, Ring
from gateway.core.inputs import Delivery
from gateway.core.piece import in_couch
from gateway.core.rules import heat, room_near
from gateway.core.rules.limits import level_of
from gateway.core.rules.reach import Reach, surely
from gateway.core.site import Place
from gateway.core.state import State
from gateway.core.wording import night as wording_night
from gateway.core.wording.alarm import Words


class Hot(NamedTuple):
    """A bed that will be at its high limit: when, when the list turns it (None: not by then), a warm room."""

    place: Place
    piece: str | None
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
        if level is None or state.guard("bed_hot", place.id).rank >= heat.HIGH:
            continue
        reach = surely(state, place, level.name)
        if reach is None or reach.at_ms > until_ms:
            continue
        turn = next((job for job in jobs if job.place == place.id), None)
        room_c = room_near.near_c(state, place, level.limit)
        if turn is None or turn.start_ms + turn.takes_ms > reach.at_ms or room_c is not None:
            turn_ms = turn.start_ms if turn else None
            couch, piece = (in_couch(lying, state.at_ms), lying.piece) if lying else (False, None)
            hot.append(Hot(place, piece, level.limit, reach, turn_ms, room_c, couch))
    return hot


def start(state: State) -> None:
    """Begin to wait for the next evening by the site's clock."""
    state.heats.word.at_ms = 0
    look_ahead(state)


def look_ahead(state: State) -> None:
    """Set the running time before which it cannot be time; a clock set back brings the evening nearer."""
    now, word = Now(state.at_ms, state.run_ms), state.heats.word
    word.at_ms, word.run_ms = daily.ahead(state.site, now, state.site.callout.forecast_min, word.at_ms)


def tick(state: State, out: Out) -> None:
    """If it is time, tell of the heat to come; nothing is sent where there is none."""
    word = state.heats.word
    late_ms = daily.late_ms(Now(state.at_ms, state.run_ms), word.at_ms)
    if late_ms is None:
        look_ahead(state)
        return
    wait_ms = daily.wait_run_ms(state.broker_lost, state.settling_from_ms, state.run_ms)
    if wait_ms is not None and late_ms <= daily.TOO_LATE_MS:
        word.run_ms = wait_ms
        return
    start(state)
    word.calling = Calling()
    if late_ms > daily.TOO_LATE_MS:
        return
    hot = found(state, night.morning_ms(state))
    if hot:
        readers = [
            people.morning_reader(state.site, state.at_ms),
            *people.on_shift(state.site, state.at_ms)[:1],
        ]
        _send(state, daily.first(state.site, word.calling, [who for who in readers if who]), hot, out)


def delivery(state: State, what: Delivery, out: Out) -> None:
    """If the word was not delivered, the reader's next phone and the next person get it."""
    calling = state.heats.word.calling
    if not daily.is_newest(calling, what):
        return
    if what.outcome == "delivered":
        # There are two readers: that one has it does not tell of the other.
        del calling.notices[what.phone]
        return
    rings = daily.after(state.site, calling, Now(state.at_ms, state.run_ms), what.phone)
    hot = found(state, night.morning_ms(state))
    if hot:
        _send(state, rings, hot, out)


def _send(state: State, rings: list[Ring], hot: list[Hot], out: Out) -> None:
    lines = [_line(bed) for bed in hot]

    def words(number: int) -> Words:
        return wording_night.heat_to_come(state.site, lines, number)

    daily.send(state.board, state.heats.word.calling, rings, words, Now(state.at_ms, state.run_ms), out)


def _line(bed: Hot) -> wording_night.Heat:
    early_ms = bed.reach.at_ms if bed.reach.early_ms is None else bed.reach.early_ms
    return wording_night.Heat(
        bed.place.id, bed.piece, bed.limit_c, early_ms, bed.reach.late_ms, bed.turn_ms, bed.room_c, bed.couch
    )
