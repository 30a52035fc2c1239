"""The night's work as one list, and whether one person can do it; what cannot is said in the evening.

One person does one thing at a time. A bed may be turned an hour before its time and half an hour after; what
then still clashes does not fit (the hour, the half hour and the time a steep takes are ours, no source). A
bed turned early in the night wants turning again before the morning: that turn is on the list, too.
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core import callout, people, wording_night
from gateway.core.board_state import Out, notice
from gateway.core.callout import Calling, Now, Ring
from gateway.core.inputs import Delivery
from gateway.core.piece import day_figure, hours_since_cast
from gateway.core.rules import due as dues
from gateway.core.rules import steeping
from gateway.core.rules.reach import AHEAD, Forecast
from gateway.core.site import Place
from gateway.core.state import State

_HOUR_MS = 3_600_000
_EARLY_MS, _SLACK_MS = _HOUR_MS, _HOUR_MS // 2
_STEEP_TAKES_MS = _HOUR_MS // 3
#: No bed is reckoned to want turning more often than this, whatever its trend says.
_LEAST_GAP_MS = 2 * _HOUR_MS
#: The evening's word is not sent when the gateway comes back only so long after.
_TOO_LATE_MS = 4 * _HOUR_MS


class Job(NamedTuple):
    """One thing to do at a place: when to start (Unix ms), how long it takes. `what`: turn, drain, fill."""

    place: str
    what: str
    start_ms: int
    takes_ms: int
    fits: bool = True


def walk(state: State) -> list[Place]:
    """The beds in walking order: floor by floor from the steep's end."""
    rooms = [place for place in state.site.places if place.kind == "bed"]
    return sorted(rooms, key=lambda place: (place.floor or "", place.from_m or 0.0))


def morning_ms(state: State) -> int:
    """When the night's list ends, by the site's clock: the hour of the morning list."""
    return people.next_instant_ms(state.site.time_zone, state.at_ms, state.site.callout.morning_min)


def plan(state: State, until_ms: int, ahead: Forecast = AHEAD) -> list[Job]:
    """What is to be done from now until then, in order of time, each with whether one person gets to it."""
    jobs = [job for place in walk(state) for job in _turns(state, place, until_ms, ahead)]
    for steep, one in state.pieces.now.steeps.items():
        want = steeping.wanted(state.site, one)
        if want is not None and want.what in steeping.KINDS and want.due_ms < until_ms:
            jobs.append(Job(steep, want.what, max(want.due_ms, state.at_ms), _STEEP_TAKES_MS))
    jobs.sort(key=lambda job: (job.start_ms, job.place))
    free_ms, planned = state.at_ms, []
    for job in jobs:
        begin_ms = max(free_ms, job.start_ms - _EARLY_MS)
        fits = begin_ms <= job.start_ms + _SLACK_MS
        planned.append(job._replace(fits=fits))
        free_ms = begin_ms + job.takes_ms if fits else free_ms
    return planned


def _turns(state: State, place: Place, until_ms: int, ahead: Forecast) -> list[Job]:
    lying, first = state.pieces.beds.get(place.id), dues.due(state, place, ahead).first
    if lying is None or first is None:
        return []
    takes_ms = dues.takes_ms(state, place)
    gap_ms = first.due_ms - max(part.turned_ms for part in lying.parts)
    programme = state.programme(place)
    if programme.days:
        longest_h = day_figure(programme, hours_since_cast(lying, state.at_ms), "due_h")
        gap_ms = min(gap_ms, int(longest_h * _HOUR_MS))
    found, start_ms = [], max(first.start_ms, state.at_ms)
    while start_ms < until_ms:
        found.append(Job(place.id, "turn", start_ms, takes_ms))
        start_ms += max(gap_ms, _LEAST_GAP_MS)
    return found


def start(state: State) -> None:
    """Begin to wait for the next evening by the site's clock."""
    minute = state.site.callout.evening_min
    state.evening_at_ms = people.next_instant_ms(state.site.time_zone, state.at_ms, minute)
    look_ahead(state)


def look_ahead(state: State) -> None:
    """Set the running time before which it cannot be evening; a clock set back brings the evening nearer."""
    minute = state.site.callout.evening_min
    soonest = people.next_instant_ms(state.site.time_zone, state.at_ms, minute)
    state.evening_at_ms = min(state.evening_at_ms or soonest, soonest)
    state.evening_run_ms = state.run_ms + max(0, state.evening_at_ms - state.at_ms)


def tick(state: State, out: Out) -> None:
    """If it is evening, tell the maltster what does not fit one person; nothing is sent where all fits."""
    if not state.evening_at_ms or state.at_ms < state.evening_at_ms:
        look_ahead(state)
        return
    late_ms = state.at_ms - state.evening_at_ms
    start(state)
    state.evening = Calling()
    if late_ms > _TOO_LATE_MS:
        return
    reader = people.morning_reader(state.site, state.at_ms)
    jobs = plan(state, morning_ms(state))
    if reader is not None and not all(job.fits for job in jobs):
        state.evening.called[reader] = 1
        _send(state, [Ring(reader, state.site.phones_of[reader][0].id, "call")], jobs, out)


def delivery(state: State, what: Delivery, out: Out) -> None:
    """If the word was not delivered, the reader's next phone and the next person get it."""
    if state.evening.notices.get(what.phone) != what.notice:
        return
    if what.outcome == "delivered":
        state.evening = Calling()
        return
    now = Now(state.at_ms, state.run_ms)
    rings = callout.phone_failed(state.evening, state.site, "medium", now, what.phone)
    _send(state, rings, plan(state, morning_ms(state)), out)


def _send(state: State, rings: list[Ring], jobs: list[Job], out: Out) -> None:
    now = Now(state.at_ms, state.run_ms)
    lines = [(job.place, job.what, job.start_ms, job.fits) for job in jobs]
    for one in rings:
        words = wording_night.too_much(state.site, lines, state.at_ms, state.board.next_notice)
        state.evening.notices[one.phone] = state.board.next_notice
        notice(state.board, one, words, "low", now, out)
