"""The morning list: once a day, one notice that names what stands, for alarms too low to ring anybody."""

from __future__ import annotations

from gateway.core import callout, people, wording
from gateway.core.alarm import State
from gateway.core.board_state import BoardState, Out, Standing, notice
from gateway.core.callout import Calling, Now, Ring
from gateway.core.inputs import Delivery
from gateway.core.site import Site


def start(board: BoardState, site: Site, now: Now) -> None:
    """Begin to wait for the next morning by the site's clock."""
    board.morning_at_ms = people.next_instant_ms(site.time_zone, now.at_ms, site.callout.morning_min)
    look_ahead(board, site, now)


def look_ahead(board: BoardState, site: Site, now: Now) -> None:
    """Set the running time before which it cannot be morning; a clock set back brings the morning nearer."""
    soonest = people.next_instant_ms(site.time_zone, now.at_ms, site.callout.morning_min)
    board.morning_at_ms = min(board.morning_at_ms or soonest, soonest)
    board.morning_run_ms = now.run_ms + max(0, board.morning_at_ms - now.at_ms)


def tick(board: BoardState, site: Site, now: Now, out: Out) -> list[Standing]:
    """Send the list if it is morning; returns the alarms it named that had gone off by themselves."""
    if not board.morning_at_ms or now.at_ms < board.morning_at_ms:
        look_ahead(board, site, now)
        return []
    start(board, site, now)
    board.morning = Calling()
    reader = people.morning_reader(site, now.at_ms)
    if reader is not None and board.standing:
        board.morning.called[reader] = 1
        _send(board, site, [Ring(reader, site.phones_of[reader][0].id, "call")], now, out)
    return [alarm for alarm in board.standing.values() if alarm.state is State.RETURNED]


def delivery(board: BoardState, site: Site, what: Delivery, now: Now, out: Out) -> None:
    """If the list was not delivered, the reader's next phone and the next person get it."""
    if board.morning.notices.get(what.phone) != what.notice:
        return
    if what.outcome == "delivered":
        board.morning = Calling()
    else:
        rings = callout.phone_failed(board.morning, site, "medium", now, what.phone)
        _send(board, site, rings, now, out)


def _send(board: BoardState, site: Site, rings: list[Ring], now: Now, out: Out) -> None:
    lines = [
        wording.Line(alarm.number, alarm.finding, callout.grade(alarm.priority))
        for alarm in board.standing.values()
    ]
    for one in rings:
        words = wording.morning(lines, site, now.at_ms, board.next_notice)
        board.morning.notices[one.phone] = board.next_notice
        notice(board, one, words, "low", now, out)
