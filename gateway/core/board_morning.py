"""The morning list: once a day, one notice that names what stands, for alarms too low to ring anybody."""

from __future__ import annotations

from gateway.core import callout, daily, people
from gateway.core.alarm import State
from gateway.core.board_state import BoardState, Out, Standing
from gateway.core.callout import Calling, Now, Ring
from gateway.core.inputs import Delivery
from gateway.core.site import Site
from gateway.core.wording import alarm as wording


def start(board: BoardState, site: Site, now: Now) -> None:
    """Begin to wait for the next morning by the site's clock."""
    board.morning_at_ms = 0
    look_ahead(board, site, now)


def look_ahead(board: BoardState, site: Site, now: Now) -> None:
    """Set the running time before which it cannot be morning; a clock set back brings the morning nearer."""
    minute = site.callout.morning_min
    board.morning_at_ms, board.morning_run_ms = daily.ahead(site, now, minute, board.morning_at_ms)


def tick(board: BoardState, site: Site, now: Now, out: Out) -> list[Standing]:
    """Send the list if it is morning; returns the alarms it named that had gone off by themselves."""
    if daily.late_ms(now, board.morning_at_ms) is None:
        look_ahead(board, site, now)
        return []
    start(board, site, now)
    board.morning = Calling()
    reader = people.morning_reader(site, now.at_ms)
    if reader is not None and board.standing:
        _send(board, site, daily.first(site, board.morning, [reader]), now, out)
    return [alarm for alarm in board.standing.values() if alarm.state is State.RETURNED]


def delivery(board: BoardState, site: Site, what: Delivery, now: Now, out: Out) -> None:
    """If the list was not delivered, the reader's next phone and the next person get it."""
    if not daily.is_newest(board.morning, what):
        return
    if what.outcome == "delivered":
        board.morning = Calling()
    else:
        _send(board, site, daily.after(site, board.morning, now, what.phone), now, out)


def _send(board: BoardState, site: Site, rings: list[Ring], now: Now, out: Out) -> None:
    lines = [
        wording.Line(alarm.number, alarm.finding, callout.grade(alarm.priority))
        for alarm in board.standing.values()
    ]
    daily.send(
        board, board.morning, rings, lambda number: wording.morning(lines, site, now.at_ms, number), now, out
    )
