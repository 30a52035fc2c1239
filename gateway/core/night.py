"""The night's work as one list, and whether one person can do it; what cannot is said in the evening.

One person does one thing at a time. A bed may be turned an hour before its time and half an hour after; what
then still clashes does not fit (the hour, the half hour and the time a steep takes are ours, no source). A
bed turned early in the night wants turning again before the morning: that turn is on the list, too.
"""

from __future__ import annotations

from typing import NamedTuple

from gateway.core import daily, people
from gateway.core.board_state import Out
from gateway.core.callout import Calling, Now, Ring
from gateway.core.inputs import Delivery
from gateway.core.rules import due as dues
from gateway.core.rules import steeping, turning
from gateway.core.rules.reach import AHEAD, Forecast
from gateway.core.site import Place
from gateway.core.state import State
from gateway.core.wording import night as wording_night
from gateway.core.wording.alarm import Words

_HOUR_MS = 3_600_000
_EARLY_MS, _SLACK_MS = _HOUR_MS, _HOUR_MS // 2
_STEEP_TAKES_MS = _HOUR_MS // 3
#: No bed is reckoned to want turning more often than this, whatever its trend says.
_LEAST_GAP_MS = 2 * _HOUR_MS


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
        gap_ms = min(gap_ms, int(turning.longest_h(state, place, lying)[0] * _HOUR_MS))
    gap_ms = max(gap_ms, _LEAST_GAP_MS)
    found, start_ms = [], max(first.start_ms, state.at_ms)
    while start_ms < until_ms:
        found.append(Job(place.id, "turn", start_ms, takes_ms))
        again_ms = start_ms + gap_ms
        if programme.days and programme.turning.rounds:
            round_ms = turning.next_round_ms(state, place, start_ms + takes_ms // 2)
            again_ms = round_ms if first.kind == "round" else min(again_ms, round_ms)
        start_ms = again_ms
    return found


def start(state: State) -> None:
    """Begin to wait for the next evening by the site's clock."""
    state.evening_at_ms = 0
    look_ahead(state)


def look_ahead(state: State) -> None:
    """Set the running time before which it cannot be evening; a clock set back brings the evening nearer."""
    now, minute = Now(state.at_ms, state.run_ms), state.site.callout.evening_min
    state.evening_at_ms, state.evening_run_ms = daily.ahead(state.site, now, minute, state.evening_at_ms)


def tick(state: State, out: Out) -> None:
    """If it is evening, tell the maltster what does not fit one person; nothing is sent where all fits."""
    late_ms = daily.late_ms(Now(state.at_ms, state.run_ms), state.evening_at_ms)
    if late_ms is None:
        look_ahead(state)
        return
    # The turn clocks go on while no probe is heard: for the broker nobody waits.
    wait_ms = daily.wait_run_ms(False, state.settling_from_ms, state.run_ms)
    if wait_ms is not None and late_ms <= daily.TOO_LATE_MS:
        state.evening_run_ms = wait_ms
        return
    start(state)
    state.evening = Calling()
    if late_ms > daily.TOO_LATE_MS:
        return
    reader = people.morning_reader(state.site, state.at_ms)
    jobs = plan(state, morning_ms(state))
    if reader is not None and not all(job.fits for job in jobs):
        _send(state, daily.first(state.site, state.evening, [reader]), jobs, out)


def delivery(state: State, what: Delivery, out: Out) -> None:
    """If the word was not delivered, the reader's next phone and the next person get it."""
    if not daily.is_newest(state.evening, what):
        return
    if what.outcome == "delivered":
        state.evening = Calling()
        return
    rings = daily.after(state.site, state.evening, Now(state.at_ms, state.run_ms), what.phone)
    _send(state, rings, plan(state, morning_ms(state)), out)


def _send(state: State, rings: list[Ring], jobs: list[Job], out: Out) -> None:
    lines = [(job.place, job.what, job.start_ms, job.fits) for job in jobs]

    def words(number: int) -> Words:
        return wording_night.too_much(state.site, lines, state.at_ms, number)

    daily.send(state.board, state.evening, rings, words, Now(state.at_ms, state.run_ms), out)
